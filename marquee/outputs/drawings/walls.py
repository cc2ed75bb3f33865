"""The wall strips laid flat on their sheets, and what is done to each."""

from __future__ import annotations

import itertools
import math

from marquee.outputs.drawings.drawing import (
    BEVEL,
    CUT,
    LABEL,
    LASER_NOTES,
    NOTE,
    SCORE,
    SCORE_BEHIND,
    SHEET,
    TAPER,
    TAPER_BEHIND,
    Drawing,
    fitted,
    width_mm,
)
from marquee.values import Point
from marquee.values_cut import CutPlan, End, Placed, Strip

_SHEET_GAP_MM = 20.0
# Ends nearer to square than this need no bevel: glue fills them.
_LEAST_BEVEL_DEGREES = 5.0
_TEXT_MM, _MARK_MM, _UPRIGHT_MM, _MARKED_MM = 4.0, 30.0, 18.0, 2.5


def walls_drawing(cut: CutPlan, title: str) -> Drawing:
    """Return all sheets under each other, a table of the parts, and notes."""
    width = max((s.width_mm for s in cut.sheets), default=120.0)
    drawing = Drawing(title=title, right_mm=width, bottom_mm=0.0)
    top = 0.0
    for number, sheet in enumerate(cut.sheets, 1):
        if number > 1:
            top += _SHEET_GAP_MM
        drawing.rectangle(SHEET, 0, top, sheet.width_mm, top + sheet.height_mm)
        about = f"sheet {number} of {len(cut.sheets)}: {sheet.width_mm:g} × {sheet.height_mm:g} mm, {cut.wall_thickness_mm:g} mm thick"
        drawing.label(NOTE, about, (0.0, top - 2.0), _TEXT_MM)
        for placed in sheet.parts:
            _draw(drawing, cut, placed, top + sheet.height_mm)
        top += sheet.height_mm
    drawing.bottom_mm = top
    drawing.top_mm = -7.0
    drawing.heading("FLAT PARTS", f"{title}: wall strips, 1:1, mm")
    drawing.legend()
    _table(drawing, cut.flat_parts)
    drawing.notes([*_notes(cut), *LASER_NOTES])
    return drawing


def _draw(drawing: Drawing, cut: CutPlan, placed: Placed, floor_mm: float) -> None:
    strip = cut.flat_parts[placed.strip]

    def at(x: float, y: float) -> Point:
        return placed.x_mm + x, floor_mm - placed.y_mm - y

    drawing.stroke(CUT, [(x, floor_mm - y) for x, y in placed.cut_mm])
    h = strip.height_mm
    for fold in strip.folds:
        # The sheet lies with the strip's right side up.
        layer = SCORE if fold.scored == "right" else SCORE_BEHIND
        low = max(
            (
                n.height_mm
                for n in strip.notches
                if abs(n.at_mm - fold.at_mm) < n.width_mm / 2 + 0.1
            ),
            default=0.0,
        )
        drawing.stroke(layer, [at(fold.at_mm, low), at(fold.at_mm, h)], closed=False)
    for x in _bevel_lines(strip, cut.wall_thickness_mm):
        drawing.stroke(BEVEL, [at(x, 0), at(x, h)], closed=False)
    # A knife edge is as deep as the sheet is thick: 45° at most.
    depth = min(cut.wall_thickness_mm, h / 4)
    for taper in strip.tapers:
        layer = TAPER if taper.side == "right" else TAPER_BEHIND
        ends = (taper.at_mm - taper.width_mm / 2, taper.at_mm + taper.width_mm / 2)
        drawing.stroke(layer, [at(x, h - depth) for x in ends], closed=False)
    for mark in strip.marks:
        drawing.stroke(LABEL, [at(mark.at_mm, 0), at(mark.at_mm, 0.75 * h)], closed=False)
        foot = at(mark.at_mm + 0.8 * _MARKED_MM, 0.06 * h)
        drawing.label(
            LABEL, fitted(mark.part, _MARKED_MM, 0.6 * h), foot, _MARKED_MM, degrees=-90.0
        )
    left, room = _calm_stretch(strip)
    _mark(drawing, strip, at(left, h * 0.62), min(_TEXT_MM, h / 4), room)


