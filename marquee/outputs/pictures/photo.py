"""What photographs tell: one of them laid on the face with the zones drawn over it, and figures beside the plan's."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from textwrap import wrap

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.outputs.pictures.canvas import Canvas, View, fit_view
from marquee.outputs.pictures.face import outline_zones, sample, zone_cells
from marquee.outputs.pictures.layout import ROOM_PX
from marquee.outputs.pictures.sheet import (
    HEADING_PX,
    Align,
    Column,
    Lettering,
    Sheet,
    draw_table,
    table_height,
)
from marquee.outputs.pictures.style import DARK, MARGIN_PX, SMALL_PX, WIDTH_PX, Rgb, plain
from marquee.photo.values import Checked, ZonePhoto
from marquee.plan import Plan

_FACE_MOST_PX, _MOST_ROWS, _MOST_REMARKS = 560, 24, 14
_LINE_PX, _CHARACTERS = 19, 150
_OUTLINE: Rgb = (255, 255, 255)
_BLACK: Rgb = (0, 0, 0)


def photo_picture(checked: Checked, plan: Plan) -> bytes:
    """Return the PNG of `draw_photo`."""
    return draw_photo(checked, plan).png()


def draw_photo(checked: Checked, plan: Plan) -> Sheet:
    """Return the sheet: the photograph laid on the face, zones outlined, doubted walls and LEDs marked, a table.

    Parameters
    ----------
    checked : Checked
        What the photographs tell.
    plan : Plan
        The plan they were laid against.
    """
    size_mm = (plan.zone_map.width_mm, plan.zone_map.height_mm)
    view = fit_view(size_mm, (ROOM_PX, _FACE_MOST_PX), MARGIN_PX, HEADING_PX)
    bar_y = view.y + view.height_px + 26
    table_y = bar_y + 26
    rows = checked.zones[:_MOST_ROWS]
    lines = list(_remarks(checked))
    remarks_y = table_y + table_height(len(rows)) + 20
    height = remarks_y + _LINE_PX * len(lines) + MARGIN_PX
    sheet = Sheet(WIDTH_PX, height, DARK)
    agreement = f"agreement {checked.registration.score:.2f} of 1"
    subtitle = f"{checked.face_file} laid on the face, zones as planned outlined; {agreement}"
    sheet.heading("Photograph", plain(subtitle), "FRONT VIEW")
    sheet.paste(_face(checked, plan, view), view.x, view.y)
    sheet.frame(view.x, view.y, view.width_px, view.height_px, sheet.theme.muted)
    _mark(sheet, checked, plan, view)
    sheet.scale_bar(MARGIN_PX, bar_y, view.px_per_mm, min(view.width_px, 200))
    _table(sheet, plan, rows, table_y)
    for number, line in enumerate(lines):
        sheet.text(MARGIN_PX, remarks_y + _LINE_PX * number, line, Lettering(), ROOM_PX)
    return sheet


def _face(checked: Checked, plan: Plan, view: View) -> NDArray[np.uint8]:
    canvas = Canvas(view, _BLACK)
    height, width = canvas.pixels.shape[:2]
    canvas.pixels[:] = cv2.resize(checked.face, (width, height), interpolation=cv2.INTER_LINEAR)
    labels = sample(plan.zone_map.zone_of_px, plan.zone_map.mm_per_px, view)
    outline_zones(canvas, labels, _OUTLINE, 1.0)
    return canvas.reduced()


def _mark(sheet: Sheet, checked: Checked, plan: Plan, view: View) -> None:
    """Ring what the remarks speak of: LEDs, and places where light strays."""
    accent = sheet.theme.accent
    looks = Lettering(size_px=SMALL_PX, bold=True, colour=accent, halo=_BLACK)
    places: dict[str, tuple[float, float]] = {}
    for name in sorted({f.where for f in checked.findings if f.code == "photo.led-dark"}):
        led = int(name.removeprefix("LED "))
        places[name] = (float(plan.chain.x_mm[led]), float(plan.chain.y_mm[led]))
    for pair in checked.strayed:
        places.setdefault("bleed" if pair.wall is None else f"wall {pair.wall}", pair.at_mm)
    beside: tuple[tuple[int, int, Align], ...] = (
        (16, 0, "left"),
        (-16, 0, "right"),
        (0, -20, "centre"),
        (0, 20, "centre"),
    )
    for text, place in places.items():
        x, y = view.at(*place)
        sheet.ring(x, y, 11, _BLACK, 5)
        sheet.ring(x, y, 11, accent, 2)
        for dx, dy, align in beside:
            there = replace(looks, align=align)
            if sheet.is_free(sheet.measure(x + dx, y + dy, text, there)):
                sheet.text(x + dx, y + dy, text, there)
                break
        else:
            sheet.text(x + 16, y, text, looks)


def _table(sheet: Sheet, plan: Plan, rows: tuple[ZonePhoto, ...], y: int) -> None:
    columns = (
        Column(head="", width_px=40),
        Column(head="zone", width_px=48),
        Column(head="name", width_px=200),
        Column(head="min/max", width_px=90, align="right"),
        Column(head="planned", width_px=90, align="right"),
        Column(head="min/mean", width_px=90, align="right"),
        Column(head="planned", width_px=90, align="right"),
        Column(head="from others", width_px=110, align="right"),
        Column(head="planned", width_px=90, align="right"),
        Column(head="light", width_px=80, align="right"),
        Column(head="R, G, B against the sign's", width_px=200, align="right"),
    )
    draw_table(sheet, MARGIN_PX, y, columns, [_row(plan, row) for row in rows])


def _row(plan: Plan, row: ZonePhoto) -> tuple[str | tuple[Rgb, ...], ...]:
    return (
        *zone_cells(plan.zone_map, row.zone),
        f"{row.min_over_max:.2f}",
        f"{row.predicted_min_over_max:.2f}",
        f"{row.min_over_mean:.2f}",
        f"{row.predicted_min_over_mean:.2f}",
        "–" if row.bleed is None else f"{row.bleed:.1%}",
        f"{row.predicted_bleed:.1%}",
        "–" if row.light is None else f"{row.light:.0%}",
        "–" if row.balance is None else ", ".join(f"×{value:.2f}" for value in row.balance),
    )


def _remarks(checked: Checked) -> Iterator[str]:
    for number, finding in enumerate(checked.findings[:_MOST_REMARKS], 1):
        yield from wrap(plain(f"{number}. {finding.where}: {finding.message}"), _CHARACTERS)
    if len(checked.findings) > _MOST_REMARKS:
        yield f"and {len(checked.findings) - _MOST_REMARKS} more"
