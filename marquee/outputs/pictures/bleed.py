"""bleed.png: the lit face without walls and with them, at one exposure."""

from __future__ import annotations

from dataclasses import replace

from marquee.outputs.pictures.canvas import View, fit_view
from marquee.outputs.pictures.face import zone_cells
from marquee.outputs.pictures.layout import ROOM_PX, subtitle
from marquee.outputs.pictures.lit import expose, exposure_cd_m2
from marquee.outputs.pictures.sheet import (
    HEADING_PX,
    ROW_PX,
    Column,
    Lettering,
    Sheet,
    draw_table,
    table_height,
)
from marquee.outputs.pictures.style import DARK, MARGIN_PX, SMALL_PX, WIDTH_PX, Rgb
from marquee.plan import Plan
from marquee.values import ZoneLight

_STACK = 1.9
_GAP_PX, _NAME_ROW_PX, _BAR_ROW_PX = 32, 36, 46
_PANEL_MOST_PX = 400
_MOST_ROWS = 24


def bleed_picture(plan: Plan) -> bytes:
    """Return the PNG: what the walls are for, the plan's light without them above that with them."""
    return draw_bleed(plan).png()


def draw_bleed(plan: Plan) -> Sheet:
    """Return the sheet of `bleed_picture`; a box without walls has one panel only."""
    bare = without_walls(plan)
    first, second = _views((plan.zone_map.width_mm, plan.zone_map.height_mm))
    walled = expose(plan, second, exposure_cd_m2(plan))
    panels = [(second, "With walls", walled)]
    if bare is None:
        panels = [(first, "No walls needed", walled)]
    else:
        panels.insert(0, (first, "Without walls", expose(bare, first, walled.white_cd_m2)))
    last = panels[-1][0]
    bar_y = last.y + last.height_px + _BAR_ROW_PX // 2
    rows = min(len(plan.light.zones), _MOST_ROWS)
    table_y = bar_y + _BAR_ROW_PX // 2
    sheet = Sheet(WIDTH_PX, table_y + table_height(rows) + ROW_PX + MARGIN_PX, DARK)
    sheet.heading(
        "Bleed", subtitle(plan, "the same LEDs and bytes, the same exposure"), "FRONT VIEW"
    )
    for view, name, face in panels:
        sheet.paste(face.pixels, view.x, view.y)
        sheet.frame(view.x, view.y, view.width_px, view.height_px, DARK.rule)
        title = Lettering(size_px=18, bold=True)
        sheet.text(view.x, view.y - _NAME_ROW_PX / 2, name, title, max(view.width_px, 160))
    sheet.scale_bar(MARGIN_PX, bar_y, first.px_per_mm, min(260.0, max(first.width_px, 60)))
    _table(sheet, plan if bare is None else bare, plan, table_y)
    quiet = Lettering(size_px=SMALL_PX, colour=DARK.muted)
    note = (
        "From others: share of a zone's light that comes from other zones' LEDs. Shift: CIEDE2000 between a "
        f"zone's colour with and without that light. Full white is {walled.white_cd_m2:.0f} cd/m²."
    )
    sheet.text(MARGIN_PX, table_y + table_height(rows) + ROW_PX / 2, note, quiet, ROOM_PX)
    return sheet


def without_walls(plan: Plan) -> Plan | None:
    """Return the plan with its light in one open box in the place of its own; None where there are no walls."""
    if plan.unwalled is None:
        return None
    box = replace(plan.box, walls=())
    return plan.but(box=box, transfer=plan.unwalled.transfer, light=plan.unwalled.light)


def _views(size_mm: tuple[float, float]) -> tuple[View, View]:
    top = HEADING_PX + _NAME_ROW_PX
    if size_mm[0] >= _STACK * size_mm[1]:
        first = fit_view(size_mm, (ROOM_PX, _PANEL_MOST_PX), MARGIN_PX, top)
        return first, replace(first, y=top + first.height_px + _NAME_ROW_PX + 8)
    half = (ROOM_PX - _GAP_PX) // 2
    first = fit_view(size_mm, (half, 640), MARGIN_PX, top)
    return first, replace(first, x=MARGIN_PX + half + _GAP_PX)


def _table(sheet: Sheet, bare: Plan, plan: Plan, y: int) -> None:
    columns = (
        Column(head="", width_px=44),
        Column(head="zone", width_px=52),
        Column(head="name", width_px=240),
        Column(head="without walls: from others", width_px=190, align="right"),
        Column(head="shift", width_px=90, align="right"),
        Column(head="with walls: from others", width_px=190, align="right"),
        Column(head="shift", width_px=90, align="right"),
        Column(head="without: mostly", width_px=140, align="right"),
    )
    open_zones = {light.zone: light for light in bare.light.zones}
    light = sorted(plan.light.zones, key=lambda z: z.zone)[:_MOST_ROWS]
    rows = [_row(plan, open_zones[z.zone], z) for z in light]
    draw_table(sheet, MARGIN_PX, y, columns, rows)


def _row(plan: Plan, bare: ZoneLight, walled: ZoneLight) -> tuple[str | tuple[Rgb, ...], ...]:
    source = bare.bleed_from[0] if bare.bleed_from else None
    return (
        *zone_cells(plan.zone_map, walled.zone),
        f"{100 * bare.bleed:.1f} %",
        f"{bare.bleed_delta_e_2000:.1f}",
        f"{100 * walled.bleed:.1f} %",
        f"{walled.bleed_delta_e_2000:.1f}",
        "–" if source is None or source[1] <= 0 else f"zone {source[0]}",
    )