def _bevel_lines(strip: Strip, thickness_mm: float) -> list[float]:
    lines = []
    for end, edge, inwards in ((strip.start, 0.0, 1.0), (strip.end, strip.length_mm, -1.0)):
        if abs(end.bevel_degrees) >= _LEAST_BEVEL_DEGREES:
            reach = thickness_mm * math.tan(math.radians(abs(end.bevel_degrees)))
            lines.append(edge + inwards * reach)
    return [x for x in lines if 0 < x < strip.length_mm]


def _calm_stretch(strip: Strip) -> tuple[float, float]:
    """Return where the part's marks begin and their room: the first wide stretch without folds or slots."""
    lines = {*_shoulders(strip), *(f.at_mm for f in strip.folds)}
    lines |= {m.at_mm + side for m in strip.marks for side in (0.0, 1.2 * _MARKED_MM)}
    edges = sorted(lines | _slot_sides(strip))
    gaps = [(b - a, a) for a, b in itertools.pairwise(edges)]
    wide = next((gap for gap in gaps if gap[0] >= _MARK_MM), None) or max(gaps)
    return wide[1] + min(1.5, 0.2 * wide[0]), max(wide[0] - 3.0, 1.0)


def _shoulders(strip: Strip) -> tuple[float, float]:
    """Return between which places the part is as high as it gets: inside of tongues at its ends."""
    low = [x for x, y in strip.outline_mm if y < strip.height_mm / 2 - 1e-6]
    high = [x for x, y in strip.outline_mm if y > strip.height_mm / 2 + 1e-6]
    if not low or not high:
        return 0.0, strip.length_mm
    return max(min(low), min(high)), min(max(low), max(high))


def _slot_sides(strip: Strip) -> set[float]:
    return {s.at_mm + side * s.width_mm / 2 for s in strip.slots for side in (-1, 1)}


def _mark(drawing: Drawing, strip: Strip, at: Point, size: float, room: float) -> None:
    x, y = at
    if room < _UPRIGHT_MM:
        # Narrow parts are marked along their height.
        text = f"{strip.part}  {strip.length_mm:.1f} × {strip.height_mm:.1f}"
        small = max(min(0.8 * size, room), 1.2)
        foot = (x + 0.8 * small, y + 0.5 * strip.height_mm)
        shown = fitted(text, small, 0.85 * strip.height_mm)
        drawing.label(LABEL, shown, foot, small, degrees=-90.0)
        return
    about = f"{strip.length_mm:.1f} × {strip.height_mm:.1f}"
    size = max(min(size, size * room / width_mm(about, 0.8 * size)), 2.0)
    drawing.label(LABEL, fitted(strip.part, size, room), at, size)
    drawing.label(LABEL, fitted(about, 0.8 * size, room), (x, y + 1.3 * size), 0.8 * size)
    meets = " → ".join(f"{e.meets or e.kind}" for e in (strip.start, strip.end))
    drawing.label(LABEL, fitted(meets, 0.7 * size, room), (x, y + 2.4 * size), 0.7 * size)


_HEADS = (
    "part",
    "length",
    "start",
    "end",
    "folds",
    "slots: at, width, from",
    "notches: middle, width",
)
# Widest a column may become; longer lists go on in the next line.
_MOST_COLUMN_MM, _TABLE_MM = 230.0, 3.2
_ROW_MM, _LINE_MM = 5.0, 4.4


