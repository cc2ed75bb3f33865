"""An SVG drawing to pixels fine enough to cut by, drawn where it cannot hang or overfill the machine."""

from __future__ import annotations

import io
import math
import subprocess
import sys
from xml.etree import ElementTree as ET

from PIL import Image

from marquee.artwork import svg_draw
from marquee.artwork.svg_parse import Svg, parse_svg
from marquee.errors import Finding, InputError, printable

# Shared pixels keep edges to a tenth of one, a hundredth of a millimetre; small signs get more pixels.
_PX_MM, _LEAST_WIDE_PX = 0.1, 2000
_MOST_PX = 10e6
# Processor time; the clock is given four times as long, for busy machines.
_SECONDS, _MEMORY_BYTES = 30, 1_500_000_000


def draw_svg(
    data: bytes, where: str, width_mm: float | None, max_megapixels: float
) -> tuple[Image.Image, float, list[Finding]]:
    """Return the drawing as pixels (RGBA), how wide it is [mm], and remarks.

    Parameters
    ----------
    data : bytes
        The file, plain or gzipped.
    where : str
        The file, for errors and remarks.
    width_mm : float or None
        How wide the whole drawing is on the cabinet; None for what the file states.
    max_megapixels : float

    Raises
    ------
    InputError
        It cannot be read, states no real size where one is needed, or cannot be drawn within 30 s and 1.5 GB.
    """
    svg = parse_svg(data, where)
    width_mm = width_mm or svg.width_mm
    if width_mm is None:
        raise InputError(
            where,
            "does not say how wide it is in mm, cm or in",
            "give its width, such as --width 380mm",
        )
    if not 1 <= width_mm <= 100_000:
        raise InputError(
            where, f"says that it is {width_mm:g} mm wide", "give its width, such as --width 380mm"
        )
    width_px, height_px = _pixels(svg, width_mm, max_megapixels)
    svg.root.set("width", f"{width_px}")
    svg.root.set("height", f"{height_px}")
    drawn = _drawn(ET.tostring(svg.root, "unicode").encode(), where, fonts=svg.texts > 0)
    image = Image.open(io.BytesIO(drawn), formats=("PNG",))
    image.load()
    return image, width_mm, _remarks(svg, where)


def _pixels(svg: Svg, width_mm: float, max_megapixels: float) -> tuple[int, int]:
    ratio = svg.height / svg.width
    most = min(_MOST_PX, max_megapixels * 1e6)
    wide = max(width_mm / _PX_MM, _LEAST_WIDE_PX / max(1.0, ratio))
    wide = min(wide, math.sqrt(most / ratio))
    return max(1, int(wide)), max(1, round(int(wide) * ratio))


def _drawn(text: bytes, where: str, *, fonts: bool) -> bytes:
    """Return the PNG a process of its own makes of it."""
    command = [sys.executable, "-I", svg_draw.__file__]
    command += [str(v) for v in (_MEMORY_BYTES, _SECONDS, int(fonts))]
    mend = "simplify it (filters above all), or export it as PNG"
    try:
        done = subprocess.run(  # noqa: S603 -- our own interpreter and file
            command, input=text, capture_output=True, timeout=4 * _SECONDS, check=False
        )
    except subprocess.TimeoutExpired:
        raise InputError(where, f"takes more than {4 * _SECONDS} s to draw", mend) from None
    except OSError as error:
        raise InputError(where, f"cannot be drawn ({error.strerror})", mend) from None
    if done.returncode == 3:
        reason = printable(" ".join(done.stderr.decode("utf-8", "replace").split()))[:120]
        raise InputError(where, f"cannot be drawn ({reason})", "save it again as plain SVG")
    if done.returncode:
        raise InputError(
            where, f"takes more than {_SECONDS} s or {_MEMORY_BYTES / 1e9:g} GB to draw", mend
        )
    return done.stdout


def _remarks(svg: Svg, where: str) -> list[Finding]:
    found = []
    if svg.texts:
        message = (
            f"{svg.texts} text elements were drawn with this machine's fonts, which need not be those you designed "
            "with, or not at all where it has none: convert text to paths in your drawing program"
        )
        found.append(Finding(code="artwork.svg-text", where=where, message=message))
    if svg.left_out:
        message = (
            f"left out, since nothing outside the file is read: {', '.join(svg.left_out)}; embed pictures, or "
            "draw them"
        )
        found.append(Finding(code="artwork.svg-left-out", where=where, message=message))
    return found
