"""The paper template: the floor plan 1:1 over as many pages as it takes, from the front and from behind."""

from __future__ import annotations

import io
import textwrap
from typing import TYPE_CHECKING

from marquee.outputs.drawings.drawing import (
    LASER_NOTES,
    Drawing,
    Label,
    Layer,
    Stroke,
    fitted,
    width_mm,
)
from marquee.outputs.drawings.floor import ZoneName, floor_notes, floor_plan
from marquee.outputs.drawings.tiles import EDGE_MM, FOOT_MM, HEAD_MM, Tile, Tiling, tile_drawing
from marquee.outputs.pictures.style import font, plain
from marquee.values import Point
from marquee.values_cut import CutPlan

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

# PostScript points in a millimetre: 72 to the inch of 25.4 mm by definition.
_PT = 72 / 25.4
_PLAIN, _BOLD = "marquee-plain", "marquee-bold"
# Length of the bar that shows whether the printer kept the scale [mm].
CHECK_BAR_MM = 100.0
# Pages of one view at most, so that a huge sign fills no disk: more than anyone tapes together. Ours, no source.
_MOST_PAGES = 200
_VIEWS = (
    ("FRONT VIEW", "as seen from the front: for the box's floor", False),
    ("BACK VIEW", "from behind (mirrored): back of face, diffuser", True),
)


def template_pdf(cut: CutPlan, zones: tuple[ZoneName, ...], title: str) -> bytes:
    """Return the PDF: a first page of notes, then the pages of the front view and of the back view."""
    from reportlab.pdfgen.canvas import Canvas

    tiling = tile_drawing(cut.width_mm, cut.height_mm, cut.page, cut.page_overlap_mm)
    stream = io.BytesIO()
    size = (tiling.page_mm[0] * _PT, tiling.page_mm[1] * _PT)
    # Invariant: no dates, no random identifiers.
    canvas = Canvas(stream, pagesize=size, invariant=1, pageCompression=1)
    _set_fonts()
    canvas.setTitle(plain(title))
    canvas.setCreator("marquee")
    views = [
        (name, about, floor_plan(cut, zones, title, back=back)) for name, about, back in _VIEWS
    ]
    _first_page(canvas, cut, tiling, title)
    for name, about, drawing in views:
        for tile in tiling.tiles[:_MOST_PAGES]:
            _page(canvas, drawing, tiling, tile, (name, about))
    canvas.save()
    return stream.getvalue()


def _set_fonts() -> None:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    for name, bold in ((_PLAIN, False), (_BOLD, True)):
        # Made anew each time: a font object remembers the letters of earlier files.
        pdfmetrics.registerFont(TTFont(name, str(font(10, bold=bold).path)))


def _first_page(canvas: Canvas, cut: CutPlan, tiling: Tiling, title: str) -> None:
    width, height = tiling.page_mm
    _write(canvas, tiling, "TEMPLATE", (EDGE_MM, EDGE_MM + 9), 9.0, bold=True)
    x = EDGE_MM + width_mm("TEMPLATE", 9.0, bold=True) + 6
    what = "walls" if cut.strips else "LED rows"
    about = f"{title}: {what} of {cut.width_mm:g} × {cut.height_mm:.4g} mm, 1:1"
    _write(canvas, tiling, about, (x, EDGE_MM + 9), 3.6, room=width - x - EDGE_MM)
    count = len(tiling.tiles)
    pages = (
        "one page"
        if count == 1
        else f"{count} pages, {tiling.rows} down and {tiling.columns} across"
    )
    overlap = (
        ""
        if count == 1
        else f" Neighbours overlap by {tiling.overlap_mm:g} mm: cut one page along its dashed line, lay it on the other so "
        "that the crosses meet, and tape it."
    )
    cut_off = (
        []
        if count <= _MOST_PAGES
        else [
            f"Only the first {_MOST_PAGES} pages of each view are here: have a drawing this large plotted on wide paper "
            "from barriers.dxf or barriers.svg."
        ]
    )
    lines = [
        f"Each view takes {pages} of {cut.page}.{overlap}",
        f"Print at 100 %, without fitting to the page, and check the {CHECK_BAR_MM:.0f} mm bar on every page with a steel rule: "
        "half a millimetre off is half a percent.",
        "FRONT VIEW pages go on the box's floor. BACK VIEW pages are mirrored for work on the back of the face or diffuser.",
        *cut_off,
        *floor_notes(cut),
        *LASER_NOTES,
    ]
    y = _paragraphs(canvas, tiling, lines, EDGE_MM + 24.0)
    _page_map(
        canvas, tiling, EDGE_MM, y + 4, min(90.0, width / 3), height - FOOT_MM - EDGE_MM - y - 8
    )
    _check_bar(canvas, tiling)
    canvas.showPage()


