"""wiring.png: where each wire joins the chain, seen from both sides, and the diagram from supply to LED."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from marquee.outputs.pictures.barriers import walled_face
from marquee.outputs.pictures.canvas import View
from marquee.outputs.pictures.layout import ROOM_PX, subtitle
from marquee.outputs.pictures.leds import draw_chain, panel_views
from marquee.outputs.pictures.sheet import Lettering, Sheet
from marquee.outputs.pictures.style import (
    BODY_PX,
    MARGIN_PX,
    SMALL_PX,
    WALL,
    WIDTH_PX,
    Rgb,
    plain,
    plain_long,
)
from marquee.outputs.pictures.svg_sheet import SvgSheet
from marquee.outputs.pictures.wiring_diagram import DATA, PLUS, diagram_height, draw_diagram
from marquee.outputs.pictures.wrap import wrap
from marquee.outputs.words import supply_words
from marquee.plan import Plan
from marquee.values import Chain, Feed

AnySheet = TypeVar("AnySheet", bound=Sheet)
_WHITE: Rgb = (255, 255, 255)
_NAME_ROW_PX = 40
_LINE_PX = 19


def wiring_files(plan: Plan) -> dict[str, bytes]:
    """Return wiring.png and wiring.svg, for print: injection points FRONT VIEW and BACK VIEW, supply, fuses, feeds, cautions."""
    sheet = _filled(plan, SvgSheet)
    return {"wiring.png": sheet.png(), "wiring.svg": sheet.svg().encode("utf-8")}


def draw_wiring(plan: Plan) -> Sheet:
    """Return the sheet of `wiring_files`, which it draws in pixels and as SVG at once."""
    return _filled(plan, Sheet)


def _filled(plan: Plan, kind: Callable[[int, int], AnySheet]) -> AnySheet:
    power = plan.power
    front, back = panel_views((plan.zone_map.width_mm, plan.zone_map.height_mm))
    top = max(front.y + front.height_px, back.y + back.height_px) + 40
    cautions_y = top + diagram_height(power) + 20
    lines = [line for text in power.cautions for line in wrap(plain_long(text), ROOM_PX, SMALL_PX)]
    sheet = kind(WIDTH_PX, cautions_y + 34 + _LINE_PX * len(lines) + MARGIN_PX)
    supply = power.supply
    sheet.heading(
        "Wiring",
        subtitle(
            plan,
            f"{plan.chain.count} LEDs",
            f"supply {supply_words(supply.count, supply.volts, supply.amps)}",
            f"{len(power.feeds)} feed{'s' if len(power.feeds) != 1 else ''} of {power.wire}",
            plain(plan.part.title),
        ),
    )
    _panels(sheet, plan, front, back)
    draw_diagram(sheet, plan, top)
    _cautions(sheet, cautions_y, lines)
    return sheet


def _panels(sheet: Sheet, plan: Plan, front: View, back: View) -> None:
    canvas = walled_face(plan, front, aperture_pale=None)
    draw_chain(canvas, plan, front, numbers=True)
    pixels = canvas.reduced()
    for view, name, note, panel in (
        (front, "FRONT VIEW", "face taken off, as you look into the box", pixels),
        (back, "BACK VIEW", "mirrored, as you look at the rear", pixels[:, ::-1]),
    ):
        sheet.paste(panel, view.x, view.y)
        sheet.frame(view.x, view.y, view.width_px, view.height_px, WALL)
        y = view.y - _NAME_ROW_PX / 2
        box = sheet.text(view.x, y, name, Lettering(size_px=22, bold=True))
        quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
        # An upright face is narrower than its half of the sheet.
        room = view.x + max(view.width_px, (ROOM_PX - 32) // 2) - box.x1 - 16
        sheet.text(box.x1 + 16, y + 2, note, quiet, room)
        _marks(sheet, plan, view)


def _marks(sheet: Sheet, plan: Plan, view: View) -> None:
    """Draw every mark first, then the labels, which keep off all marks."""
    chain = plan.chain
    x, y = view.at(float(chain.x_mm[0]), float(chain.y_mm[0]))
    sheet.ring(x, y, 9.0, DATA, 2)
    labels = [((x, y), "DATA IN", DATA)]
    for number, feed in enumerate(plan.power.feeds, 1):
        place = feed_place(chain, feed, view)
        sheet.dot(*place, 6.5, _WHITE)
        sheet.dot(*place, 5.0, PLUS)
        labels.append((place, f"F{number}", PLUS))
    for cut in plan.power.cuts:
        cx, cy = view.at(float(chain.x_mm[cut]), float(chain.y_mm[cut]))
        sheet.line([(cx - 7, cy - 7), (cx + 7, cy + 7)], PLUS, 3, _WHITE)
        sheet.line([(cx - 7, cy + 7), (cx + 7, cy - 7)], PLUS, 3, _WHITE)
        labels.append(((cx, cy), "CUT PLUS", PLUS))
    for (px, py), _, _ in labels:
        sheet.bar_line((px - 5, py), (px + 5, py))
        sheet.bar_line((px, py - 5), (px, py + 5))
    for place, text, colour in labels:
        _beside(sheet, view, place, text, colour)


def feed_place(chain: Chain, feed: Feed, view: View) -> tuple[float, float]:
    """Return where on the sheet a feed's pad lies: half a pitch before its LED, or after the last.

    Neighbours in a row give the direction; a lone LED has its pad on it.
    """
    here = feed.at_led
    other = here + 1 if feed.pad == "before" else here - 1
    x_mm, y_mm = float(chain.x_mm[here]), float(chain.y_mm[here])
    if 0 <= other < chain.count and chain.row[other] == chain.row[here]:
        x_mm -= (float(chain.x_mm[other]) - x_mm) / 2
        y_mm -= (float(chain.y_mm[other]) - y_mm) / 2
    return view.at(x_mm, y_mm)


def _beside(sheet: Sheet, view: View, place: tuple[float, float], text: str, colour: Rgb) -> None:
    """Put a label near a place where there is room, inside the panel if possible."""
    looks = Lettering(size_px=BODY_PX, bold=True, align="centre", colour=colour, halo=_WHITE)
    half = sheet.measure(0, 0, text, looks).x1
    tried = [
        (place[0] + across * (half + reach), place[1] + down * reach)
        for reach in (17.0, 27.0, 40.0)
        for across, down in ((0, -1), (0, 1), (1, 0), (-1, 0), (1, -1), (-1, -1), (1, 1), (-1, 1))
    ]
    for wanted_x, wanted_y in tried:
        x = min(max(wanted_x, view.x + half + 3), view.x + view.width_px - half - 3)
        y = min(max(wanted_y, view.y + 11), view.y + view.height_px - 11)
        box = sheet.measure(x, y, text, looks)
        if sheet.is_free(box):
            sheet.text(x, y, text, looks)
            return
    sheet.text(*tried[0], text, looks)


def _cautions(sheet: Sheet, y: int, lines: list[str]) -> None:
    height = 34 + _LINE_PX * len(lines)
    sheet.bar(MARGIN_PX, y, 4, height - 6, sheet.theme.accent)
    looks = Lettering(bold=True, colour=sheet.theme.accent)
    sheet.text(MARGIN_PX + 14, y + 12, "Before you power it", looks)
    for number, line in enumerate(lines):
        small = Lettering(size_px=SMALL_PX)
        sheet.text(MARGIN_PX + 14, y + 36 + _LINE_PX * number, line, small)
