"""The wiring in words: currents, supply, feeds, the arithmetic, other ways, cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from marquee.errors import printable
from marquee.outputs.words import supply_words, wrapped
from marquee.units import format_length
from marquee.values import Power

if TYPE_CHECKING:
    from marquee.plan import Plan


def power_text(power: Power, led_count: int, part_title: str) -> str:
    """Return the wiring of a chain as text, for the terminal and for power.txt.

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
    lines += ["", "How it was reckoned", *_items(power.notes)]
    if power.open_feeds:
        lines += ["", "If a feed comes off or its fuse opens", *_open_feeds(power)]
    if power.alternatives:
        lines += ["", "Other ways", *_alternatives(power)]
    lines += ["", "Parts for one cabinet", *_parts(power)]
    if power.findings:
        lines += ["", "Warnings"]
        lines += _items(tuple(f"{f.where}: {f.message} [{f.code}]" for f in power.findings))
    lines += ["", "Sources", *_items(power.cites)]
    lines += ["", "Before you build", *_items(power.cautions)]
    return "\n".join(lines) + "\n"


def plan_power_text(plan: Plan) -> str:
    """Return power.txt of a plan."""
    return power_text(plan.power, plan.chain.count, plan.part.title)


def _currents(power: Power) -> list[str]:
    planned = (
        f"as planned   {power.planned_a:8.2f} A  peak {power.peak_a:.2f} A"
        if power.driven
        else f"typical      {power.planned_a:8.2f} A  every channel full, the part's typical currents"
    )
    loads = ", ".join(f"{printable(name)} {amps:g} A" for name, amps in power.extra_loads)
    return [
        f"worst case   {power.worst_case_a:8.2f} A  every channel full, the part's largest currents",
        planned,
        f"all dark     {power.dark_a:8.2f} A",
        f"of which     {power.extra_a:8.2f} A  beside the LEDs: {loads}",
    ]


def _wiring(power: Power) -> list[str]:
    supply = power.supply
    owned = ", yours" if power.supply_owned else ""
    cap = "full" if power.brightness_cap >= 1 else f"capped at {power.brightness_cap:.0%}"
    cap += ", the planned bytes fit as they are" if power.plan_fits else ""
    lines = [
        "",
        f"supply       {supply_words(supply.count, supply.volts, supply.amps)} ({supply.watts:.0f} W){owned}",
        f"brightness   {cap}",
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


def _open_feeds(power: Power) -> list[str]:
    known = power.regulation_v is not None
    lines = []
    for case in power.open_feeds:
        fuse_a = power.feeds[case.largest_feed].fuse_a
        lines.append(
            f"  feed {case.feed + 1} open: lowest LED {case.min_led_v:.2f} V at LED {case.worst_led}"
            + (f", {case.below_count} LEDs off colour" if known else "")
            + f"; feed {case.largest_feed + 1} carries {case.largest_feed_a:.2f} A on its {fuse_a:g} A fuse"
            + (", which may open too" if case.largest_feed_a > fuse_a else "")
        )
    return lines


def _alternatives(power: Power) -> list[str]:
    money = power.currency or "money"
    ways = [printable(r.title) for r in power.alternatives]
    wide = max(map(len, ways))
    head = f"    {'':<{wide}} {'cap':>5} {'feeds':>5} {'lowest':>7} {'worst':>8} {'running':>8}"
    rows = [
        f"    {way:<{wide}} {r.brightness_cap:>5.0%} {r.feeds:>5} "
        f"{r.min_led_v:>5.2f} V {r.worst_w:>6.1f} W {r.planned_w:>6.1f} W"
        for way, r in zip(ways, power.alternatives, strict=True)
    ]
    columns = [
        (f"{money} an hour", [r.cost_per_hour for r in power.alternatives], ".4f"),
        (f"{money} of parts", [r.parts_cost for r in power.alternatives], ".2f"),
    ]
    for title, values, form in columns:
        if all(value is None for value in values):
            continue
        shown = printable(title)
        head += f"  {shown}"
        rows = [
            f"{row}  {'-' if value is None else format(value, form):>{len(shown)}}"
            for row, value in zip(rows, values, strict=True)
        ]
    return [head, *rows]


def _parts(power: Power) -> list[str]:
    lines = []
    for row in power.parts:
        cost = (
            "" if row.cost is None else f" = {row.cost:.2f} {printable(power.currency)}".rstrip()
        )
        lines.append(f"  {row.quantity:>6g} {row.unit:<2} {printable(row.item)}{cost}")
    if power.parts_cost is not None:
        lines.append(f"  together {power.parts_cost:.2f} {printable(power.currency)}".rstrip())
    return lines


def _items(texts: tuple[str, ...]) -> list[str]:
    return [line for text in texts for line in wrapped("  - ", text)]
