"""What the maker should know about the wiring: findings, the arithmetic in words, the sources."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.errors import Finding
from marquee.power.fuse import fuse_cite, fuse_rule
from marquee.power.ladder import rail_row
from marquee.power.layout import Piece
from marquee.power.load import Load
from marquee.power.search import Wiring
from marquee.power.supply import catalogue, choose_supply, supply_cite, usable_a
from marquee.power.tables import power_table
from marquee.power.wire import Wire
from marquee.project import PowerSettings
from marquee.values import Chain, Feed, OpenFeed, Part, Supply

_MANY_FEEDS = 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decided:
    """Everything the remarks speak of."""

    chain: Chain
    part: Part
    settings: PowerSettings
    load: Load
    supply: Supply
    brightness_cap: float
    floor_v: float
    loop_ohm_per_m: float
    worst_capped_a: float
    led_v: NDArray[np.float64]
    feeds: tuple[Feed, ...]
    wirings: tuple[Wiring, ...]
    pieces: tuple[Piece, ...]
    efficiency_cite: str
    open_feeds: tuple[OpenFeed, ...]


def fuse_clears(supply: Supply, wirings: tuple[Wiring, ...]) -> bool:
    """Return whether a short in any feed opens its fuse quickly, or else cannot overload the wire."""
    wire = wirings[0].wire
    if wire.current_a >= fuse_rule("supply_overload") * supply.amps:
        return True
    largest = max(fuse for w in wirings for fuse in w.fuse_a)
    return largest <= fuse_rule("fast_share_of_supply") * supply.amps


def find_remarks(d: Decided) -> tuple[Finding, ...]:
    """Return the findings, in the order of the design's steps."""
    every = (
        *_supply_findings(d),
        *_voltage_findings(d),
        *_wire_findings(d),
    )
    return tuple(finding for finding in every if finding is not None)


def _supply_findings(d: Decided) -> tuple[Finding | None, ...]:
    return (_capped(d), _plan_above_cap(d), _several(d))


def _capped(d: Decided) -> Finding | None:
    if d.brightness_cap >= 1:
        return None
    worst_a, limit_a = d.load.worst_total_a, usable_a(d.supply)
    enough = choose_supply(d.supply.volts, worst_a)
    several = f"{enough.count} x " if enough.count > 1 else ""
    return Finding(
        code="power.brightness-capped",
        where="power.supply",
        message=f"all channels full would draw {worst_a:.2f} A, {worst_a - limit_a:.2f} A above the"
        f" {limit_a:.2f} A that 80 % of your {d.supply.amps:g} A allow, so brightness is capped at"
        f" {d.brightness_cap:.1%}; keep the cap in the firmware, or take {several}{enough.amps:g} A,"
        " or fewer LEDs or a part that draws less",
    )


def _plan_above_cap(d: Decided) -> Finding | None:
    limit_a = usable_a(d.supply)
    peak_a = float(np.sum(d.load.peak_a)) + d.load.extra_a
    if not d.load.driven or peak_a <= limit_a:
        return None
    fixed_a = d.load.dark_total_a
    share = max(0.0, (limit_a - fixed_a) / max(peak_a - fixed_a, 1e-12))
    return Finding(
        code="power.plan-above-supply",
        where="power.supply",
        message=f"the planned bytes may draw {peak_a:.2f} A with the part's largest currents, more than"
        f" the {limit_a:.2f} A allowed; set colour.brightness to {share:.0%} of its present value or"
        " take a larger supply",
    )


def _several(d: Decided) -> Finding | None:
    if d.supply.count == 1:
        return None
    places = ", ".join(f"{piece.start + 1}" for piece in d.pieces[1:])
    return Finding(
        code="power.several-supplies",
        where="power.supply",
        message=f"{d.load.worst_total_a:.1f} A is more than one supply of the catalogue carries:"
        f" {d.supply.count} x {d.supply.amps:g} A, the plus rail cut before LED {places}, all minus joined,"
        " never plus to plus",
    )


def _voltage_findings(d: Decided) -> tuple[Finding | None, ...]:
    return (_no_regulation(d), _low(d))


def _no_regulation(d: Decided) -> Finding | None:
    if d.part.min_regulation_v is not None:
        return None
    return Finding(
        code="power.regulation-voltage-unknown",
        where=f"part {d.part.name}",
        message=f"its file gives no voltage below which colours shift, so wiring was designed to 90 % of the"
        f" rail, {d.floor_v:.2f} V; measure it or add min_regulation_v",
    )


def _low(d: Decided) -> Finding | None:
    limit_v = d.part.min_regulation_v if d.part.min_regulation_v is not None else d.floor_v
    lowest_v, worst = float(np.min(d.led_v)), int(np.argmin(d.led_v))
    if lowest_v >= d.floor_v - 1e-9:
        return None
    below = np.flatnonzero(d.led_v < limit_v)
    if not len(below):
        return Finding(
            code="power.thin-margin",
            where=f"LED {worst + 1}",
            message=f"gets {lowest_v:.2f} V at the worst case, above the {limit_v:.2f} V its colours need but"
            f" not the margin of {d.floor_v - limit_v:.2f} V; shorten the wires or add a place to join",
        )
    return Finding(
        code="power.low-voltage",
        where=f"LEDs {below[0] + 1} to {below[-1] + 1}",
        message=f"{len(below)} of {len(d.led_v)} LEDs fall below {limit_v:.2f} V at the worst case, the lowest"
        f" {lowest_v:.2f} V at LED {worst + 1}: blue and green fade first and white turns orange; join the"
        " chain at more places, or use thicker or shorter wire, or cap the brightness",
    )