def _paragraphs(canvas: Canvas, tiling: Tiling, lines: list[str], top: float) -> float:
    per_line = int((tiling.page_mm[0] - 2 * EDGE_MM) / (0.56 * 3.4))
    y = top
    for line in lines:
        for part in textwrap.wrap(line, min(per_line, 150)):
            _write(canvas, tiling, part, (EDGE_MM, y), 3.4)
            y += 5.0
        y += 1.5
    return y


def _page(
    canvas: Canvas, drawing: Drawing, tiling: Tiling, tile: Tile, view: tuple[str, str]
) -> None:
    name, about = view
    width = tiling.page_mm[0]
    _write(canvas, tiling, name, (EDGE_MM, EDGE_MM + 10), 11.0, bold=True)
    x = EDGE_MM + width_mm(name, 11.0, bold=True) + 6
    room = width - x - EDGE_MM - 40
    _write(canvas, tiling, f"{drawing.title}, page {tile.name}", (x, EDGE_MM + 5), 3.6, room=room)
    _write(canvas, tiling, about, (x, EDGE_MM + 10), 3.2, room=room)
    _page_map(canvas, tiling, width - EDGE_MM - 34, EDGE_MM, 34, 13, mark=tile)
    _work(canvas, drawing, tiling, tile)
    _marks(canvas, drawing, tiling, tile)
    _check_bar(canvas, tiling)
    canvas.showPage()


def _work(canvas: Canvas, drawing: Drawing, tiling: Tiling, tile: Tile) -> None:
    """Draw what lies on the tile, cut off at its edges."""
    canvas.saveState()
    left, top = EDGE_MM, EDGE_MM + HEAD_MM
    clip = canvas.beginPath()
    # The drawing's own edge lines lie half outside.
    clip.rect(
        (left - 0.3) * _PT,
        _up(tiling, top + tile.height_mm + 0.3),
        (tile.width_mm + 0.6) * _PT,
        (tile.height_mm + 0.6) * _PT,
    )
    canvas.clipPath(clip, stroke=0, fill=0)
    dx, dy = left - tile.x_mm, top - tile.y_mm
    for stroke in drawing.strokes:
        _stroke(canvas, tiling, stroke, dx, dy)
    for label in drawing.labels:
        _label(canvas, tiling, label, dx, dy)
    canvas.restoreState()


def _stroke(canvas: Canvas, tiling: Tiling, stroke: Stroke, dx: float, dy: float) -> None:
    _pen(canvas, stroke.layer)
    path = canvas.beginPath()
    (x0, y0), *rest = stroke.points
    path.moveTo((x0 + dx) * _PT, _up(tiling, y0 + dy))
    for x, y in rest:
        path.lineTo((x + dx) * _PT, _up(tiling, y + dy))
    if stroke.closed:
        path.close()
    canvas.drawPath(path, stroke=1, fill=0)


def _pen(canvas: Canvas, layer: Layer) -> None:
    canvas.setStrokeColorRGB(*(c / 255 for c in layer.colour))
    canvas.setLineWidth(layer.line_mm * _PT)
    canvas.setDash([d * _PT for d in layer.dash_mm])


def _label(canvas: Canvas, tiling: Tiling, label: Label, dx: float, dy: float) -> None:
    canvas.setFont(_BOLD if label.bold else _PLAIN, label.size_mm * _PT)
    canvas.setFillColorRGB(*(c / 255 for c in label.layer.colour))
    draw = {
        "start": canvas.drawString,
        "middle": canvas.drawCentredString,
        "end": canvas.drawRightString,
    }[label.anchor]
    draw((label.at[0] + dx) * _PT, _up(tiling, label.at[1] + dy), label.text)


def _up(tiling: Tiling, y_mm: float) -> float:
    return (tiling.page_mm[1] - y_mm) * _PT


def _write(
    canvas: Canvas,
    tiling: Tiling,
    text: str,
    at: Point,
    size: float,
    *,
    bold: bool = False,
    room: float | None = None,
) -> None:
    shown = plain(text) if room is None else fitted(text, size, room, bold=bold)
    canvas.setFont(_BOLD if bold else _PLAIN, size * _PT)
    canvas.setFillColorRGB(0.1, 0.1, 0.1)
    canvas.drawString(at[0] * _PT, _up(tiling, at[1]), shown)


