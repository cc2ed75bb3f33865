"""zones.png: the face divided, each zone in its own colour with its number and name."""

from __future__ import annotations

from marquee.outputs.pictures.callouts import Callout, Strip, draw_callouts
from marquee.outputs.pictures.canvas import Canvas, View
from marquee.outputs.pictures.face import (
    Mark,
    aperture_marks,
    cycles,
    nearest_place,
    outline_zones,
    paint_zones,
    sample,
    zone_cells,
    zone_colours,
    zone_marks,
)
from marquee.outputs.pictures.layout import LABEL_ROW_PX, Layout, lay_out, subtitle
from marquee.outputs.pictures.sheet import (
    ROW_PX,
    Column,
    Lettering,
    Sheet,
    draw_table,
    table_height,
)
from marquee.outputs.pictures.style import (
    FACE,
    FACE_STRIPE,
    MARGIN_PX,
    SMALL_PX,
    WIDTH_PX,
    grouped,
    ink_on,
    plain,
)
from marquee.plan import Plan
from marquee.values import Adjacency, Aperture, Zone, ZoneMap

_WHITE = (255, 255, 255)
_MOST_ROWS = 24
_MOST_GAPS = 20
_MOST_NAMED = 20
# An aperture carries its zone's number if its middle is this far from its edge, by digits.
_NUMBER_CLEARANCE_PX = (0.0, 8.5, 11.5, 15.0)


def zones_picture(plan: Plan) -> bytes:
    """Return the PNG: the face with each zone in its screen colour, numbered, named and listed."""
    return draw_zones(plan).png()


def draw_zones(plan: Plan) -> Sheet:
    """Return the sheet of `zones_picture`."""
    zone_map = plan.zone_map
    layout, names = _named_layout(zone_map)
    near = near_pairs(plan)
    gaps = near[:_MOST_GAPS]
    rows = min(len(zone_map.zones), _MOST_ROWS)
    notes = _notes(zone_map, len(near) - len(gaps))
    gap_columns = layout.tables_width_px >= 1000
    below = 0 if gap_columns or not gaps else table_height(len(gaps)) + 12
    tallest = max(table_height(rows), table_height(len(gaps)) if gap_columns and gaps else 0)
    bottom = layout.tables_y + tallest + below + ROW_PX * len(notes)
    sheet = Sheet(WIDTH_PX, layout.height_px(bottom))
    sheet.heading("Zones", subtitle(plan, _count(zone_map)), "FRONT VIEW")
    sheet.paste(_face(zone_map, layout.view).reduced(), layout.view.x, layout.view.y)
    left_out = _draw_names(sheet, layout, names)
    _mark_gaps(sheet, zone_map, gaps, layout.view)
    _number_apertures(sheet, zone_map, aperture_marks(zone_map, layout.view))
    bar = sheet.scale_bar(MARGIN_PX, layout.bar_y, layout.view.px_per_mm, layout.bar_most_px)
    if left_out:
        quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
        sheet.text(bar.x1 + 24, layout.bar_y, f"{left_out} more zones without a label", quiet)
    _tables(sheet, plan, layout, gaps, notes)
    return sheet


def _named_layout(zone_map: ZoneMap) -> tuple[Layout, tuple[list[Callout], list[Callout]]]:
    size_mm = (zone_map.width_mm, zone_map.height_mm)
    layout = lay_out(size_mm, labels=True)
    names = _name_zones(zone_map, layout)
    rows = (bool(names[0]), bool(names[1]))
    if layout.wide and rows != (True, True):
        # No room is kept for an empty row of labels.
        layout = lay_out(size_mm, labels=True, rows=rows)
        names = _name_zones(zone_map, layout)
    return layout, names


def near_pairs(plan: Plan) -> list[Adjacency]:
    """Return neighbours without room for a wall and its clearance on both sides, nearest first."""
    box = plan.project.box
    room_mm = plan.box.wall_thickness_mm + 2 * box.clearance_mm
    near = [a for a in plan.zone_map.adjacent if a.touching or a.gap_mm < room_mm]
    return sorted(near, key=lambda a: (a.gap_mm, a.zones))