def _wire_findings(d: Decided) -> tuple[Finding | None, ...]:
    return (_slow_fuse(d), _hot_rail(d), _many(d))


def _slow_fuse(d: Decided) -> Finding | None:
    if fuse_clears(d.supply, d.wirings):
        return None
    largest = max(feed.fuse_a for feed in d.feeds)
    wire = d.wirings[0].wire
    return Finding(
        code="power.slow-fuse",
        where="feeds",
        message=f"a {largest:g} A fuse is more than half the supply's {d.supply.amps:g} A: a short may not open it"
        f" in seconds, and the supply may push {fuse_rule('supply_overload') * d.supply.amps:.0f} A through"
        f" {wire.name} good for {wire.current_a:g} A; use a supply that shuts down on overload, more and"
        " smaller feeds, or thicker wire",
    )


def _hot_rail(d: Decided) -> Finding | None:
    limit_a, _ = rail_row(d.chain.arrangement, "rail_current_10k_a")
    worst_a = max(w.rail_a for w in d.wirings)
    if worst_a <= limit_a:
        return None
    return Finding(
        code="power.rail-current",
        where="rails",
        message=f"up to {worst_a:.1f} A run in the rail, more than the {limit_a:g} A that warm a 3 mm rail of"
        " 35 µm copper by 10 K (IPC-2221); join the chain at more places",
    )


def _many(d: Decided) -> Finding | None:
    if len(d.feeds) <= _MANY_FEEDS:
        return None
    return Finding(
        code="power.many-feeds",
        where="feeds",
        message=f"{len(d.feeds)} feeds are much work: a 12 V part, shorter wires, a brightness cap or thicker"
        " strip copper need fewer",
    )


def feed_cites(wire: Wire) -> tuple[str, ...]:
    """Return the sources of a feed's wire and fuse."""
    return (wire.cite, fuse_cite("load_fraction"))


def all_cites(d: Decided) -> tuple[str, ...]:
    """Return every source the design leans on, with its mark."""
    rail = rail_row(d.chain.arrangement, "loop_ohm_per_m")[1]
    copper = power_table("wire.toml")["copper"]["alpha_20c_per_k"]
    step = next((s for a, _, s in catalogue(d.supply.volts) if a == d.supply.amps), "")
    measured = d.settings.rail_ohm_per_m is not None
    owned = d.settings.supply is not None
    return (
        *d.load.cites,
        supply_cite("load_fraction"),
        "supply: as you stated" if owned or not step else f"supply step: {step}",
        *feed_cites(d.wirings[0].wire),
        fuse_cite("fast_share_of_supply"),
        fuse_cite("holder_ohm"),
        fuse_cite("blade_drop_v"),
        f"copper at {d.settings.conductor_c:g} °C: {copper['source']} [{copper['status']}]",
        f"rail {d.loop_ohm_per_m:g} ohm/m: {'as you stated' if measured else rail}",
        f"margin {d.settings.margin_v:g} V: {rail_row('sink', 'margin_v')[1]}",
        f"supply {d.efficiency_cite}",
        *(
            (f"jumper slack: {rail_row('jumper', 'slack_mm')[1]}",)
            if len(np.unique(d.chain.row)) > 1 and d.chain.arrangement == "strip"
            else ()
        ),
    )


def all_notes(d: Decided) -> tuple[str, ...]:
    """Return the arithmetic of the choices, a sentence each."""
    load, supply = d.load, d.supply
    law = "largest channel" if d.part.current_law == "largest" else "sum of channels"
    dark_ma, lit_ma = 1000 * float(load.dark_a[0]), 1000 * float(load.lit_a[0])
    usable = usable_a(supply)
    several = f"{supply.count} x " if supply.count > 1 else ""
    notes = [
        f"Worst case: {d.chain.count} LEDs x ({lit_ma:.1f} mA, {law}, + {dark_ma:.2f} mA dark)"
        f" + {load.extra_a:g} A extra = {load.worst_total_a:.2f} A.",
        f"Supply: {several}{supply.amps:g} A x 80 % = {usable:.2f} A, asked for at most"
        f" {d.worst_capped_a:.2f} A.",
        "Planned current follows the light each byte gives (duty), not the byte.",
    ]
    if d.brightness_cap < 1:
        lit_a = float(np.sum(load.lit_a))
        notes.append(
            f"Cap: ({usable:.2f} A - {load.dark_total_a:.2f} A dark and extra) / {lit_a:.2f} A lit"
            f" = {d.brightness_cap:.1%}."
        )
    notes.extend(_feed_notes(d))
    return tuple(notes)


def _feed_notes(d: Decided) -> list[str]:
    worst = max(d.feeds, key=lambda feed: feed.current_a)
    least_a = worst.current_a / fuse_rule("load_fraction")
    notes = [
        f"Busiest feed {worst.current_a:.2f} A: {worst.current_a:.2f} / 0.75 = {least_a:.2f} A <= fuse"
        f" {worst.fuse_a:g} A <= {worst.wire_limit_a:g} A of {worst.wire}.",
        f"Lowest LED {float(np.min(d.led_v)):.3f} V at LED {int(np.argmin(d.led_v)) + 1},"
        f" designed to {d.floor_v:.2f} V or more.",
    ]
    if d.open_feeds:
        case = d.open_feeds[0]
        limit = "" if d.part.min_regulation_v is None else f" ({case.below_count} LEDs off colour)"
        notes.append(
            f"If feed {case.feed + 1} opens, the lowest LED gets {case.min_led_v:.2f} V{limit} and feed"
            f" {case.largest_feed + 1} carries {case.largest_feed_a:.2f} A on a"
            f" {d.feeds[case.largest_feed].fuse_a:g} A fuse."
        )
    return notes
