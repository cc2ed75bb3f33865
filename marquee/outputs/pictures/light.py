"""light.png: luminance of the diffuser as a map with contours, apertures outlined, figures per zone."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.outputs.pictures.canvas import FINER, Canvas, View
from marquee.outputs.pictures.face import outline_zones, sample, zone_cells
from marquee.outputs.pictures.layout import Layout, lay_out, subtitle
from marquee.outputs.pictures.luminance import map_over
from marquee.outputs.pictures.sheet import (
    ROW_PX,
    Column,
    Lettering,
    Sheet,
    draw_table,
    table_height,
)
from marquee.outputs.pictures.style import (
    MARGIN_PX,
    SMALL_PX,
    WIDTH_PX,
    Rgb,
    round_number,
)
from marquee.plan import Plan
from marquee.values import ZoneLight

_WHITE: Rgb = (255, 255, 255)
_BLACK: Rgb = (0, 0, 0)
_MOST_ROWS = 24
# The scale ends at this quantile of the lit elements, so that one hot spot does not flatten the rest.
_TOP_QUANTILE = 0.995
_CONTOURS = 8
_BAR_PX = 300
_LABELS_A_LEVEL = 3


def light_picture(plan: Plan) -> bytes:
    """Return the PNG: luminance map of the whole diffuser with contours in cd/m² and the apertures' outlines."""
    return draw_light(plan).png()


def draw_light(plan: Plan) -> Sheet:
    """Return the sheet of `light_picture`."""
    layout = lay_out((plan.zone_map.width_mm, plan.zone_map.height_mm), labels=False)
    rows = min(len(plan.light.zones), _MOST_ROWS)
    bottom = layout.tables_y + table_height(rows) + ROW_PX
    below = 3 * ROW_PX if layout.tables_beside else 0
    sheet = Sheet(WIDTH_PX, layout.height_px(bottom + below))
    sheet.heading("Light", subtitle(plan, "luminance of the diffuser as driven"), "FRONT VIEW")
    view = layout.view
    luminance = map_over(plan, view, plan.light.luminance_xyz[..., 1])
    top = _top(plan)
    levels = contour_levels(top)
    sheet.paste(_map(plan, view, luminance, levels, top), view.x, view.y)
    sheet.frame(view.x, view.y, view.width_px, view.height_px, sheet.theme.muted)
    bar = sheet.scale_bar(MARGIN_PX, layout.bar_y, view.px_per_mm, min(layout.bar_most_px, 200))
    if layout.tables_beside:
        _colour_bar(sheet, layout.tables_x, bottom + ROW_PX, levels, top)
    else:
        _colour_bar(sheet, round(bar.x1) + 60, layout.bar_y, levels, top)
    _mark_darkest(sheet, plan, view)
    _label_contours(sheet, view, luminance, levels)
    _table(sheet, plan, layout)
    quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
    sheet.text(
        layout.tables_x, bottom - ROW_PX / 2, _note(plan, top), quiet, layout.tables_width_px
    )
    return sheet


def contour_levels(top_cd_m2: float) -> tuple[float, ...]:
    """Return round luminances between 0 and the scale's end at which contours are drawn."""
    if top_cd_m2 <= 0:
        return ()
    step = round_number(top_cd_m2 / (_CONTOURS / 2.5))
    while top_cd_m2 / step > _CONTOURS:
        step *= 2
    return tuple(step * i for i in range(1, int(top_cd_m2 / step) + 1) if step * i < top_cd_m2)


def _top(plan: Plan) -> float:
    luminance = plan.light.luminance_xyz[..., 1]
    lit = luminance[plan.transfer.zone_of_element >= 0]
    return float(np.quantile(lit if len(lit) else luminance.ravel(), _TOP_QUANTILE))


def _map(
    plan: Plan,
    view: View,
    luminance: NDArray[np.float32],
    levels: tuple[float, ...],
    top: float,
) -> NDArray[np.uint8]:
    canvas = Canvas(view, _BLACK)
    size = (canvas.pixels.shape[1], canvas.pixels.shape[0])
    fine = cv2.resize(luminance, size, interpolation=cv2.INTER_LINEAR)
    canvas.pixels = _tinted(fine / top if top > 0 else np.zeros_like(fine))
    kernel = np.ones((max(2, FINER - 1),) * 2, np.uint8)
    for level in levels:
        above = (fine > level).view(np.uint8)
        edge = cv2.morphologyEx(above, cv2.MORPH_GRADIENT, kernel)
        canvas.lay(edge, _BLACK if level > 0.4 * top else _WHITE)
    zone_map = plan.zone_map
    labels = sample(zone_map.zone_of_px, zone_map.mm_per_px, view)
    outline_zones(canvas, labels, _WHITE, 2.6)
    outline_zones(canvas, labels, _BLACK, 1.3)
    return canvas.reduced()


