"""sweep.png: evenness, luminance and current against depth or pitch, with the common rule of thumb."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from marquee.outputs.pictures.face import zone_colours
from marquee.outputs.pictures.layout import ROOM_PX, subtitle
from marquee.outputs.pictures.sheet import HEADING_PX, Lettering, Sheet, draw_swatch
from marquee.outputs.pictures.style import (
    BODY_PX,
    MARGIN_PX,
    SMALL_PX,
    WIDTH_PX,
    Rgb,
    plain,
    round_number,
    shorten,
)
from marquee.plan import Plan
from marquee.values_light import Sweep

_INK: Rgb = (30, 84, 160)
_RULE: Rgb = (196, 120, 20)
_PLANNED: Rgb = (90, 98, 110)
_EDGE: Rgb = (70, 76, 86)
_WHITE: Rgb = (255, 255, 255)
_GAP_PX, _AXIS_PX, _PLOT_PX, _TOP_PX = 28, 48, 300, 64
_BLOCK_PX = _TOP_PX + _PLOT_PX + 66
_PANELS = 3
# Classes of E_min / E_max that get a line (judgement: no published ratio for signs was found).
_CLASSES = (0.8, 0.6)
_KEY_PX = 30
_MOST_ZONES = 24
_LABEL_ROW_PX = 15


@dataclass(frozen=True, slots=True, kw_only=True)
class _Axes:
    """A plot's place on the sheet [px] and the ranges it shows."""

    x: int
    y: int
    width_px: int
    height_px: int
    low_mm: float
    high_mm: float
    top: float

    def at(self, value_mm: float, value: float) -> tuple[float, float]:
        along = (value_mm - self.low_mm) / (self.high_mm - self.low_mm)
        return self.x + along * self.width_px, self.y + self.height_px * (1 - value / self.top)

    def shows(self, value_mm: float) -> bool:
        return self.low_mm <= value_mm <= self.high_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class _Curve:
    """One line of a plot: its values at the sweep's steps, how it looks, what stands at its end."""

    values: Sequence[float]
    colour: Rgb
    label: str = ""


def sweep_picture(plan: Plan, sweeps: Sequence[Sweep]) -> bytes:
    """Return the PNG: three plots a sweep, zones in their own colours, planned place and rule of thumb marked."""
    return draw_sweep(plan, sweeps).png()


def draw_sweep(plan: Plan, sweeps: Sequence[Sweep]) -> Sheet:
    """Return the sheet of `sweep_picture`."""
    top = HEADING_PX + _KEY_PX
    sheet = Sheet(WIDTH_PX, top + _BLOCK_PX * len(sweeps) + 62)
    fixed = f"depth {plan.box.depth_mm:.4g} mm, pitch {plan.chain.pitch_mm:.4g} mm planned"
    sheet.heading("Light swept", subtitle(plan, fixed, "the light model run at every dot"), "")
    for number, sweep in enumerate(sweeps):
        _block(sheet, plan, sweep, top + number * _BLOCK_PX)
    _key(sheet, plan)
    quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
    notes = (
        "Rule of thumb: depth ≥ pitch (common practice, no source). Dotted: 0.8 even, below 0.6 the LEDs show "
        "(judgement: no published ratio for signs was found).",
        "White: mean over the zones, at the plan's brightness setting. Current: controller and other loads included.",
    )
    for row, note in enumerate(notes):
        sheet.text(MARGIN_PX, sheet.height_px - 46 + 18 * row, note, quiet, ROOM_PX)
    return sheet


def _key(sheet: Sheet, plan: Plan) -> None:
    """Name the zones in their colours, as many as fit on one line."""
    x, y = MARGIN_PX, HEADING_PX + _KEY_PX // 2 - 6
    for light in plan.light.zones[:_MOST_ZONES]:
        zone = plan.zone_map.zones[light.zone]
        words = shorten(f"{zone.id} {plain(zone.name)}", 200, BODY_PX)
        box = sheet.measure(x + 34, y, words)
        if box.x1 > WIDTH_PX - MARGIN_PX:
            sheet.text(x, y, "…")
            return
        draw_swatch(sheet, x, y, zone_colours(plan.zone_map, zone))
        sheet.text(x + 34, y, words)
        x = round(box.x1) + 26


def _block(sheet: Sheet, plan: Plan, sweep: Sweep, top: int) -> None:
    trials = sweep.trials
    zones = [z.zone for z in trials[0].zones][:_MOST_ZONES]
    evenness = [
        _Curve(
            values=[next(z.min_over_max for z in t.zones if z.zone == zone) for t in trials],
            colour=zone_colours(plan.zone_map, plan.zone_map.zones[zone])[0],
            label=f"{zone}",
        )
        for zone in zones
    ]
    white = [_Curve(values=[t.white_cd_m2 for t in trials], colour=_INK)]
    current = [_Curve(values=[t.current_a for t in trials], colour=_INK)]
    plots = (
        ("Evenness, darkest ÷ brightest", evenness, 1.0),
        ("White, cd/m²", white, _top(white)),
        ("Current as planned, A", current, _top(current)),
    )
    width = (ROOM_PX - (_PANELS - 1) * _GAP_PX) // _PANELS
    for number, (title, curves, most) in enumerate(plots):
        axes = _Axes(
            x=MARGIN_PX + number * (width + _GAP_PX) + _AXIS_PX,
            y=top + _TOP_PX,
            width_px=width - _AXIS_PX - 14,
            height_px=_PLOT_PX,
            low_mm=sweep.values_mm[0],
            high_mm=sweep.values_mm[-1],
            top=most,
        )
        heading = Lettering(size_px=16, bold=True)
        sheet.text(axes.x - _AXIS_PX, top + 14, title, heading, width)
        _grid(sheet, axes, sweep.what)
        if number == 0:
            _classes(sheet, axes)
        _marks(sheet, axes, sweep)
        for curve in curves:
            _draw_curve(sheet, axes, sweep, curve)
        _label_ends(sheet, axes, sweep, curves)


