"""voltage.png: the voltage of every LED along the chain against what its colours need."""

from __future__ import annotations

import itertools
import math

import numpy as np

from marquee.outputs.pictures.layout import ROOM_PX, subtitle
from marquee.outputs.pictures.sheet import HEADING_PX, Lettering, Sheet, TextBox
from marquee.outputs.pictures.style import (
    MARGIN_PX,
    SMALL_PX,
    WIDTH_PX,
    Rgb,
    plain,
    round_number,
)
from marquee.plan import Plan
from marquee.values import Power

_LINE: Rgb = (30, 84, 160)
_LIMIT: Rgb = (196, 38, 30)
_FLOOR: Rgb = (196, 120, 20)
_WHITE: Rgb = (255, 255, 255)
_LEFT, _RIGHT = MARGIN_PX + 58, WIDTH_PX - MARGIN_PX
_TOP, _PLOT_PX = HEADING_PX + 52, 400


def voltage_picture(plan: Plan) -> bytes:
    """Return the PNG: LED voltage along the chain, feeds, lowest LED, regulation limit."""
    return draw_voltage(plan).png()


def draw_voltage(plan: Plan) -> Sheet:
    """Return the sheet of `voltage_picture`."""
    power = plan.power
    sheet = Sheet(WIDTH_PX, _TOP + _PLOT_PX + 100)
    cap = (
        "all channels full"
        if power.brightness_cap >= 1
        else f"at the {power.brightness_cap:.0%} cap"
    )
    sheet.heading(
        "Voltage along the chain",
        subtitle(
            plan,
            f"worst case, {cap}",
            f"lowest {power.min_led_v:.2f} V at LED {power.worst_led}",
            plain(plan.part.title),
        ),
    )
    low_v, high_v = _extent(power)
    _grid(sheet, len(power.led_v), low_v, high_v)
    _limits(sheet, power, low_v, high_v)
    _curve(sheet, power, low_v, high_v)
    _feeds(sheet, power)
    _lowest(sheet, power, low_v, high_v)
    quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
    words = (
        f"Supply {power.rail_v:g} V; wires, fuses and {power.rail_ohm_per_m:g} ohm/m of strip copper included."
        " Strip copper is seldom known to better than a factor of 2: measure yours, and the first and worst LED."
    )
    sheet.text(MARGIN_PX, _TOP + _PLOT_PX + 76, words, quiet, ROOM_PX)
    return sheet


def _extent(power: Power) -> tuple[float, float]:
    lowest = min(float(np.min(power.led_v)), power.regulation_v or power.floor_v)
    span = max(power.rail_v - lowest, 0.02 * power.rail_v)
    return lowest - 0.12 * span, power.rail_v + 0.06 * span


def _y(volts: float, low_v: float, high_v: float) -> float:
    return _TOP + _PLOT_PX * (high_v - volts) / (high_v - low_v)


def _x(led: float, count: int) -> float:
    return _LEFT + (_RIGHT - _LEFT) * (led + 0.5) / count


def _grid(sheet: Sheet, count: int, low_v: float, high_v: float) -> None:
    step = round_number((high_v - low_v) / 4)
    digits = max(1, -math.floor(math.log10(step)))
    small = Lettering(size_px=SMALL_PX, align="right")
    for k in range(math.ceil(low_v / step), math.floor(high_v / step) + 1):
        y = round(_y(k * step, low_v, high_v))
        sheet.bar(_LEFT, y, _RIGHT - _LEFT, 1, sheet.theme.rule)
        sheet.text(_LEFT - 8, y, f"{k * step:.{digits}f} V", small)
    sheet.frame(_LEFT, _TOP, _RIGHT - _LEFT, _PLOT_PX, sheet.theme.muted)
    apart = max(1, round(round_number(max(count / 8, 1))))
    centre = Lettering(size_px=SMALL_PX, align="centre")
    for led in range(0, count, apart):
        x = round(_x(led, count))
        sheet.bar(x, _TOP + _PLOT_PX, 1, 6, sheet.theme.muted)
        sheet.text(x, _TOP + _PLOT_PX + 18, f"{led}", centre)
    sheet.text(
        (_LEFT + _RIGHT) / 2, _TOP + _PLOT_PX + 42, "LED, counted along the data from 0", centre
    )