def _tinted(share: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Return RGB of shares 0 to 1: cividis, which runs evenly in lightness for normal and colour-blind eyes."""
    grey = np.rint(np.clip(share, 0, 1) * 255).astype(np.uint8)
    bgr = cv2.applyColorMap(grey, cv2.COLORMAP_CIVIDIS)
    out: NDArray[np.uint8] = cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB)
    return out


def _colour_bar(sheet: Sheet, x: int, y: int, levels: tuple[float, ...], top: float) -> None:
    ramp = _tinted(np.tile(np.linspace(0, 1, _BAR_PX, dtype=np.float32), (12, 1)))
    sheet.paste(ramp, x, y - 12)
    sheet.frame(x, y - 12, _BAR_PX, 12, sheet.theme.muted)
    looks = Lettering(size_px=SMALL_PX, align="centre")
    sheet.text(x + _BAR_PX + 12, y - 5, "cd/m²", Lettering(size_px=SMALL_PX))
    for level in (0.0, *levels):
        place = x + (level / top if top > 0 else 0) * _BAR_PX
        sheet.bar(round(place), y, 1, 5, sheet.theme.muted)
        box = sheet.measure(place, y + 13, f"{level:g}", looks)
        if sheet.is_free(box, 4):
            sheet.text(place, y + 13, f"{level:g}", looks)


def _mark_darkest(sheet: Sheet, plan: Plan, view: View) -> None:
    looks = Lettering(size_px=SMALL_PX, bold=True, align="centre", halo=_WHITE)
    for light in plan.light.zones:
        x, y = view.at(*light.worst_mm)
        for colour, width in ((_WHITE, 5), (sheet.theme.accent, 2)):
            for slope in (-1, 1):
                sheet.line([(x - 5, y - 5 * slope), (x + 5, y + 5 * slope)], colour, width)
        for dx, dy in ((16, 0), (-16, 0), (0, 16), (0, -16)):
            box = sheet.measure(x + dx, y + dy, f"{light.zone}", looks)
            if sheet.is_free(box) and view.holds(box.x0, box.y0) and view.holds(box.x1, box.y1):
                sheet.text(x + dx, y + dy, f"{light.zone}", looks)
                break


def _label_contours(
    sheet: Sheet, view: View, luminance: NDArray[np.float32], levels: tuple[float, ...]
) -> None:
    looks = Lettering(size_px=SMALL_PX, align="centre", halo=_WHITE)
    for level in levels:
        above = luminance > level
        edge = np.zeros_like(above)
        edge[:, 1:] |= above[:, 1:] != above[:, :-1]
        edge[1:] |= above[1:] != above[:-1]
        places = np.argwhere(edge)
        put = 0
        # Few tries spread over the contour, the same each run.
        for row, column in places[:: max(1, len(places) // 40)]:
            x, y = view.x + float(column), view.y + float(row)
            box = sheet.measure(x, y, f"{level:g}", looks)
            inside = view.holds(box.x0, box.y0) and view.holds(box.x1, box.y1)
            if inside and sheet.is_free(box, 60):
                sheet.text(x, y, f"{level:g}", looks)
                put += 1
            if put == _LABELS_A_LEVEL:
                break


def _table(sheet: Sheet, plan: Plan, layout: Layout) -> None:
    figures = 5 * 122
    columns = (
        Column(head="", width_px=44),
        Column(head="zone", width_px=52),
        Column(head="name", width_px=max(80, min(layout.tables_width_px - 96 - figures, 300))),
        Column(head="mean, cd/m²", width_px=122, align="right"),
        Column(head="darkest ÷ mean", width_px=122, align="right"),
        Column(head="÷ brightest", width_px=122, align="right"),
        Column(head="from other zones", width_px=130, align="right"),
        Column(head="mostly from", width_px=114, align="right"),
    )
    light = sorted(plan.light.zones, key=lambda z: z.zone)[:_MOST_ROWS]
    draw_table(sheet, layout.tables_x, layout.tables_y, columns, [_row(plan, z) for z in light])


def _row(plan: Plan, light: ZoneLight) -> tuple[str | tuple[Rgb, ...], ...]:
    source = light.bleed_from[0][0] if light.bleed_from and light.bleed_from[0][1] > 0 else None
    return (
        *zone_cells(plan.zone_map, light.zone),
        f"{light.luminance_cd_m2:.0f}",
        f"{light.min_over_mean:.2f}",
        f"{light.min_over_max:.2f}",
        f"{100 * light.bleed:.1f} %",
        "–" if source is None else f"zone {source}",
    )


def _note(plan: Plan, top: float) -> str:
    luminance = plan.light.luminance_xyz[..., 1]
    lit = luminance[plan.transfer.zone_of_element >= 0]
    beyond = 100 * float((lit > top).mean()) if len(lit) else 0.0
    return (
        f"× marks each zone's darkest place. The scale ends at {top:.0f} cd/m²; {beyond:.1f} % of the lit area "
        "is brighter. Outside the outlines the opaque face hides the light."
    )
