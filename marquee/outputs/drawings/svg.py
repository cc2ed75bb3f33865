"""A drawing as SVG: 1:1, one user unit a millimetre, one group a layer."""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

from marquee.outputs.drawings.drawing import Drawing, Label, Layer, Smooth, Stroke
from marquee.outputs.pictures.style import hex_of, plain

_MARGIN_MM = 5.0
_FONT = "DejaVu Sans, Verdana, Arial, sans-serif"


def svg_bytes(drawing: Drawing) -> bytes:
    """Return the SVG file, UTF-8."""
    x, y = drawing.left_mm - _MARGIN_MM, drawing.top_mm - _MARGIN_MM
    width = drawing.right_mm - x + _MARGIN_MM
    height = drawing.bottom_mm - y + _MARGIN_MM
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(width)}mm" height="{_n(height)}mm" '
        f'viewBox="{_n(x)} {_n(y)} {_n(width)} {_n(height)}">',
        f"<title>{escape(plain(drawing.title))}</title>",
        f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(width)}" height="{_n(height)}" fill="#ffffff" id="paper"/>',
    ]
    for name, members in _by_layer(drawing).items():
        lines.append(f"<g id={quoteattr(name)}>")
        lines += [_item(item) for item in members]
        lines.append("</g>")
    return ("\n".join([*lines, "</svg>"]) + "\n").encode("utf-8")


def _by_layer(drawing: Drawing) -> dict[str, list[Stroke | Smooth | Label]]:
    groups: dict[str, list[Stroke | Smooth | Label]] = {}
    items: list[Stroke | Smooth | Label] = [*drawing.strokes, *drawing.smooths, *drawing.labels]
    for item in items:
        groups.setdefault(item.layer.name, []).append(item)
    return groups


def _item(item: Stroke | Smooth | Label) -> str:
    if isinstance(item, Label):
        return _text(item)
    if isinstance(item, Smooth):
        start, curves = item.ring.start, item.ring.curves
        path = f"M{_n(start[0])} {_n(start[1])}"
        path += "".join("C" + " ".join(_n(v) for v in curve) for curve in curves) + "Z"
        fill = "none"
    else:
        path = "M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in item.points)
        path += "Z" if item.closed else ""
        fill = "none" if item.fill is None else hex_of((item.fill, item.fill, item.fill))
    return f'<path d="{path}" fill="{fill}" {_line(item.layer)}/>'


def _line(layer: Layer) -> str:
    dash = f' stroke-dasharray="{" ".join(_n(d) for d in layer.dash_mm)}"' if layer.dash_mm else ""
    return f'stroke="{hex_of(layer.colour)}" stroke-width="{_n(layer.line_mm)}"{dash}'


def _text(label: Label) -> str:
    x, y = label.at
    turn = f' transform="rotate({_n(label.degrees)} {_n(x)} {_n(y)})"' if label.degrees else ""
    anchor = "" if label.anchor == "start" else f' text-anchor="{label.anchor}"'
    weight = ' font-weight="bold"' if label.bold else ""
    return (
        f'<text x="{_n(x)}" y="{_n(y)}" font-family="{_FONT}" font-size="{_n(label.size_mm)}"{weight}{anchor}'
        f'{turn} fill="{hex_of(label.layer.colour)}">{escape(label.text)}</text>'
    )


def _n(value: float) -> str:
    """Return a number to a tenth of a micrometre, without trailing zeros or a negative zero."""
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
