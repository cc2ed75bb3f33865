"""chromaticity.png: where targets and results lie in the CIE 1976 diagram, and what the LEDs can make."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from marquee.colour.adapt import adaptation_matrix, observed_white_xyz
from marquee.colour.constants import D65_XYZ, SRGB_TO_XYZ
from marquee.colour.emission import emission
from marquee.colour.observer import locus_xyz
from marquee.colour.spaces import xyz_to_uv_prime
from marquee.outputs.pictures.canvas import Canvas, View
from marquee.outputs.pictures.face import zone_cells
from marquee.outputs.pictures.layout import subtitle
from marquee.outputs.pictures.part_plots import GRID, hull
from marquee.outputs.pictures.sheet import (
    HEADING_PX,
    ROW_PX,
    Column,
    Lettering,
    Sheet,
    draw_table,
)
from marquee.outputs.pictures.style import MARGIN_PX, SMALL_PX, WIDTH_PX, Rgb, plain
from marquee.plan import Plan
from marquee.values import ZoneDrive

_WHITE: Rgb = (255, 255, 255)
_LOCUS: Rgb = (110, 116, 126)
_GAMUT: Rgb = (24, 28, 36)
_SCREEN: Rgb = (70, 104, 168)
_CYCLE: Rgb = (176, 122, 20)
_MOST_ROWS = 22
# The diagram's range, and sheet pixels per unit of u′ or v′.
_U_LEAST, _U_MOST, _V_MOST, _SCALE = -0.04, 0.64, 0.62, 850.0
_DISC_PX, _RING_PX = 8.0, 4.4
_PLOT_X, _PLOT_Y = MARGIN_PX + 36, HEADING_PX
_WAVELENGTHS_NM = (440, 460, 470, 480, 490, 500, 510, 520, 540, 560, 580, 600, 620)

Places = NDArray[np.float64]


def chromaticity_picture(plan: Plan) -> bytes:
    """Return the PNG: spectral locus, the part's gamut, sRGB's, and each zone's target and result in u′ v′."""
    return draw_chromaticity(plan).png()


def draw_chromaticity(plan: Plan) -> Sheet:
    """Return the sheet of `chromaticity_picture`.

    All places are those of the light itself, under the sign's white: targets, given for D65, are adapted.
    """
    view = View(
        x=_PLOT_X,
        y=_PLOT_Y,
        width_px=round((_U_MOST - _U_LEAST) * _SCALE),
        height_px=round(_V_MOST * _SCALE),
        px_per_mm=_SCALE,
    )
    sheet = Sheet(WIDTH_PX, view.y + view.height_px + 64)
    colour = plan.project.colour
    facts = (plain(plan.part.title), f"white {plain(colour.white)}", f"observer {colour.observer}")
    sheet.heading("Colours", subtitle(plan, *facts))
    part = xyz_to_uv_prime(np.array(emission(plan.part, colour.observer).xyz_cd))
    sheet.paste(_diagram(plan, view, part).reduced(), view.x, view.y)
    sheet.frame(view.x, view.y, view.width_px, view.height_px, _LOCUS)
    _label_axes(sheet, view)
    _label_places(sheet, view, plan, part)
    _table(sheet, plan, view)
    return sheet


def zone_places(plan: Plan) -> list[tuple[ZoneDrive, Places, Places]]:
    """Return each steady zone's drive with its target's and its result's u′, v′."""
    from_d65 = _from_d65(plan)
    return [
        (
            drive,
            xyz_to_uv_prime(from_d65 @ np.array(drive.target.xyz)),
            xyz_to_uv_prime(np.array(drive.intensity_xyz_cd)),
        )
        for drive in plan.drive.zones
    ]


def _from_d65(plan: Plan) -> NDArray[np.float64]:
    colour = plan.project.colour
    white = observed_white_xyz(colour.white, colour.observer, "colour.white")
    return adaptation_matrix(D65_XYZ, white, colour.adaptation)


def _at(uv: Places) -> tuple[float, float]:
    """Return where a chromaticity lies in the view's own lengths, v′ upwards."""
    return float(uv[0] - _U_LEAST), float(_V_MOST - uv[1])


