"""overview.png: the artwork, the plan and the lit face, side by side or one above the other."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.outputs.pictures.barriers import walled_face
from marquee.outputs.pictures.canvas import View, fit_view
from marquee.outputs.pictures.layout import ROOM_PX
from marquee.outputs.pictures.leds import draw_chain
from marquee.outputs.pictures.lit import LitFace, expose, exposure_cd_m2
from marquee.outputs.pictures.luminance import cycling_zones
from marquee.outputs.pictures.sheet import Lettering, Sheet
from marquee.outputs.pictures.style import (
    LIGHT,
    MARGIN_PX,
    WALL,
    WIDTH_PX,
    Rgb,
    plain,
    size_text,
)
from marquee.plan import Plan
from marquee.units import format_length
from marquee.values_pixels import shrunk_picture

# Faces wider than this for their height are stacked: three strips side by side would be unreadable.
_STACK = 2.1
_GAP_PX, _NAME_PX, _TITLE_ROW_PX, _NOTE_ROW_PX = 22, 18, 38, 30
_THIRD_PX = (ROOM_PX - 2 * _GAP_PX) // 3
_SIDE_MOST_PX, _STACKED_MOST_PX = 560, 360
# Readers see this picture at about two thirds of its size: small text must be larger.
_NOTE_PX = 16
_DARK_ROOM = "dark room · "
# Dark enough for white letters to stand out from both.
_CHECKS: tuple[Rgb, Rgb] = (168, 168, 168), (192, 192, 192)


def overview_picture(plan: Plan) -> bytes:
    """Return the PNG: artwork, zones with walls and LEDs, and lit face, with titles and a scale bar."""
    return draw_overview(plan).png()


def draw_overview(plan: Plan) -> Sheet:
    """Return the sheet of `overview_picture`."""
    views = panel_views((plan.zone_map.width_mm, plan.zone_map.height_mm))
    stacked = views[0].x == views[1].x
    bottom = views[2].y + views[2].height_px + (0 if stacked else _NOTE_ROW_PX)
    sheet = Sheet(WIDTH_PX, bottom + 56)
    face = expose(plan, views[2], exposure_cd_m2(plan))
    pixels = (_artwork(plan, views[0]), _plan(plan, views[1]), face.pixels)
    for view, panel, (title, note) in zip(views, pixels, _titles(plan, face), strict=True):
        sheet.paste(panel, view.x, view.y)
        sheet.frame(view.x, view.y, view.width_px, view.height_px, WALL)
        box = sheet.text(
            view.x, view.y - _TITLE_ROW_PX / 2, title, Lettering(size_px=_NAME_PX, bold=True)
        )
        quiet = Lettering(size_px=_NOTE_PX, colour=LIGHT.muted)
        # An upright face is narrower than its third of the sheet.
        right = view.x + (ROOM_PX if stacked else _THIRD_PX)
        if stacked:
            sheet.text(
                box.x1 + 16, view.y - _TITLE_ROW_PX / 2 + 1, note, quiet, right - box.x1 - 16
            )
        else:
            below = view.y + view.height_px + _NOTE_ROW_PX / 2 + 2
            fits = sheet.measure(view.x, below, note, quiet).x1 <= right
            shown = note if fits else note.removeprefix(_DARK_ROOM)
            sheet.text(view.x, below, shown, quiet, right - view.x)
    sheet.scale_bar(
        MARGIN_PX,
        bottom + 28,
        views[0].px_per_mm,
        min(220, views[0].width_px),
        Lettering(size_px=_NOTE_PX),
    )
    return sheet


def panel_views(size_mm: tuple[float, float]) -> tuple[View, View, View]:
    """Return the three panels: one above the other for wide faces, else side by side."""
    top = _TITLE_ROW_PX + 12
    if size_mm[0] > _STACK * size_mm[1]:
        first = fit_view(size_mm, (ROOM_PX, _STACKED_MOST_PX), MARGIN_PX, top)
        step = first.height_px + _TITLE_ROW_PX + 6
        return first, replace(first, y=top + step), replace(first, y=top + 2 * step)
    first = fit_view(size_mm, (_THIRD_PX, _SIDE_MOST_PX), MARGIN_PX, top)
    step = _THIRD_PX + _GAP_PX
    return first, replace(first, x=MARGIN_PX + step), replace(first, x=MARGIN_PX + 2 * step)


def _titles(plan: Plan, face: LitFace) -> tuple[tuple[str, str], ...]:
    zones, walls, chain = plan.zone_map.zones, plan.box.walls, plan.chain
    lit = int((chain.zone >= 0).sum())
    cycle = " · one of its hues" if cycling_zones(plan) else ""
    size = size_text(plan.zone_map.width_mm, plan.zone_map.height_mm)
    return (
        ("Artwork", f"{size} · {plain(plan.artwork.file)}"),
        (
            "Plan",
            f"{len(zones)} zone{'' if len(zones) == 1 else 's'} · {lit} lit LEDs · "
            f"{len(walls)} wall{'' if len(walls) == 1 else 's'}, "
            f"{format_length(round(plan.box.total_length_mm))}",
        ),
        ("Lit", f"{_DARK_ROOM}full white = {face.white_cd_m2:.0f} cd/m²{cycle}"),
    )


def _artwork(plan: Plan, view: View) -> NDArray[np.uint8]:
    size = (view.width_px, view.height_px)
    art = plan.artwork
    small = shrunk_picture(art, "srgb_8bit", size)
    if art.alpha_8bit is None:
        return small
    alpha = cv2.resize(art.alpha_8bit, size, interpolation=cv2.INTER_AREA)
    opaque = alpha.astype(np.float32)[..., None] / 255
    rows, columns = np.indices(small.shape[:2]) // 8
    checks = np.array(_CHECKS, np.float32)[(rows + columns) % 2]
    over: NDArray[np.uint8] = np.rint(small * opaque + checks * (1 - opaque)).astype(np.uint8)
    return over


def _plan(plan: Plan, view: View) -> NDArray[np.uint8]:
    canvas = walled_face(plan, view, aperture_pale=0.0)
    draw_chain(canvas, plan, view, numbers=False)
    return canvas.reduced()
