"""barriers.png: the walls in their true thickness over pale cells, numbered and measured."""

from __future__ import annotations

from math import hypot

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.outputs.pictures.canvas import Canvas, View
from marquee.outputs.pictures.face import cell_colour, outline_zones, paint_zones, sample
from marquee.outputs.pictures.layout import lay_out, subtitle
from marquee.outputs.pictures.sheet import (
    PLAIN,
    ROW_PX,
    Column,
    Lettering,
    Sheet,
    TextBox,
    draw_table,
    table_height,
)
from marquee.outputs.pictures.style import MARGIN_PX, SMALL_PX, WALL, WIDTH_PX, plain
from marquee.outputs.pictures.wrap import wrap
from marquee.plan import Plan
from marquee.units import format_length
from marquee.values import Path_mm, Wall

_WHITE = (255, 255, 255)
_WALL_TEXT = Lettering(size_px=SMALL_PX, align="centre", halo=_WHITE, bold=True)
_MOST_ROWS = 48
_NOT_A_TEMPLATE = "a picture to read, not a template to cut from"
_SLOT_NOTE = "; white dots: a strip passes under the wall"
_TABLE_GAP_PX, _TABLE_MOST_PX = 32, 760
# Thinnest a wall is drawn, in sheet pixels.
LEAST_WALL_PX = 1.4
# How pale the cells and the apertures in them are.
CELL_PALE, APERTURE_PALE = 0.82, 0.4


def barriers_picture(plan: Plan) -> bytes:
    """Return the PNG: walls over pale zones, each wall with its number and length."""
    return draw_barriers(plan).png()


def draw_barriers(plan: Plan) -> Sheet:
    """Return the sheet of `barriers_picture`."""
    box, zone_map = plan.box, plan.zone_map
    layout = lay_out((zone_map.width_mm, zone_map.height_mm), labels=False)
    tables, width = _tables(plan, layout.tables_width_px)
    most = max((len(rows) for rows in tables), default=0)
    bottom = layout.tables_y + table_height(most) + ROW_PX
    sheet = Sheet(WIDTH_PX, layout.height_px(bottom))
    sheet.heading("Barriers", subtitle(plan, *_facts(plan)), "FRONT VIEW")
    view = layout.view
    sheet.paste(walled_face(plan, view).reduced(), view.x, view.y)
    sheet.frame(view.x, view.y, view.width_px, view.height_px, WALL)
    _label_walls(sheet, plan, view)
    bar = sheet.scale_bar(MARGIN_PX, layout.bar_y, view.px_per_mm, layout.bar_most_px)
    quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
    sheet.text(
        bar.x1 + 24,
        layout.bar_y,
        _NOT_A_TEMPLATE + (_SLOT_NOTE if any(w.slots_mm for w in box.walls) else ""),
        quiet,
        layout.tables_x - bar.x1 - 40
        if layout.tables_beside and bottom > layout.bar_y - ROW_PX
        else WIDTH_PX - MARGIN_PX - bar.x1 - 24,
    )
    if not tables:
        sheet.text(layout.tables_x, layout.tables_y + ROW_PX / 2, "One cell: no walls needed.")
        return sheet
    for number, rows in enumerate(tables):
        x = layout.tables_x + number * (width + _TABLE_GAP_PX)
        draw_table(sheet, x, layout.tables_y, _columns(width), rows)
    if len(box.walls) > _MOST_ROWS:
        more = f"{len(box.walls) - _MOST_ROWS} more walls are listed in plan.json"
        sheet.text(layout.tables_x, bottom - ROW_PX / 2, more, quiet)
    return sheet


def walled_face(plan: Plan, view: View, *, aperture_pale: float | None = APERTURE_PALE) -> Canvas:
    """Return the pale cells, their apertures (as pale as asked, None for without) and the walls upon them."""
    zone_map = plan.zone_map
    canvas = Canvas(view, _WHITE)
    for cell in plan.box.cells:
        rings = [cell.outline_mm, *cell.holes_mm]
        canvas.areas(rings, cell_colour(zone_map, cell.zone, CELL_PALE))
    if aperture_pale is not None:
        labels = sample(zone_map.zone_of_px, zone_map.mm_per_px, view)
        paint_zones(canvas, labels, zone_map, aperture_pale)
        outline_zones(canvas, labels, (130, 134, 140), 0.7)
    thickness_mm = plan.box.wall_thickness_mm
    # A light edge first, or a wall across a dark aperture would not be seen.
    for wall in plan.box.walls:
        canvas.path(wall.path_mm, _WHITE, thickness_mm + 2 / view.px_per_mm, LEAST_WALL_PX + 2)
    for wall in plan.box.walls:
        canvas.path(wall.path_mm, WALL, thickness_mm, LEAST_WALL_PX)
    slots = [place for wall in plan.box.walls for place in slot_places(wall)]
    if slots:
        radius_mm = max(0.3 * thickness_mm, 1.2 / view.px_per_mm)
        canvas.dots(np.array(slots), radius_mm, [_WHITE] * len(slots))
    return canvas


def slot_places(wall: Wall) -> list[tuple[float, float]]:
    """Return where on the face a wall's slots are [mm]."""
    points = np.array(wall.path_mm, float)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    return [
        (float(np.interp(s, along, points[:, 0])), float(np.interp(s, along, points[:, 1])))
        for s in wall.slots_mm
    ]


