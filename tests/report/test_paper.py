"""report.html on paper: every word within the margins, both sides of the face, each on a page of its own."""

from __future__ import annotations

import re
import subprocess
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from playwright.sync_api import Browser

from tests.report.browser import opened
from tests.report.printed import HEADINGS, last_lines, words_of

pytestmark = pytest.mark.native

# CSS pixels to the inch, and points (CSS Values and Units Level 3, section 6.2).
POINTS = {"A4": (595.3, 841.9), "Letter": (612.0, 792.0)}
MARGIN_PT = 12 / 25.4 * 72
_PX_PER_PT = 4


@pytest.mark.parametrize("paper", POINTS)
@pytest.mark.parametrize(("name", "most_pages"), [("demo", 6), ("hostile", 7), ("crowd", 12)])
def test_paper_holds_every_word_within_its_margins(
    browser: Browser,
    files: dict[str, Path],
    tmp_path: Path,
    paper: str,
    name: str,
    most_pages: int,
) -> None:
    pdf = tmp_path / "report.pdf"
    with opened(browser, files[name]) as seen:
        seen.page.click("#closer")
        # The browser would shrink a page whose content is wider than the paper between its margins.
        room_px = int((POINTS[paper][0] - 2 * MARGIN_PT) * 96 / 72)
        seen.page.set_viewport_size({"width": room_px, "height": 900})
        seen.page.emulate_media(media="print")
        assert seen.page.evaluate("document.documentElement.scrollWidth") <= room_px
        seen.page.pdf(path=pdf, format=paper)
        tables = seen.page.evaluate(
            "[...document.querySelectorAll('table')].filter(t => !t.closest('details'))"
            ".flatMap(t => [...t.rows].map(r => r.textContent.replace(/[\\s\\u2068\\u2069]/g, '')))"
        )
    info = subprocess.run(["pdfinfo", str(pdf)], capture_output=True, text=True, check=True).stdout
    pages = re.search(r"Pages:\s+(\d+)", info)
    size = re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", info)
    assert pages is not None
    assert size is not None
    assert 2 <= int(pages[1]) <= most_pages
    width, height = POINTS[paper]
    assert [float(size[1]), float(size[2])] == pytest.approx([width, height], abs=1)
    words = words_of(pdf)
    for _, word, (left, top, right, bottom) in words:
        # A point for glyphs that reach beyond their advance; poppler's boxes have the font's full height.
        assert left >= MARGIN_PT - 1, word
        assert right <= width - MARGIN_PT + 1, word
        assert top >= MARGIN_PT - 4, word
        assert bottom <= height - MARGIN_PT + 4, word
    # Every character of the tables is on the paper as often as in them: no row or cell is left out.
    printed = Counter("".join(word for _, word, _ in words))
    assert Counter("".join(tables)) - printed == Counter()
    assert {number for number, _, _ in words} == set(range(1, int(pages[1]) + 1))
    # The drawings' captions: one at the head of each of the first two pages.
    views = [(page, word) for page, word, _ in words if word in {"FRONT", "BACK"}]
    assert views[:2] == [(1, "FRONT"), (2, "BACK")]
    assert [word for page, word, _ in words if page == 2][:2] == ["BACK", "VIEW"]
    assert not HEADINGS & set(last_lines(words))


def test_paper_shows_the_face_from_both_sides_whatever_the_screen_shows(
    browser: Browser, files: dict[str, Path], tmp_path: Path
) -> None:
    pdf = tmp_path / "report.pdf"
    with opened(browser, files["demo"]) as seen:
        seen.page.check("[name=side][value=back]")
        seen.page.check("[data-layer=wiring]")
        seen.page.pdf(path=pdf, format="A4")
    words = words_of(pdf)
    sides = [{w: box for number, w, box in words if number == page} for page in (1, 2)]
    # Walls and feeds by their names, which stand on each page once; DATA IN comes as two words.
    names = [w for w in sides[0] if re.fullmatch(r"[WF]\d+", w) and w in sides[1]]
    assert {"F1", "F2"} < set(names)
    assert len(names) >= 5
    pictures = [_page(pdf, page, tmp_path) for page in (1, 2)]
    for name in names:
        (left, top, right, bottom), back = sides[0][name], sides[1][name]
        # The drawing stands in the middle of the page: what is mirrored swaps sides.
        assert (left + right) / 2 + (back[0] + back[2]) / 2 == pytest.approx(
            POINTS["A4"][0], abs=1
        )
        assert right - left == pytest.approx(back[2] - back[0], abs=0.5)
        assert bottom - top == pytest.approx(back[3] - back[1], abs=0.5)
    downs = [[side[name][1] for name in names] for side in sides]
    assert np.diff(downs[0]) == pytest.approx(np.diff(downs[1]), abs=0.5)
    # Text reads from left on both: as drawn it is nearer to the front's than to that mirrored.
    for name in ("F1", "F2"):
        front, behind = (_ink(p, s[name]) for p, s in zip(pictures, sides, strict=True))
        size = tuple(min(a, b) for a, b in zip(front.shape, behind.shape, strict=True))
        front, behind = (part[: size[0], : size[1]] for part in (front, behind))
        assert np.abs(front - behind).mean() < 0.5 * np.abs(front[:, ::-1] - behind).mean()


def _page(pdf: Path, page: int, folder: Path) -> NDArray[np.float64]:
    name = folder / f"page{page}"
    # The face is in the upper half of the page.
    part = ["-x", "0", "-y", "0", "-W", f"{600 * _PX_PER_PT}", "-H", f"{400 * _PX_PER_PT}"]
    wanted = ["-r", f"{72 * _PX_PER_PT}", "-f", f"{page}", "-singlefile", "-gray", "-png", *part]
    subprocess.run(["pdftoppm", *wanted, str(pdf), str(name)], check=True)
    with Image.open(name.with_suffix(".png")) as image:
        return np.asarray(image.convert("L"), float)


def _ink(page: NDArray[np.float64], box: list[float]) -> NDArray[np.float64]:
    """Return the pixels of a word's box, 1 where darker than the face's grey; without the room above and below."""
    left, top, right, bottom = (round(v * _PX_PER_PT) for v in box)
    room = (bottom - top) // 5
    return (page[top + room : bottom - room, left:right] < 90).astype(float)
