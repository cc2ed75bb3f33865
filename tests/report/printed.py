"""What stands on the pages of a printed report, by poppler."""

from __future__ import annotations

import html
import re
import subprocess
from pathlib import Path

Words = list[tuple[int, str, list[float]]]
# The report's parts: none of these may be the last line of a page.
HEADINGS = {
    "Face",
    "Warnings",
    "Before you build",
    "Zones and colours",
    "Walls and LEDs",
    "Wiring",
    "Parts",
    "Constants",
    "About this plan",
}


def words_of(pdf: Path) -> Words:
    """Return page, word and box (left, top, right, bottom in points) of a PDF's words, by poppler."""
    done = subprocess.run(
        ["pdftotext", "-bbox", str(pdf), "-"], capture_output=True, text=True, check=True
    )
    found, number = [], 0
    for line in done.stdout.splitlines():
        number += line.lstrip().startswith("<page")
        word = re.search(
            r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">(.*)</word>',
            line,
        )
        if word:
            found.append((number, html.unescape(word[5]), [float(v) for v in word.groups()[:4]]))
    return found


def last_lines(words: Words) -> list[str]:
    """Return the lowest line of text of each page."""
    lines = []
    for page in range(1, max(number for number, _, _ in words) + 1):
        here = [(word, box) for number, word, box in words if number == page]
        lowest = max(box[3] for _, box in here)
        lines.append(" ".join(word for word, box in here if box[3] > lowest - 2))
    return lines