def _count(zone_map: ZoneMap) -> str:
    zones, apertures = len(zone_map.zones), len(zone_map.apertures)
    return (
        f"{zones} zone{'' if zones == 1 else 's'}, "
        f"{apertures} aperture{'' if apertures == 1 else 's'}"
    )


def _notes(zone_map: ZoneMap, more_near: int) -> list[str]:
    notes = [
        f"Zone {zone.id} is mixed: {plain(zone.reason)}"
        for zone in zone_map.zones
        if zone.kind == "mixed" and zone.reason
    ][:4]
    more = len(zone_map.zones) - _MOST_ROWS
    if more > 0:
        notes.append(f"{more} more zones are listed in plan.json")
    if more_near > 0:
        notes.append(f"{more_near} more pairs of neighbours are near each other: see plan.json")
    return notes


def _face(zone_map: ZoneMap, view: View) -> Canvas:
    labels = sample(zone_map.zone_of_px, zone_map.mm_per_px, view)
    canvas = Canvas(view, FACE)
    canvas.stripes(FACE_STRIPE, 6, 1.4, slope=-1)
    paint_zones(canvas, labels, zone_map)
    outline_zones(canvas, labels, _WHITE, 1.0)
    return canvas


def _carries_number(aperture: Aperture, mark: Mark | None) -> bool:
    digits = len(f"{aperture.zone}")
    return mark is not None and mark.clearance_px >= _NUMBER_CLEARANCE_PX[min(digits, 3)]


def _name_zones(zone_map: ZoneMap, layout: Layout) -> tuple[list[Callout], list[Callout]]:
    """Return the zones' labels: those above and below a wide face, or all those beside another."""
    view = layout.view
    largest = sorted(zone_map.zones, key=lambda z: (-z.area_mm2, z.id))
    if len(largest) > _MOST_NAMED:
        # Names would come down to numbers, which the wider apertures carry inside anyway.
        inside = aperture_marks(zone_map, view)
        carried = {a.zone for a in zone_map.apertures if _carries_number(a, inside.get(a.id))}
        largest = [zone for zone in largest if zone.id not in carried]
    if not layout.wide:
        marks = zone_marks(zone_map, view, "right")
        return [_callout(zone, marks[zone.id]) for zone in largest], []
    up, down = zone_marks(zone_map, view, "top"), zone_marks(zone_map, view, "bottom")
    bottom = view.y + view.height_px
    above = [z for z in largest if up[z.id].y - view.y <= bottom - down[z.id].y]
    beneath = [z for z in largest if z not in above]
    return [_callout(z, up[z.id]) for z in above], [_callout(z, down[z.id]) for z in beneath]


def _draw_names(sheet: Sheet, layout: Layout, names: tuple[list[Callout], list[Callout]]) -> int:
    view = layout.view
    right, bottom = view.x + view.width_px, view.y + view.height_px
    if not layout.wide:
        column = Strip(axis=1, low=view.y, high=bottom, port=right + 18, middle=right + 24)
        return draw_callouts(sheet, names[0], column)
    half = LABEL_ROW_PX / 2
    low, high = float(MARGIN_PX), float(WIDTH_PX - MARGIN_PX)
    over = Strip(axis=0, low=low, high=high, port=view.y - half + 9, middle=view.y - half)
    under = Strip(axis=0, low=low, high=high, port=bottom + half - 9, middle=bottom + half)
    return draw_callouts(sheet, names[0], over) + draw_callouts(sheet, names[1], under)


def _callout(zone: Zone, mark: Mark) -> Callout:
    return Callout(number=f"{zone.id}", text=_named(zone), place=(mark.x, mark.y))


def _named(zone: Zone) -> str:
    return plain(zone.name) + (" (hue cycle)" if zone.mode == "hue-cycle" else "")