def _limits(sheet: Sheet, power: Power, low_v: float, high_v: float) -> None:
    shown = [(power.rail_v, sheet.theme.muted, f"supply {power.rail_v:g} V")]
    if power.regulation_v is not None:
        words = f"below {power.regulation_v:.2f} V colours shift: blue and green fade first"
        shown.append((power.regulation_v, _LIMIT, words))
    if power.regulation_v is None or power.floor_v > power.regulation_v:
        shown.append((power.floor_v, _FLOOR, f"designed to {power.floor_v:.2f} V"))
    for volts, colour, words in shown:
        y = _y(volts, low_v, high_v)
        for start in range(_LEFT, _RIGHT, 14):
            sheet.line([(start, y), (min(start + 8, _RIGHT), y)], colour, 2)
        looks = Lettering(size_px=SMALL_PX, bold=True, align="right", colour=colour, halo=_WHITE)
        # The lower limit's words below it, the others' above, unless the curve runs there.
        first = 12 if colour == _LIMIT else -11
        boxes = [sheet.measure(_RIGHT - 10, y + dy, words, looks) for dy in (first, 1 - first)]
        dy = first if _clear_of_curve(boxes[0], power, low_v, high_v) else 1 - first
        sheet.text(_RIGHT - 10, y + dy, words, looks)


def _clear_of_curve(box: TextBox, power: Power, low_v: float, high_v: float) -> bool:
    count = len(power.led_v)
    return not any(
        box.x0 - 4 < _x(i, count) < box.x1 + 4
        and box.y0 - 2 < _y(float(v), low_v, high_v) < box.y1 + 2
        for i, v in enumerate(power.led_v)
    )


def _curve(sheet: Sheet, power: Power, low_v: float, high_v: float) -> None:
    count = len(power.led_v)
    points = [(_x(i, count), _y(float(v), low_v, high_v)) for i, v in enumerate(power.led_v)]
    edges = [0, *power.cuts, count]
    for start, stop in itertools.pairwise(edges):
        if stop - start > 1:
            sheet.line(points[start:stop], _LINE, 2)
    if count <= 160:
        for x, y in points:
            sheet.dot(x, y, 2.6, _LINE)


def _feeds(sheet: Sheet, power: Power) -> None:
    count = len(power.led_v)
    looks = Lettering(size_px=SMALL_PX, bold=True, align="centre", colour=_LIMIT)
    for number, feed in enumerate(power.feeds, 1):
        x = _x(feed.at_led - 0.5 if feed.pad == "before" else feed.at_led + 0.5, count)
        for y in range(_TOP, _TOP + _PLOT_PX, 8):
            sheet.bar(round(x), y, 1, 3, _LIMIT)
        sheet.shape([(x - 6, _TOP - 12), (x + 6, _TOP - 12), (x, _TOP - 2)], _LIMIT)
        name = f"F{number}  {feed.current_a:.1f} A"
        inside = min(max(x, _LEFT + 24), _RIGHT - 30)
        for text in (name, f"F{number}"):
            box = sheet.measure(inside, _TOP - 24, text, looks)
            if sheet.is_free(box, 4.0):
                sheet.text(inside, _TOP - 24, text, looks)
                break


def _lowest(sheet: Sheet, power: Power, low_v: float, high_v: float) -> None:
    x = _x(power.worst_led, len(power.led_v))
    y = _y(power.min_led_v, low_v, high_v)
    sheet.ring(x, y, 6.0, _LINE, 2)
    words = f"LED {power.worst_led}: {power.min_led_v:.2f} V"
    right = x > (_LEFT + _RIGHT) / 2
    looks = Lettering(bold=True, align="right" if right else "left", colour=_LINE, halo=_WHITE)
    limits = [_y(v, low_v, high_v) for v in (power.floor_v, power.regulation_v) if v is not None]
    # Below first: above runs the curve, whose lowest place this is.
    for dy in (16, 32, 40, 48, 64, 80, -16, -32):
        box = sheet.measure(x + (-12 if right else 12), y + dy, words, looks)
        crossed = any(box.y0 < limit < box.y1 for limit in limits)
        crossed = crossed or not _clear_of_curve(box, power, low_v, high_v)
        if not crossed and sheet.is_free(box) and box.y0 > _TOP and box.y1 < _TOP + _PLOT_PX:
            sheet.text(x + (-12 if right else 12), y + dy, words, looks)
            return
    sheet.text(x + (-12 if right else 12), y + 16, words, looks)