def _facts(plan: Plan) -> tuple[str, str]:
    box = plan.box
    count = len(box.walls)
    if not count:
        return "no walls", f"{format_length(box.depth_mm)} deep"
    return (
        f"{count} wall{'' if count == 1 else 's'}, {format_length(round(box.total_length_mm))} in all",
        f"{format_length(box.wall_thickness_mm)} thick, {format_length(box.wall_height_mm)} high",
    )


def _columns(width_px: int) -> tuple[Column, ...]:
    free = width_px - 64 - 110
    slots = min(int(free * 0.4), 230)
    return (
        Column(head="wall", width_px=64),
        Column(head="between", width_px=free - slots),
        Column(head="length, mm", width_px=110, align="right"),
        Column(head="strip passes at, mm", width_px=slots),
    )


def _tables(plan: Plan, room_px: int) -> tuple[list[list[tuple[str, ...]]], int]:
    """Return the rows of one table, or of two beside each other, and the width of each."""
    walls = plan.box.walls[:_MOST_ROWS]
    halves = 2 if room_px >= 1000 and len(walls) > 4 else 1
    width = min((room_px - _TABLE_GAP_PX * (halves - 1)) // halves, _TABLE_MOST_PX)
    slots_px = _columns(width)[-1].width_px - 14
    groups = [_rows(plan, wall, slots_px) for wall in walls]
    half = sum(map(len, groups)) / halves
    tables: list[list[tuple[str, ...]]] = []
    for rows in groups:
        if not tables or (len(tables) < halves and len(tables[-1]) >= half):
            tables.append([])
        tables[-1] += rows
    return tables, width


def _rows(plan: Plan, wall: Wall, slots_px: int) -> list[tuple[str, ...]]:
    """Return a wall's row, and more where its slots need them."""
    names = {zone.id: zone.name for zone in plan.zone_map.zones}
    sides = " | ".join(f"{i} {plain(names.get(i, ''))}".rstrip() for i in wall.zones)
    slots = ", ".join(f"{s:.0f}" for s in wall.slots_mm) or "–"
    first, *others = wrap(slots, slots_px, PLAIN.size_px)
    row = (f"W{wall.id}", sides, f"{wall.length_mm:.1f}", first)
    return [row, *(("", "", "", line) for line in others)]


def _label_walls(sheet: Sheet, plan: Plan, view: View) -> None:
    """Put each wall's number, with its length where there is room, beside it and off all walls."""
    taken = Canvas(view, _WHITE)
    for wall in plan.box.walls:
        taken.path(wall.path_mm, WALL, plan.box.wall_thickness_mm, LEAST_WALL_PX)
    covered = cv2.integral((taken.reduced()[..., 0] < 200).astype(np.uint8))
    for wall in sorted(plan.box.walls, key=lambda w: (-w.length_mm, w.id)):
        places = _label_places(sheet, view, wall)
        free = [box for box in places if sheet.is_free(box)]
        if free:
            # The first place of those that cover the least wall.
            best = min(free, key=lambda box: _sum_within(covered, view, box))
            sheet.text((best.x0 + best.x1) / 2, (best.y0 + best.y1) / 2, best.text, _WALL_TEXT)


def _label_places(sheet: Sheet, view: View, wall: Wall) -> list[TextBox]:
    places = []
    for text in (f"W{wall.id}  {wall.length_mm:.0f} mm", f"W{wall.id}"):
        for share in (0.5, 0.4, 0.6, 0.25, 0.75, 0.1, 0.9):
            x, y, dx, dy = _along(view, wall.path_mm, share)
            box = sheet.measure(0, 0, text, _WALL_TEXT)
            # Clear of the wall by the box's reach across it, on one side or the other.
            reach = abs(dx) * box.x1 + abs(dy) * box.y1 + 7
            for side in (1, -1):
                box = sheet.measure(x + side * dx * reach, y + side * dy * reach, text, _WALL_TEXT)
                if view.holds(box.x0 - 5, box.y0) and view.holds(box.x1 + 5, box.y1):
                    places.append(box)
    return places


def _sum_within(integral: NDArray[np.int32], view: View, box: TextBox) -> int:
    left, top = round(box.x0 - view.x), round(box.y0 - view.y)
    right, bottom = round(box.x1 - view.x), round(box.y1 - view.y)
    corners = integral[[bottom, top, bottom, top], [right, left, left, right]].astype(int)
    return int(corners[0] + corners[1] - corners[2] - corners[3])


def _along(view: View, path: Path_mm, share: float) -> tuple[float, float, float, float]:
    """Return a place along a path on the sheet, and the unit normal there."""
    points = np.array([view.at(*point) for point in path])
    steps = np.hypot(*np.diff(points, axis=0).T)
    wanted = share * steps.sum()
    ends = np.cumsum(steps)
    i = min(int(np.searchsorted(ends, wanted)), len(steps) - 1)
    (x0, y0), (x1, y1) = points[i], points[i + 1]
    length = hypot(x1 - x0, y1 - y0) or 1.0
    part = (wanted - (ends[i] - steps[i])) / length
    return (
        float(x0 + part * (x1 - x0)),
        float(y0 + part * (y1 - y0)),
        float((y1 - y0) / length),
        float((x0 - x1) / length),
    )
