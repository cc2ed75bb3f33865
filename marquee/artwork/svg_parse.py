"""What an SVG file says before anything is drawn: its size, and what is left out of it."""

from __future__ import annotations

import gzip
import io
import math
import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree as ET

from marquee.errors import InputError, printable

_NAMESPACE = "http://www.w3.org/2000/svg"
_HREFS = ("href", "{http://www.w3.org/1999/xlink}href")
# CSS Values 4, 6.2: absolute lengths in mm; px and bare numbers say nothing of the real size.
_MM = {"mm": 1.0, "cm": 10.0, "q": 0.25, "in": 25.4, "pt": 25.4 / 72, "pc": 25.4 / 6}
_PX_MM = 25.4 / 96
_LENGTH = re.compile(r"\s*\+?(\d*\.?\d+(?:e[+-]?\d+)?)\s*([a-z]*)\s*", re.IGNORECASE)
_REFERENCE = re.compile(r"url\(\s*['\"]?#([^'\")]+)")
_LOOKS = re.compile(rb"^(?:\xef\xbb\xbf)?\s*<(?:\?xml|!--|!DOCTYPE|svg|[a-z]+:svg)", re.IGNORECASE)
_MOST_BYTES = 50_000_000
_MOST_ELEMENTS, _DEEPEST = 300_000, 250
_MEND = "save it again as plain SVG"
# Pictures within pictures are decoded by the renderer; these kinds it may.
_EMBEDDED = ("data:image/png", "data:image/jpeg", "data:image/jpg", "data:image/webp")
_LEFT_OUT = {"script", "foreignObject", "animate", "animateTransform", "animateMotion", "set"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Svg:
    """A parsed drawing: `width` and `height` in its own px, what was left out, and how many texts it holds.

    `width_mm` is the real width where the file states one.
    """

    root: ET.Element
    width: float
    height: float
    width_mm: float | None
    texts: int
    left_out: tuple[str, ...]


def is_svg(data: bytes) -> bool:
    """Return whether the bytes look like an SVG, plain or gzipped."""
    if data.startswith(b"\x1f\x8b"):
        return True
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return b"s\0v\0g" in data[:4000]
    return bool(_LOOKS.match(data)) and b"svg" in data[:100_000]


def parse_svg(data: bytes, where: str) -> Svg:
    """Return the drawing without anything that would reach outside the file.

    Raises
    ------
    InputError
        Not well-formed, not an SVG, without a size, or with more parts than can be drawn.
    """
    root = _root(_unzipped(data, where), where)
    width, height, width_mm = _size(root, where)
    left_out = _sanitise(root)
    _check_count(root, where)
    texts = sum(1 for e in root.iter(f"{{{_NAMESPACE}}}text") if "".join(e.itertext()).strip())
    return Svg(
        root=root, width=width, height=height, width_mm=width_mm, texts=texts, left_out=left_out
    )


def _unzipped(data: bytes, where: str) -> bytes:
    if data.startswith(b"\x1f\x8b"):
        try:
            with gzip.open(io.BytesIO(data)) as stream:
                data = stream.read(_MOST_BYTES + 1)
        except (OSError, EOFError, zlib.error):
            raise InputError(where, "is damaged or cut short (gzip)", _MEND) from None
    if len(data) > _MOST_BYTES:
        raise InputError(
            where, f"is more than {_MOST_BYTES / 1e6:.0f} MB of SVG", "export it as PNG instead"
        )
    return data


def _root(data: bytes, where: str) -> ET.Element:
    """Return the root element; the parser opens nothing else and bounds what entities grow to."""
    root: ET.Element | None = None
    depth = 0
    try:
        parser: ET.XMLPullParser[Any] = ET.XMLPullParser(("start", "end"))
        for place in range(0, len(data), 1 << 20):
            parser.feed(data[place : place + (1 << 20)])
            events: Iterator[Any] = parser.read_events()
            for event, element in events:
                root = element if root is None else root
                depth += 1 if event == "start" else -1
                if depth > _DEEPEST:
                    raise InputError(where, f"nests more than {_DEEPEST} elements", _MEND)
        parser.close()
    except (ET.ParseError, ValueError, LookupError) as error:
        reason = printable(" ".join(f"{error}".split()))[:100]
        raise InputError(where, f"is not an SVG that can be read ({reason})", _MEND) from None
    if root is None or root.tag != f"{{{_NAMESPACE}}}svg":
        tag = "nothing" if root is None else f"<{printable(_local(root))[:40]}>"
        raise InputError(where, f"holds {tag}, not an SVG drawing", _MEND)
    return root


def _local(element: ET.Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _size(root: ET.Element, where: str) -> tuple[float, float, float | None]:
    """Return width and height in CSS px and the width in mm where it is stated in real units.

    SVG 2, 8.2 and 8.6: what is not stated comes from the viewBox.
    """
    width, height = (_length(root.get(name, "")) for name in ("width", "height"))
    box = _view_box(root)
    ratio = box[1] / box[0] if box else None
    if width is None and height is None and box:
        width, height = (box[0], None), (box[1], None)
    elif width is None and height is not None and ratio:
        width = (height[0] / ratio, None if height[1] is None else height[1] / ratio)
    elif height is None and width is not None and ratio:
        height = (width[0] * ratio, None)
    if width is None or height is None:
        raise InputError(
            where,
            "states neither a viewBox nor width and height",
            'add viewBox="0 0 WIDTH HEIGHT" to its <svg>',
        )
    if not 1e-3 < width[0] / height[0] < 1e3:
        raise InputError(
            where, f"is {width[0]:g} × {height[0]:g} px, too narrow to be a face", _MEND
        )
    if box is None:
        root.set("viewBox", f"0 0 {width[0]!r} {height[0]!r}")
    return width[0], height[0], width[1]


def _length(text: str) -> tuple[float, float | None] | None:
    """Return a length in CSS px and, for real units, in mm; None where it states none."""
    match = _LENGTH.fullmatch(text)
    if match is None:
        return None
    number, unit = float(match[1]), match[2].lower()
    if not 0 < number < 1e7:
        return None
    if unit in {"", "px"}:
        return number, None
    return (number * _MM[unit] / _PX_MM, number * _MM[unit]) if unit in _MM else None


def _view_box(root: ET.Element) -> tuple[float, float] | None:
    try:
        _, _, width, height = (
            float(v) for v in re.split(r"[\s,]+", root.get("viewBox", "").strip())
        )
    except ValueError:
        return None
    if not (math.isfinite(width) and math.isfinite(height) and width > 0 and height > 0):
        return None
    return width, height


def _sanitise(root: ET.Element) -> tuple[str, ...]:
    """Take out scripts, animations, foreign content and references to other files; return what mattered."""
    found: dict[str, int] = {}
    for parent in list(root.iter()):
        for child in list(parent):
            local = _local(child)
            if child.tag != f"{{{_NAMESPACE}}}{local}" or local in _LEFT_OUT:
                _remove(parent, child)
                if local == "foreignObject":
                    found["foreignObject"] = found.get("foreignObject", 0) + 1
    for element in root.iter():
        for key in _HREFS:
            target = element.get(key, "#").strip()
            if target.startswith("#"):
                continue
            local = _local(element)
            if local in {"image", "feImage"} and target.lower().startswith(_EMBEDDED):
                continue
            del element.attrib[key]
            if local != "a":
                name = f"{local} from elsewhere"
                found[name] = found.get(name, 0) + 1
    return tuple(f"{count} × {printable(name)[:40]}" for name, count in sorted(found.items()))


def _remove(parent: ET.Element, child: ET.Element) -> None:
    """Remove an element but keep the text after it."""
    place = list(parent).index(child)
    if child.tail:
        if place:
            before = parent[place - 1]
            before.tail = (before.tail or "") + child.tail
        else:
            parent.text = (parent.text or "") + child.tail
    parent.remove(child)


def _check_count(root: ET.Element, where: str) -> None:
    """Refuse drawings whose references, followed, come to more elements than can be drawn."""
    by_id = {e.get("id"): e for e in root.iter() if e.get("id")}
    known: dict[ET.Element, int] = {}

    def weight(element: ET.Element, depth: int) -> int:
        if element in known:
            return known[element]
        if depth > 2 * _DEEPEST:
            raise InputError(where, "refers from element to element too deeply", _MEND)
        known[element] = 0  # a reference back to itself draws nothing
        total = 1 + sum(weight(child, depth + 1) for child in element)
        for target in _targets(element):
            if target in by_id:
                total += weight(by_id[target], depth + 1)
        known[element] = min(total, _MOST_ELEMENTS + 1)
        return known[element]

    if weight(root, 0) > _MOST_ELEMENTS:
        raise InputError(
            where,
            f"comes to more than {_MOST_ELEMENTS} elements once its references are followed",
            "simplify it, or export it as PNG",
        )


def _targets(element: ET.Element) -> list[str]:
    """Return the ids an element draws with."""
    if _local(element) == "a":
        return []
    found = [v[1:] for k in _HREFS if (v := element.get(k, "").strip()).startswith("#")]
    for value in element.attrib.values():
        if "url(" in value:
            found += _REFERENCE.findall(value)
    return found