def _mark_gaps(sheet: Sheet, zone_map: ZoneMap, gaps: list[Adjacency], view: View) -> None:
    for letter, pair in zip(_letters(len(gaps)), gaps, strict=True):
        place = nearest_place(zone_map, pair, view)
        if place is None:
            continue
        x, y = place
        sheet.ring(x, y, 8.0, _WHITE, 4)
        sheet.ring(x, y, 8.0, sheet.theme.accent, 2)
        sheet.bar_line((x - 8, y), (x + 8, y))
        looks = Lettering(bold=True, colour=sheet.theme.accent, halo=_WHITE, align="centre")
        for dx, dy in ((16, -13), (-16, -13), (16, 13), (-16, 13), (0, -20), (0, 20)):
            if sheet.is_free(sheet.measure(x + dx, y + dy, letter, looks)):
                sheet.text(x + dx, y + dy, letter, looks)
                break


def _letters(count: int) -> list[str]:
    return [chr(ord("A") + i) for i in range(count)]


def _number_apertures(sheet: Sheet, zone_map: ZoneMap, inside: dict[int, Mark]) -> None:
    zones = {z.id: z for z in zone_map.zones}
    for aperture in zone_map.apertures:
        mark = inside.get(aperture.id)
        if mark is None or not _carries_number(aperture, mark):
            continue
        zone = zones[aperture.zone]
        fill = zone_colours(zone_map, zone)[0]
        looks = Lettering(
            align="centre",
            colour=(24, 28, 36) if cycles(zone) else ink_on(fill),
            halo=_WHITE if cycles(zone) else None,
        )
        box = sheet.measure(mark.x, mark.y, f"{zone.id}", looks)
        if sheet.is_free(box):
            sheet.text(mark.x, mark.y, f"{zone.id}", looks)


def _tables(
    sheet: Sheet, plan: Plan, layout: Layout, gaps: list[Adjacency], notes: list[str]
) -> None:
    zone_map = plan.zone_map
    both = layout.tables_width_px >= 1000
    width = layout.tables_width_px - (330 if both and gaps else 0)
    fixed = 44 + 52 + 100 + 90 + 110
    free = width - fixed
    columns = (
        Column(head="", width_px=44),
        Column(head="zone", width_px=52, align="left"),
        Column(head="name", width_px=int(free * 0.55)),
        Column(head="colour", width_px=free - int(free * 0.55)),
        Column(head="lit", width_px=100),
        Column(head="apertures", width_px=90, align="right"),
        Column(head="area, mm²", width_px=110, align="right"),
    )
    rows = [
        (
            *zone_cells(zone_map, zone.id),
            _colour_text(zone_map, zone),
            "hue cycle" if zone.mode == "hue-cycle" else "steady",
            f"{len(zone.apertures)}",
            grouped(zone.area_mm2),
        )
        for zone in zone_map.zones[:_MOST_ROWS]
    ]
    y = draw_table(sheet, layout.tables_x, layout.tables_y, columns, rows)
    if gaps:
        x = layout.tables_x + width + 30 if both else layout.tables_x
        bottom = _gap_table(sheet, gaps, x, layout.tables_y if both else y + 12)
        y = max(y, bottom) if both else bottom
    for number, note in enumerate(notes):
        quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
        place = y + ROW_PX * number + ROW_PX // 2
        sheet.text(layout.tables_x, place, note, quiet, layout.tables_width_px)


def _gap_table(sheet: Sheet, gaps: list[Adjacency], x: int, y: int) -> int:
    columns = (
        Column(head="near", width_px=50),
        Column(head="zones", width_px=80),
        Column(head="gap", width_px=80, align="right"),
        Column(head="", width_px=90),
    )
    rows = [
        (
            letter,
            f"{pair.zones[0]} – {pair.zones[1]}",
            f"{pair.gap_mm:.1f} mm",
            "touching" if pair.touching else "narrow",
        )
        for letter, pair in zip(_letters(len(gaps)), gaps, strict=True)
    ]
    return draw_table(sheet, x, y, columns, rows)


def _colour_text(zone_map: ZoneMap, zone: Zone) -> str:
    names = [zone_map.colours[i] for i in zone.colours]
    if not names:
        return ""
    if len(names) > 1:
        return f"{len(names)} colours"
    return f"{names[0].srgb}  {plain(names[0].name)}"