def _table(drawing: Drawing, strips: tuple[Strip, ...]) -> None:
    """Put a table of the parts below, its columns as wide as their text."""
    rows = [_cells(strip) for strip in strips]
    wide = [
        min(
            max(width_mm(text, _TABLE_MM, bold=k == 0) for k, text in enumerate(column)) + 6,
            _MOST_COLUMN_MM,
        )
        for column in zip(_HEADS, *rows, strict=True)
    ]
    y = drawing.bottom_mm + 10.0
    for number, cells in enumerate([_HEADS, *rows]):
        x, most = 0.0, 1
        for text, room in zip(cells, wide, strict=True):
            lines = _broken(text, room - 2)
            for k, line in enumerate(lines):
                shown = fitted(line, _TABLE_MM, room - 2, bold=number == 0)
                drawing.label(NOTE, shown, (x, y + k * _LINE_MM), _TABLE_MM, bold=number == 0)
            x, most = x + room, max(most, len(lines))
        y += _ROW_MM + (most - 1) * _LINE_MM
    drawing.bottom_mm = y - 3.0
    drawing.right_mm = max(drawing.right_mm, sum(wide))


def _broken(text: str, room_mm: float) -> list[str]:
    """Return a list such as "48, 7; 70, 13" in lines no wider than the room."""
    lines: list[str] = []
    for entry in text.split("; "):
        if lines and width_mm(f"{lines[-1]}; {entry};", _TABLE_MM) <= room_mm:
            lines[-1] += f"; {entry}"
        elif lines:
            lines[-1] += ";"
            lines.append(entry)
        else:
            lines.append(entry)
    return lines


def _cells(strip: Strip) -> tuple[str, ...]:
    slots = (
        f"{s.at_mm:.1f}, {s.width_mm:.1f}, {'top' if s.from_top else 'bottom'} ({s.meets})"
        for s in strip.slots
    )
    return (
        strip.part,
        f"{strip.length_mm:.1f}",
        _end_text(strip.start),
        _end_text(strip.end),
        f"{len(strip.folds)}",
        "; ".join(slots),
        "; ".join(f"{n.at_mm:.0f}, {n.width_mm:.0f}" for n in strip.notches),
    )


def _end_text(end: End) -> str:
    words = {
        "butt": f"butted on {end.meets}",
        "tee": f"tongue into {end.meets}",
        "mitre": f"mitred with {end.meets}",
        "rim": "box rim",
        "in-line": f"on to {end.meets}",
        "seam": f"meets {end.meets}",
        "free": "free",
    }[end.kind]
    if abs(end.bevel_degrees) >= _LEAST_BEVEL_DEGREES:
        longer = "left" if end.bevel_degrees > 0 else "right"
        words += f", {abs(end.bevel_degrees):.0f}° {longer} longer"
    return words


def _notes(cut: CutPlan) -> list[str]:
    half = cut.kerf_mm / 2
    kerf = (
        f"Cut lines lie {half:g} mm (half a kerf of {cut.kerf_mm:g} mm) outside the parts, in the waste: switch "
        "your machine's own kerf setting off."
        if cut.walls_compensated and half
        else "Cut lines are the parts' finished edges: no kerf is in them."
    )
    sides = [
        "Parts S-… are the box's sides, inner face up, from the LED plane to the diffuser; a marked line is the middle of the "
        "wall named beside it. The upper and the lower side cover the ends of the other two. Holes for cables and screws are "
        "yours to add."
    ]
    return [
        kerf,
        *(sides if cut.sides else []),
        "Parts lie with the side up that is on the right when going from start to end (start is on the left here); notches "
        "at the bottom edge, which stands on the floor.",
        "Score to half the thickness on the outer side of each bend and fold away from the score; lengths allow for "
        "bending about the middle of what is left (common practice, no source: fold a test piece). Turn the sheet for "
        "lines scored on the other side.",
        "Where a part runs along over a strip's bare edge it is not notched: pare its foot by the strip's thickness there.",
        "Where a taper is drawn, plane or sand that side of the top edge from the line up to nothing, or the wall shades "
        "the aperture above it.",
        "Slots go half way up; where two parts cross, the one slotted from the top goes in first.",
    ]
