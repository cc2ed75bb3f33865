"""Text for a terminal: columns that line up whatever the script, and swatches where colour can be shown."""

from __future__ import annotations

import os
import sys
import unicodedata


def cells(text: str) -> int:
    """Return how many character cells a line of printable text takes on a terminal.

    Wide and full-width characters take two, combining marks none: Unicode Standard Annex #11.
    """
    return sum(
        0
        if unicodedata.combining(c) or unicodedata.category(c) == "Me"
        else 2
        if unicodedata.east_asian_width(c) in "WF"
        else 1
        for c in text
    )


def fit(text: str, width: int, *, right: bool = False) -> str:
    """Return text padded, or its end replaced by an ellipsis, to exactly `width` cells."""
    if cells(text) > width:
        while cells(text) > width - 1:
            text = text[:-1]
        text += "…"
    padding = " " * (width - cells(text))
    return padding + text if right else text + padding


def has_colour() -> bool:
    """Whether standard output is a terminal of 24-bit colour; NO_COLOR (no-color.org) always wins.

    Terminals of 24-bit colour say so in COLORTERM, or have a terminfo entry that ends in -direct.
    """
    if os.environ.get("NO_COLOR") or not sys.stdout.isatty():
        return False
    term = os.environ.get("TERM", "")
    named = os.environ.get("COLORTERM", "").lower() in {"truecolor", "24bit"}
    return term != "dumb" and (named or term.endswith("-direct"))


def swatch(rgb: tuple[int, int, int]) -> str:
    """Return four cells filled with a colour: SGR 48;2 of ISO/IEC 8613-6, as terminals write it."""
    red, green, blue = rgb
    return f"\x1b[48;2;{red};{green};{blue}m    \x1b[0m"
