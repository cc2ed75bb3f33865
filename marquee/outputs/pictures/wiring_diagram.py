"""The diagram from supply to chain: fuses, wires with size, length and current, data line, common ground."""

from __future__ import annotations

from marquee.errors import printable
from marquee.outputs.pictures.layout import ROOM_PX
from marquee.outputs.pictures.sheet import Lettering, Sheet
from marquee.outputs.pictures.style import BODY_PX, MARGIN_PX, SMALL_PX, Rgb
from marquee.plan import Plan
from marquee.power.parts import LOGIC_MOST_V
from marquee.units import format_length
from marquee.values import Feed, Power

PLUS: Rgb = (196, 38, 30)
MINUS: Rgb = (30, 36, 48)
DATA: Rgb = (30, 130, 60)
_WHITE: Rgb = (255, 255, 255)
_PANEL: Rgb = (244, 246, 248)
_ROW_PX, _GAP_PX = 46, 16
_CONTROLLER_PX = 64
# More feeds than this are left to the table of the report.
MOST_FEEDS = 16
_SUPPLY_W, _BUS_X, _GROUND_X, _FUSE_X, _WIRE_X = 190, 232, 254, 300, 372
_END_X = 880


def _groups(power: Power) -> list[list[tuple[int, Feed]]]:
    """Return the feeds shown, numbered from 1, supply by supply."""
    shown = list(enumerate(power.feeds, 1))[:MOST_FEEDS]
    groups = [[pair for pair in shown if pair[1].supply == s] for s in range(power.supply.count)]
    return [group for group in groups if group]


def _group_px(group: list[tuple[int, Feed]]) -> int:
    return max(2, len(group)) * _ROW_PX


def diagram_height(power: Power) -> int:
    """Return how high the diagram comes out [px]."""
    left_out = 24 if len(power.feeds) > MOST_FEEDS else 0
    rows = sum(_group_px(group) + _GAP_PX for group in _groups(power))
    return 34 + rows + left_out + _CONTROLLER_PX


def draw_diagram(sheet: Sheet, plan: Plan, top: int) -> None:
    """Draw the diagram below `top`, over the sheet's whole width."""
    power = plan.power
    sheet.text(MARGIN_PX, top + 8, "Diagram", Lettering(size_px=BODY_PX + 2, bold=True))
    quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
    sheet.text(
        MARGIN_PX + 90,
        top + 9,
        "red plus, black minus, green data; currents and volts at the worst case the brightness cap allows",
        quiet,
        ROOM_PX - 90,
    )
    y = top + 34
    # The ground bus first: plus wires then pass over it with a gap, so that no joint is seen there.
    bottom = top + diagram_height(power) - _CONTROLLER_PX + 38
    sheet.line([(MARGIN_PX + _GROUND_X, y + 28), (MARGIN_PX + _GROUND_X, bottom)], MINUS, 3)
    for number, group in enumerate(_groups(power)):
        _supply(sheet, plan, group, number, y)
        y += _group_px(group) + _GAP_PX
    if len(power.feeds) > MOST_FEEDS:
        left = len(power.feeds) - MOST_FEEDS
        sheet.text(MARGIN_PX, y, f"… and {left} more feeds, listed in power.txt", quiet)
        y += 24
    _controller(sheet, plan, y)


def _supply(sheet: Sheet, plan: Plan, group: list[tuple[int, Feed]], number: int, y: int) -> None:
    """Draw one supply with its feeds."""
    power, height = plan.power, _group_px(group)
    x = MARGIN_PX
    sheet.bar(x, y, _SUPPLY_W, height, _PANEL)
    sheet.frame(x, y, _SUPPLY_W, height, MINUS)
    name = f"Supply {number + 1}" if power.supply.count > 1 else "Supply"
    sheet.text(x + 12, y + 18, name, Lettering(bold=True))
    sheet.text(
        x + 12, y + 40, f"{power.supply.volts:g} V  {power.supply.amps:g} A", Lettering(bold=True)
    )
    small = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
    share = sum(feed.current_a for _, feed in group)
    sheet.text(x + 12, y + 60, "yours" if power.supply_owned else "or more", small)
    sheet.text(x + 12, y + 78, f"these feeds: {share:.2f} A", small)
    plus_y, minus_y = y + 14, y + height - 18
    right = Lettering(bold=True, align="right")
    sheet.text(x + _SUPPLY_W - 8, plus_y, "+", right)
    sheet.text(x + _SUPPLY_W - 8, minus_y, "–", right)
    bus, ground = x + _BUS_X, x + _GROUND_X
    rows = [y + _ROW_PX * i + 14 for i in range(len(group))]
    sheet.line([(x + _SUPPLY_W, plus_y), (bus, plus_y)], PLUS, 3)
    sheet.line([(bus, min(plus_y, rows[0])), (bus, max(plus_y, rows[-1]))], PLUS, 3)
    sheet.line([(x + _SUPPLY_W, minus_y), (ground, minus_y)], MINUS, 3)
    for (index, feed), row in zip(group, rows, strict=True):
        _feed(sheet, plan, (index, feed), row)