def _diagram(plan: Plan, view: View, part: Places) -> Canvas:
    canvas = Canvas(view, _WHITE)
    for tenth in np.arange(7) / 10:
        for ends in (((tenth, 0.0), (tenth, _V_MOST)), ((_U_LEAST, tenth), (_U_MOST, tenth))):
            canvas.path([_at(np.array(end)) for end in ends], GRID, 0.0, 1.0)
    observer = plan.project.colour.observer
    locus = xyz_to_uv_prime(locus_xyz(np.arange(390.0, 701.0), observer))
    canvas.path([_at(p) for p in (*locus, locus[0])], _LOCUS, 0.0, 1.6)
    screen = xyz_to_uv_prime((_from_d65(plan) @ SRGB_TO_XYZ).T)
    _dashed(canvas, [_at(p) for p in (*screen, screen[0])], _SCREEN)
    corners = hull(part)
    canvas.path([_at(p) for p in (*corners, corners[0])], _GAMUT, 0.0, 1.8)
    if plan.drive.hue_cycle is not None:
        cycle = xyz_to_uv_prime(np.array(plan.drive.hue_cycle.xyz_cd))
        canvas.path([_at(p) for p in (*cycle, cycle[0])], _CYCLE, 0.0, 1.2)
    marks = zone_places(plan)
    for _, target, result in marks:
        _arrow(canvas, np.array(_at(target)), np.array(_at(result)))
    for drive, target, result in marks:
        colour = zone_cells(plan.zone_map, drive.zone)[0][0]
        canvas.dots(np.array([_at(target)]), _DISC_PX / _SCALE, [_GAMUT])
        canvas.dots(np.array([_at(target)]), 6.6 / _SCALE, [colour])
        canvas.dots(np.array([_at(result)]), _RING_PX / _SCALE, [_GAMUT])
        canvas.dots(np.array([_at(result)]), 2.8 / _SCALE, [_WHITE])
    return canvas


def _arrow(canvas: Canvas, start: Places, end: Places) -> None:
    """Draw the way from a target's disc to the ring of its result; nothing where they overlap."""
    length_px = float(np.hypot(*(end - start))) * _SCALE
    if length_px < _DISC_PX + _RING_PX:
        return
    along = (end - start) / length_px
    tip = end - _RING_PX * along
    canvas.path([tuple(start), tuple(tip)], _GAMUT, 0.0, 1.6)
    across = np.array([-along[1], along[0]])
    for side in (-1, 1):
        canvas.path([tuple(tip - 8 * along + side * 4.5 * across), tuple(tip)], _GAMUT, 0.0, 1.6)


def _dashed(canvas: Canvas, points: list[tuple[float, float]], colour: Rgb) -> None:
    for start, end in pairwise(np.array(points)):
        count = max(1, round(float(np.hypot(*(end - start))) * _SCALE / 10))
        for i in range(count):
            a, b = (start + (end - start) * (i + part) / count for part in (0.0, 0.6))
            canvas.path([tuple(a), tuple(b)], colour, 0.0, 1.4)


def _label_axes(sheet: Sheet, view: View) -> None:
    quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted, align="centre")
    bottom = view.y + view.height_px
    for i in range(7):
        sheet.text(view.x + (i / 10 - _U_LEAST) * _SCALE, bottom + 14, f"{i / 10:.1f}", quiet)
        if i:
            sheet.text(view.x - 18, bottom - i / 10 * _SCALE, f"{i / 10:.1f}", quiet)
    looks = Lettering(bold=True, align="centre")
    sheet.text(view.x + view.width_px / 2, bottom + 36, "u′", looks)
    sheet.text(view.x - 18, bottom - 0.35 * _SCALE, "v′", looks)


def _label_places(sheet: Sheet, view: View, plan: Plan, part: Places) -> None:
    quiet = Lettering(size_px=SMALL_PX, colour=_LOCUS, align="centre")
    marks = zone_places(plan)
    for x, y in (view.at(*_at(place)) for _, *both in marks for place in both):
        # No zone's number on another zone's mark.
        sheet.bar_line((x - _DISC_PX, y), (x + _DISC_PX, y))
        sheet.bar_line((x, y - _DISC_PX), (x, y + _DISC_PX))
    for drive, target, _ in marks:
        _near(sheet, view.at(*_at(target)), f"{drive.zone}", Lettering(bold=True, align="centre"))
    looks = Lettering(size_px=SMALL_PX, bold=True, align="centre", halo=_WHITE)
    for channel, place in zip(plan.part.channels, part, strict=True):
        _near(sheet, view.at(*_at(place)), channel, looks)
    white = np.array([xyz_to_uv_prime(_from_d65(plan) @ D65_XYZ)])
    x, y = view.at(*_at(white[0]))
    sheet.line([(x - 5, y), (x + 5, y)], _GAMUT, 1, _WHITE)
    sheet.line([(x, y - 5), (x, y + 5)], _GAMUT, 1, _WHITE)
    _near(sheet, (x, y), "white", Lettering(size_px=SMALL_PX, align="centre", halo=_WHITE))
    locus = locus_xyz(np.array(_WAVELENGTHS_NM, float), plan.project.colour.observer)
    middle = np.array([0.2, 0.45])
    for wavelength, uv in zip(_WAVELENGTHS_NM, xyz_to_uv_prime(locus), strict=True):
        out = (uv - middle) / np.hypot(*(uv - middle))
        x, y = view.at(*_at(uv))
        sheet.line([(x, y), (x + 4 * out[0], y - 4 * out[1])], _LOCUS, 1)
        place = (x + 18 * out[0], y - 14 * out[1])
        if sheet.is_free(sheet.measure(*place, f"{wavelength}", quiet)):
            sheet.text(*place, f"{wavelength}", quiet)


