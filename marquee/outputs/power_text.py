"""The wiring in words: currents, supply, feeds, the arithmetic, other ways, cautions."""

from __future__ import annotations

import textwrap

from marquee.errors import printable
from marquee.units import format_length
from marquee.values import Alternative, Power

_WIDTH = 100


def power_text(power: Power, led_count: int, part_title: str) -> str:
    """Return the wiring of a chain as text for the terminal.

    Parameters
    ----------
    power : Power
        As decided.
    led_count : int
        LEDs on the chain, dark ones included.
    part_title : str
        What the part calls itself.
    """
    lines = [f"{led_count} × {printable(part_title)} at {power.rail_v:g} V", ""]
    lines += _currents(power)
    lines += _wiring(power)
    for title, items in (("How it was reckoned", power.notes), ("Sources", power.cites)):
        lines += ["", title, *_items(items)]
    if power.alternatives:
        lines += ["", "Other ways", *_alternatives(power.alternatives)]
    if power.findings:
        lines += ["", "Warnings"]
        lines += _items(tuple(f"{f.where}: {f.message} [{f.code}]" for f in power.findings))
    lines += ["", "Before you build", *_items(power.cautions)]
    return "\n".join(lines) + "\n"


def _currents(power: Power) -> list[str]:
    return [
        f"worst case   {power.worst_case_a:8.2f} A  every channel full",
        f"as planned   {power.planned_a:8.2f} A  (peak {power.peak_a:.2f} A)",
        f"all dark     {power.dark_a:8.2f} A",
        f"of which     {power.extra_a:8.2f} A  for controller and other loads",
    ]


def _wiring(power: Power) -> list[str]:
    supply = power.supply
    owned = ", yours" if power.supply_owned else ""
    units = f"{supply.count} × " if supply.count > 1 else ""
    lines = [
        "",
        f"supply       {units}{supply.volts:g} V {supply.amps:g} A ({supply.watts:.0f} W){owned}",
        f"brightness   capped at {power.brightness_cap:.0%}",
        f"lowest LED   {power.min_led_v:.2f} V at LED {power.worst_led}"
        + (f", colours hold down to {power.regulation_v:g} V" if power.regulation_v else ""),
    ]
    for number, feed in enumerate(power.feeds, 1):
        side = "" if feed.pad == "before" else "end after "
        lines.append(
            f"feed {number}       {side}LED {feed.at_led}: {format_length(feed.length_mm)} of "
            f"{feed.wire}, {feed.current_a:.2f} A (it may carry {feed.wire_limit_a:g} A), drop "
            f"{feed.drop_v:.2f} V, fuse {feed.fuse_a:g} A"
        )
    return lines


def _alternatives(rows: tuple[Alternative, ...]) -> list[str]:
    head = f"    {'':<46} {'cap':>5} {'feeds':>5} {'lowest':>7} {'worst':>7} {'planned':>8}"
    return [
        head,
        *(
            f"    {printable(r.title)[:46]:<46} {r.brightness_cap:>5.0%} {r.feeds:>5} "
            f"{r.min_led_v:>5.2f} V {r.worst_w:>5.1f} W {r.planned_w:>6.1f} W"
            for r in rows
        ),
    ]


def _items(texts: tuple[str, ...]) -> list[str]:
    return [
        line
        for text in texts
        for line in textwrap.wrap(
            printable(text),
            _WIDTH,
            initial_indent="  - ",
            subsequent_indent="    ",
            break_on_hyphens=False,
        )
    ]