def _feed(sheet: Sheet, plan: Plan, numbered: tuple[int, Feed], y: int) -> None:
    number, feed = numbered
    x = MARGIN_PX
    bus, ground, end = x + _BUS_X, x + _GROUND_X, x + _END_X
    sheet.line([(ground, y - 4), (ground, y + 4)], _WHITE, 7)
    sheet.line([(bus, y), (end, y)], PLUS, 3)
    sheet.line([(ground, y + 14), (end, y + 14)], MINUS, 3)
    sheet.dot(bus, y, 4, PLUS)
    sheet.dot(ground, y + 14, 4, MINUS)
    fuse = x + _FUSE_X
    sheet.bar(fuse, y - 9, 56, 18, _WHITE)
    sheet.frame(fuse, y - 9, 56, 18, PLUS)
    sheet.line([(fuse, y), (fuse + 4, y)], PLUS, 2)
    sheet.line([(fuse + 52, y), (fuse + 56, y)], PLUS, 2)
    sheet.text(
        fuse + 28, y, f"{feed.fuse_a:g} A", Lettering(size_px=SMALL_PX, bold=True, align="centre")
    )
    words = (
        f"{feed.wire} pair  ·  {_metres(feed.length_mm)}  ·  {feed.current_a:.2f} A"
        f"  ·  loses {feed.drop_v:.2f} V"
    )
    _on_wire(sheet, x + _WIRE_X, y, words)
    for dy, colour in ((0, PLUS), (14, MINUS)):
        sheet.dot(end, y + dy, 5, colour)
    side = "before" if feed.pad == "before" else "after"
    sheet.text(end + 14, y + 1, f"F{number}", Lettering(bold=True, colour=PLUS))
    sheet.text(end + 56, y + 1, f"pads {side} LED {feed.at_led}", Lettering())
    line = plan.power.data_line
    if line is not None:
        capacitor = f"{line.capacitor_uf:g} µF {line.capacitor_v:g} V across the pads"
        quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
        sheet.text(end + 56, y + 18, capacitor, quiet, ROOM_PX - _END_X - 56)


def _on_wire(sheet: Sheet, x: int, y: int, words: str) -> None:
    """Put words into a gap of a wire."""
    box = sheet.text(x + 8, y, words, Lettering(), _END_X - _WIRE_X - 28)
    sheet.bar(x, y - 8, round(box.x1 - x) + 8, 16, _WHITE)


def _metres(length_mm: float) -> str:
    return f"{length_mm / 1000:.3g} m" if length_mm >= 1000 else format_length(length_mm)


def _controller_words(power: Power) -> str:
    amps = power.extra_loads[0][1] if power.extra_loads else power.extra_a
    own = ", from 5 V of its own" if power.rail_v > LOGIC_MOST_V else ", on the supply"
    return f"{amps:g} A{own}"


def _controller(sheet: Sheet, plan: Plan, y: int) -> None:
    x = MARGIN_PX
    sheet.bar(x, y, _SUPPLY_W, 50, _PANEL)
    sheet.frame(x, y, _SUPPLY_W, 50, MINUS)
    sheet.text(x + 12, y + 16, "Controller", Lettering(bold=True))
    sheet.text(
        x + 12,
        y + 36,
        _controller_words(plan.power),
        Lettering(size_px=SMALL_PX, colour=sheet.theme.muted),
        _SUPPLY_W - 20,
    )
    end = x + _END_X
    sheet.line([(x + _GROUND_X, y + 10), (x + _GROUND_X, y + 18)], _WHITE, 7)
    sheet.line([(x + _SUPPLY_W, y + 14), (end, y + 14)], DATA, 3)
    sheet.dot(end, y + 14, 5, DATA)
    line = plan.power.data_line
    if line is not None:
        sheet.bar(x + _FUSE_X, y + 5, 56, 18, _WHITE)
        sheet.frame(x + _FUSE_X, y + 5, 56, 18, DATA)
        ohm = Lettering(size_px=SMALL_PX, bold=True, align="centre")
        sheet.text(x + _FUSE_X + 28, y + 14, f"{line.resistor_ohm:g} Ω", ohm)
    _on_wire(sheet, x + _WIRE_X, y + 14, _level_words(plan.power))
    sheet.text(end + 14, y + 15, "DATA IN", Lettering(bold=True, colour=DATA))
    sheet.text(end + 86, y + 15, "LED 0", Lettering())
    bus = x + _GROUND_X
    sheet.line([(x + _SUPPLY_W, y + 38), (bus, y + 38)], MINUS, 3)
    common = "common ground: every minus, the controller's too, joined"
    others = ", ".join(f"{name} {amps:g} A" for name, amps in plan.power.extra_loads[1:])
    if others:
        common += f"  ·  also on this supply, each on a fuse of its own: {printable(others)}"
    small = Lettering(size_px=SMALL_PX)
    sheet.text(x + _FUSE_X, y + 38, common, small, sheet.width_px - 2 * MARGIN_PX - _FUSE_X)


def _level_words(power: Power) -> str:
    line = power.data_line
    if line is None or line.margin_3v3_v is None:
        return "data: see the part's input level"
    if line.margin_3v3_v < 0:
        return "data  ·  3.3 V logic: through an AHCT or HCT buffer on 5 V"
    return "data  ·  3.3 V and 5 V logic reach it directly"