def _near(sheet: Sheet, place: tuple[float, float], text: str, looks: Lettering) -> None:
    width = sheet.measure(0, 0, text, looks).x1
    aside = width + 11
    for dx, dy in ((aside, 0), (0, -17), (-aside, 0), (0, 17), (aside, -14), (-aside, 14)):
        if sheet.is_free(sheet.measure(place[0] + dx, place[1] + dy, text, looks)):
            sheet.text(place[0] + dx, place[1] + dy, text, looks)
            return


def _table(sheet: Sheet, plan: Plan, view: View) -> None:
    x = view.x + view.width_px + 28
    columns = (
        Column(head="", width_px=40),
        Column(head="zone", width_px=44),
        Column(head="name", width_px=WIDTH_PX - MARGIN_PX - x - 84 - 308),
        Column(head="Δu′v′", width_px=76, align="right"),
        Column(head="ΔE₀₀", width_px=80, align="right"),
        Column(head="± band", width_px=74, align="right"),
        Column(head="matched", width_px=78, align="right"),
    )
    rows = [
        (
            *zone_cells(plan.zone_map, drive.zone),
            f"{np.hypot(*(result - target)):.4f}",
            f"{drive.shown_delta_e_2000:.2f}" + ("" if drive.in_gamut else " *"),
            _or_dash(drive.band_delta_e_2000),
            _or_dash(drive.band_matched_delta_e_2000),
        )
        for drive, target, result in zone_places(plan)[:_MOST_ROWS]
    ]
    y = draw_table(sheet, x, view.y, columns, rows) + 10
    y = _key(sheet, plan, x, y)
    quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
    notes = [
        "ΔE₀₀: what the bytes leave over, shared out over the LEDs",
        "± band: spread of parts as bought, 95 %; matched: after one white match",
    ]
    if not all(drive.in_gamut for drive in plan.drive.zones):
        kept = {"hue": "shown paler, in the same hue", "nearest": "the nearest is shown"}
        told = kept[plan.project.colour.out_of_gamut]
        notes.insert(0, f"* outside what the LEDs can mix: {told}")
    for number, note in enumerate(notes):
        sheet.text(x, y + ROW_PX * number + 12, note, quiet, WIDTH_PX - MARGIN_PX - x)


def _or_dash(value: float | None) -> str:
    return "–" if value is None else f"{value:.1f}"


def _key(sheet: Sheet, plan: Plan, x: int, y: int) -> int:
    lines = [("what the LEDs can mix", _GAMUT, False), ("sRGB screens", _SCREEN, True)]
    if plan.drive.hue_cycle is not None:
        lines.append(("hue cycle", _CYCLE, False))
    lines.append(("all light there is (spectral colours, nm)", _LOCUS, False))
    for number, (text, colour, dashed) in enumerate(lines):
        middle = y + ROW_PX * number + ROW_PX // 2
        for start, end in ((0, 8), (12, 20), (24, 32)) if dashed else ((0, 32),):
            sheet.line([(x + start, middle), (x + end, middle)], colour, 2)
        sheet.text(x + 44, middle, text, Lettering(size_px=SMALL_PX))
    middle = y + ROW_PX * len(lines) + ROW_PX // 2
    sheet.dot(x + 16, middle, _DISC_PX, _GAMUT)
    sheet.dot(x + 16, middle, 6.6, (190, 194, 200))
    sheet.dot(x + 16, middle, _RING_PX, _GAMUT)
    sheet.dot(x + 16, middle, 2.8, _WHITE)
    sheet.text(
        x + 44, middle, "disc: target, ring: what the bytes give", Lettering(size_px=SMALL_PX)
    )
    return y + ROW_PX * (len(lines) + 1) + 8