def _top(curves: Sequence[_Curve]) -> float:
    most = max(value for curve in curves for value in curve.values)
    step = round_number(max(most, 1e-6) / 3)
    return step * math.ceil(1.05 * most / step)


def _grid(sheet: Sheet, axes: _Axes, what: str) -> None:
    step = round_number(axes.top / 3)
    right = Lettering(size_px=SMALL_PX, align="right")
    for k in range(math.floor(axes.top / step + 1e-9) + 1):
        y = round(axes.at(axes.low_mm, k * step)[1])
        sheet.bar(axes.x, y, axes.width_px, 1, sheet.theme.rule)
        sheet.text(axes.x - 8, y, f"{k * step:g}", right)
    sheet.frame(axes.x, axes.y, axes.width_px, axes.height_px, sheet.theme.muted)
    apart = round_number((axes.high_mm - axes.low_mm) / 3)
    centre = Lettering(size_px=SMALL_PX, align="centre")
    below = axes.y + axes.height_px
    for k in range(math.ceil(axes.low_mm / apart - 1e-9), math.floor(axes.high_mm / apart) + 1):
        x = round(axes.at(k * apart, 0)[0])
        sheet.bar(x, below, 1, 6, sheet.theme.muted)
        sheet.text(x, below + 18, f"{k * apart:g}", centre)
    sheet.text(axes.x + axes.width_px / 2, below + 40, f"{what}, mm", centre)


def _classes(sheet: Sheet, axes: _Axes) -> None:
    for value in _CLASSES:
        y = axes.at(axes.low_mm, value)[1]
        for start in range(axes.x, axes.x + axes.width_px, 8):
            sheet.bar(start, round(y), 3, 1, sheet.theme.muted)


def _marks(sheet: Sheet, axes: _Axes, sweep: Sweep) -> None:
    """Mark where the plan stands and where depth equals pitch; words above the plot, so that nothing hides them."""
    planned = f"planned {sweep.planned_mm:.4g}"
    if axes.shows(sweep.planned_mm):
        _mark(sheet, axes, sweep.planned_mm, _PLANNED, planned, axes.y - 10)
    _mark(sheet, axes, sweep.rule_mm, _RULE, _rule_words(sweep, axes), axes.y - 26)


def _mark(sheet: Sheet, axes: _Axes, value_mm: float, colour: Rgb, words: str, y: float) -> None:
    x = axes.at(value_mm, 0)[0]
    if axes.shows(value_mm):
        for start in range(axes.y, axes.y + axes.height_px, 10):
            sheet.bar(round(x), start, 2, 6, colour)
    looks = Lettering(size_px=SMALL_PX, bold=True, align="centre", colour=colour, halo=_WHITE)
    half = sheet.measure(0, 0, words, looks).x1
    inside = min(max(x, axes.x + half), axes.x + axes.width_px - half)
    sheet.text(inside, y, words, looks)


def _rule_words(sweep: Sweep, axes: _Axes) -> str:
    rule = sweep.rule_mm
    if axes.shows(rule):
        return f"rule of thumb: {rule:.4g} {'or more' if sweep.what == 'depth' else 'or less'}"
    met = (rule < axes.low_mm) == (sweep.what == "depth")
    return f"rule of thumb ({rule:.4g}) {'met' if met else 'broken'} throughout"


def _draw_curve(sheet: Sheet, axes: _Axes, sweep: Sweep, curve: _Curve) -> None:
    points = [axes.at(v, y) for v, y in zip(sweep.values_mm, curve.values, strict=True)]
    sheet.line(points, curve.colour, 2, halo=_EDGE)
    for x, y in points:
        sheet.dot(x, y, 4.2, _EDGE)
        sheet.dot(x, y, 3.0, curve.colour)


def _label_ends(sheet: Sheet, axes: _Axes, sweep: Sweep, curves: Sequence[_Curve]) -> None:
    """Put each labelled curve's label beside its end, lowest first, those above moved up where they would meet."""
    looks = Lettering(size_px=SMALL_PX, bold=True, halo=_WHITE)
    named = sorted((c for c in curves if c.label), key=lambda c: (c.values[-1], c.label))
    ends = [axes.at(sweep.values_mm[-1], c.values[-1]) for c in named]
    below = float(axes.y + axes.height_px + _LABEL_ROW_PX)
    for curve, (x, y) in zip(named, ends, strict=True):
        below = min(y, below - _LABEL_ROW_PX)
        if below < axes.y - _LABEL_ROW_PX:
            return
        sheet.text(x + 7, below, curve.label, looks)