def _line(canvas: Canvas, tiling: Tiling, x0: float, y0: float, x1: float, y1: float) -> None:
    canvas.line(x0 * _PT, _up(tiling, y0), x1 * _PT, _up(tiling, y1))


def _marks(canvas: Canvas, drawing: Drawing, tiling: Tiling, tile: Tile) -> None:
    """Draw the overlap's middle lines, to cut along, and crosses that two pages share."""
    canvas.setStrokeColorRGB(0.35, 0.35, 0.35)
    canvas.setLineWidth(0.15 * _PT)
    left, top = EDGE_MM, EDGE_MM + HEAD_MM
    right, bottom = left + tile.width_mm, top + tile.height_mm
    half = tiling.overlap_mm / 2
    before_x, before_y = tile.x_mm > 0, tile.y_mm > 0
    after_x = tile.x_mm + tile.width_mm < drawing.right_mm - 1e-6
    after_y = tile.y_mm + tile.height_mm < drawing.bottom_mm - 1e-6
    upright = [left + half] * before_x + [right - half] * after_x
    level = [top + half] * before_y + [bottom - half] * after_y
    canvas.setDash([1.5 * _PT, 1.5 * _PT])
    for x in upright:
        _line(canvas, tiling, x, top, x, bottom)
    for y in level:
        _line(canvas, tiling, left, y, right, y)
    canvas.setDash([])
    canvas.setLineWidth(0.2 * _PT)
    crosses = [(x, y) for x in upright for y in (top + 15, bottom - 15)]
    crosses += [(x, y) for y in level for x in (left + 15, right - 15)]
    for x, y in crosses:
        _line(canvas, tiling, x - 3, y, x + 3, y)
        _line(canvas, tiling, x, y - 3, x, y + 3)


def _page_map(
    canvas: Canvas,
    tiling: Tiling,
    x: float,
    y: float,
    width: float,
    height: float,
    mark: Tile | None = None,
) -> None:
    """Draw the grid of pages small, the marked one dark."""
    if height <= 4 or len(tiling.tiles) == 1:
        return
    cell_w = min(width / tiling.columns, 1.6 * height / tiling.rows)
    cell_h = min(height / tiling.rows, 0.6 * cell_w)
    x += width - cell_w * tiling.columns if mark else 0
    canvas.setStrokeColorRGB(0.4, 0.4, 0.4)
    canvas.setLineWidth(0.15 * _PT)
    canvas.setDash([])
    size = min(3.0, 0.6 * cell_h, 0.35 * cell_w)
    for k, tile in enumerate(tiling.tiles):
        left, top = x + (k % tiling.columns) * cell_w, y + (k // tiling.columns) * cell_h
        dark = mark is not None and tile.name == mark.name
        canvas.setFillColorRGB(*((0.75,) * 3 if dark else (1, 1, 1)))
        canvas.rect(
            left * _PT, _up(tiling, top + cell_h), cell_w * _PT, cell_h * _PT, stroke=1, fill=1
        )
        if size > 0.8:
            _write(canvas, tiling, tile.name, (left + 0.6, top + cell_h / 2 + 0.36 * size), size)


def _check_bar(canvas: Canvas, tiling: Tiling) -> None:
    x, y = EDGE_MM, tiling.page_mm[1] - EDGE_MM - 4.0
    canvas.setStrokeColorRGB(0, 0, 0)
    canvas.setDash([])
    canvas.setLineWidth(0.2 * _PT)
    # The bar is a filled block, its ends exactly where they are measured.
    canvas.setFillColorRGB(0, 0, 0)
    canvas.rect(x * _PT, _up(tiling, y), CHECK_BAR_MM * _PT, 1.0 * _PT, stroke=0, fill=1)
    for tenth in range(11):
        at = x + tenth * CHECK_BAR_MM / 10
        at += 0.1 if tenth == 0 else -0.1 if tenth == 10 else 0.0
        _line(canvas, tiling, at, y - 1, at, y - (4 if tenth in {0, 5, 10} else 2.5))
    text = f"this bar is {CHECK_BAR_MM:.0f} mm: if it is not, print again at 100 %"
    _write(canvas, tiling, text, (x + CHECK_BAR_MM + 4, y), 3.0, room=tiling.page_mm[0] - x - 112)
