"""Text broken into lines of a width."""

from __future__ import annotations

from marquee.outputs.pictures.style import text_width


def wrap(text: str, width_px: float, size_px: int) -> list[str]:
    """Return the lines of a text broken at spaces; a longer word stands alone.

    Parameters
    ----------
    text : str
        One paragraph.
    width_px : float
        Longest line [px].
    size_px : int
        Height of the letters [px].
    """
    lines: list[str] = []
    for word in text.split():
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(joined, size_px) <= width_px:
            lines[-1] = joined
        else:
            lines.append(word)
    return lines
