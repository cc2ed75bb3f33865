"""lit.png: the face as seen in a dark room, at one stated exposure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.colour.spaces import srgb_encode
from marquee.outputs.pictures.canvas import View
from marquee.outputs.pictures.face import zone_cells
from marquee.outputs.pictures.layout import Layout, lay_out, subtitle
from marquee.outputs.pictures.luminance import (
    cycling_zones,
    instant_step,
    open_share,
    screen_light,
    strongest_channel,
    to_screen,
)
from marquee.outputs.pictures.sheet import (
    ROW_PX,
    Column,
    Lettering,
    Sheet,
    draw_table,
    table_height,
)
from marquee.outputs.pictures.style import DARK, MARGIN_PX, SMALL_PX, WIDTH_PX
from marquee.plan import Plan
from marquee.values import ZoneLight

_MOST_ROWS = 24
# The exposure lets this share of the lit face reach the screen's limit, so that one hot spot does not darken all.
_CLIPPED_SHARE = 0.005
_CYCLE_PX = 320


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LitFace:
    """The lit face as 8-bit sRGB, the luminance shown as full white, and the share of it beyond."""

    pixels: NDArray[np.uint8]
    white_cd_m2: float
    clipped_share: float


def lit_picture(plan: Plan) -> bytes:
    """Return the PNG: luminance through the apertures only, linear exposure to sRGB, with a table."""
    return draw_lit(plan).png()


def draw_lit(plan: Plan) -> Sheet:
    """Return the sheet of `lit_picture`."""
    layout = _layout(plan)
    rows = min(len(plan.light.zones), _MOST_ROWS)
    cycling = cycling_zones(plan)
    bottom = layout.tables_y + table_height(rows) + (3 if cycling else 2) * ROW_PX
    sheet = Sheet(WIDTH_PX, layout.height_px(bottom), DARK)
    sheet.heading("Lit face", subtitle(plan, "in a dark room"), "FRONT VIEW")
    view = layout.view
    face = expose(plan, view)
    sheet.paste(face.pixels, view.x, view.y)
    sheet.frame(view.x, view.y, view.width_px, view.height_px, DARK.rule)
    sheet.scale_bar(MARGIN_PX, layout.bar_y, view.px_per_mm, layout.bar_most_px)
    _table(sheet, plan, layout)
    quiet = Lettering(size_px=SMALL_PX, colour=DARK.muted)
    y = layout.tables_y + table_height(rows) + ROW_PX / 2
    for note in (exposure_text(face), _driven(plan)):
        sheet.text(layout.tables_x, y, note, quiet, layout.tables_width_px)
        y += ROW_PX
    if cycling:
        _show_cycle(sheet, plan, face, (layout.tables_x, round(y) + 4))
    return sheet


def _show_cycle(sheet: Sheet, plan: Plan, face: LitFace, place: tuple[int, int]) -> None:
    """Draw all the hues the cycle runs through, side by side, at the same luminance."""
    cycle = plan.drive.hue_cycle
    if cycle is None or face.white_cd_m2 <= 0:
        return
    lights = np.array(cycle.xyz_cd, np.float32)
    zones = [z for z in plan.light.zones if z.zone in cycling_zones(plan)]
    mean = np.mean([z.luminance_cd_m2 for z in zones]) if zones else 0.0
    hues = to_screen(plan, lights / lights[:, 1].mean() * np.float32(mean)) / face.white_cd_m2
    hues /= np.maximum(hues.max(axis=-1, keepdims=True), 1.0)
    encoded = np.rint(srgb_encode(hues) * 255).astype(np.uint8)
    x, y = place
    across = np.arange(_CYCLE_PX) * len(lights) // _CYCLE_PX
    sheet.paste(np.tile(encoded[across], (14, 1, 1)), x, y - 7)
    names = "zone " + ", ".join(f"{z.zone}" for z in zones)
    step = instant_step(plan)
    # The moment shown is ticked.
    sheet.bar(round(x + (step + 0.5) / len(lights) * _CYCLE_PX), y - 11, 2, 4, DARK.ink)
    text = f"hue cycle of {names}: once round in {cycle.period_s:g} s, shown at the moment ticked"
    quiet = Lettering(size_px=SMALL_PX, colour=DARK.muted)
    sheet.text(x + _CYCLE_PX + 12, y, text, quiet, sheet.width_px - MARGIN_PX - x - _CYCLE_PX - 12)


def exposure_cd_m2(plan: Plan) -> float:
    """Return the luminance lit.png shows as full white, for pictures of other sizes that state it too [cd/m²]."""
    return expose(plan, _layout(plan).view).white_cd_m2


def _layout(plan: Plan) -> Layout:
    return lay_out((plan.zone_map.width_mm, plan.zone_map.height_mm), labels=False)


def expose(plan: Plan, view: View, white_cd_m2: float | None = None) -> LitFace:
    """Return the lit face at a view, exposed as given or so that only its brightest spots reach the limit."""
    share = open_share(plan, view)
    inside = share > 0
    open_part = share[inside]
    light = screen_light(plan, view, inside)
    strongest = strongest_channel(light)
    lit = strongest[open_part > 0.5]
    if not len(lit):
        lit = strongest
    white = float(np.quantile(lit, 1 - _CLIPPED_SHARE)) if len(lit) else 0.0
    if white_cd_m2 is not None:
        white = white_cd_m2
    pixels = np.zeros((view.height_px, view.width_px, 3), np.uint8)
    if white <= 0:
        return LitFace(pixels=pixels, white_cd_m2=0.0, clipped_share=0.0)
    relative = light / np.float32(white)
    # Beyond the limit a colour keeps its hue and stays at the limit.
    relative /= np.maximum(strongest_channel(relative), np.float32(1.0))[:, None]
    encoded = srgb_encode(relative * open_part[:, None])
    pixels[inside] = np.rint(encoded * 255.0).astype(np.uint8)
    return LitFace(
        pixels=pixels,
        white_cd_m2=white,
        clipped_share=float((lit > white * (1 + 1e-6)).mean()),
    )


def exposure_text(face: LitFace) -> str:
    """Return the sentence that says how luminance became screen colour."""
    if face.white_cd_m2 <= 0:
        return "No light reaches the face."
    clipped = f"{100 * face.clipped_share:.1f} % of the lit face is beyond it and shown at it"
    return (
        f"Linear exposure: a white of {face.white_cd_m2:.0f} cd/m² is the screen's full white; "
        f"{clipped if face.clipped_share else 'nothing is beyond it'}."
    )


def _driven(plan: Plan) -> str:
    return (
        f"As driven at {100 * plan.drive.brightness:.0f} % brightness. Computed, not photographed."
    )


def _table(sheet: Sheet, plan: Plan, layout: Layout) -> None:
    fixed = 44 + 52 + 150 + 150 + 150
    columns = (
        Column(head="", width_px=44),
        Column(head="zone", width_px=52),
        Column(head="name", width_px=min(360, layout.tables_width_px - fixed)),
        Column(head="mean, cd/m²", width_px=150, align="right"),
        Column(head="darkest ÷ mean", width_px=150, align="right"),
        Column(head="darkest ÷ brightest", width_px=150, align="right"),
    )
    light = sorted(plan.light.zones, key=lambda z: z.zone)[:_MOST_ROWS]
    rows = [_row(plan, zone_light) for zone_light in light]
    draw_table(sheet, layout.tables_x, layout.tables_y, columns, rows)


def _row(plan: Plan, light: ZoneLight) -> tuple[str | tuple[tuple[int, int, int], ...], ...]:
    return (
        *zone_cells(plan.zone_map, light.zone),
        f"{light.luminance_cd_m2:.0f}",
        f"{light.min_over_mean:.2f}",
        f"{light.min_over_max:.2f}",
    )
