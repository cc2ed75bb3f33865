"""What the maker should know about the wiring but what stops nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.errors import Finding
from marquee.power.basis import Basis, Design
from marquee.power.check import FarShort, knee_for
from marquee.power.cost import RunningCost
from marquee.power.fuse import fuse_rule
from marquee.power.ladder import rail_row
from marquee.power.search import Wiring
from marquee.power.supply import choose_supply, usable_a
from marquee.values import Feed, OpenFeed, Supply

# More feeds than this are worth a word: common practice, no source.
_MANY_FEEDS = 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decided:
    """Everything the remarks speak of."""

    design: Design
    led_v: NDArray[np.float64]
    feeds: tuple[Feed, ...]
    efficiency_cite: str
    open_feeds: tuple[OpenFeed, ...]
    cost: RunningCost
    far_shorts: tuple[FarShort, ...]
    plan_fits: bool = False

    @property
    def basis(self) -> Basis:
        """What the wiring was designed from."""
        return self.design.basis


def fuse_clears(supply: Supply, wirings: tuple[Wiring, ...]) -> bool:
    """Return whether a short in any feed opens its fuse quickly, or else cannot overload the wire."""
    wire = wirings[0].wire
    if wire.current_a >= fuse_rule("supply_overload") * supply.amps:
        return True
    largest = max(fuse for w in wirings for fuse in w.fuse_a)
    return largest <= fuse_rule("fast_share_of_supply") * supply.amps


def find_remarks(d: Decided) -> tuple[Finding, ...]:
    """Return the findings, in the order of the design's steps."""
    looked_for = (
        *(_capped, _plan_above_cap, _several),
        *(_no_regulation, _low),
        *(_fuse_volts, _slow_fuse, _hot_rail, _many),
    )
    return tuple(finding for look in looked_for if (finding := look(d)) is not None)


def _capped(d: Decided) -> Finding | None:
    if d.basis.brightness_cap >= 1:
        return None
    worst_a, limit_a = d.basis.load.worst_total_a, usable_a(d.basis.supply)
    enough = choose_supply(d.basis.supply.volts, worst_a)
    several = f"{enough.count} x " if enough.count > 1 else ""
    return Finding(
        code="power.brightness-capped",
        where="power.supply",
        message=f"all channels full would draw {worst_a:.2f} A, {worst_a - limit_a:.2f} A above the"
        f" {limit_a:.2f} A that 80 % of your {d.basis.supply.amps:g} A allow, so brightness is capped at"
        f" {d.basis.brightness_cap:.1%}{' (the planned bytes fit as they are)' if d.plan_fits else ''}; keep the"
        f" cap in the firmware, or take {several}{enough.amps:g} A, or fewer LEDs or a part that draws less",
    )


def _plan_above_cap(d: Decided) -> Finding | None:
    limit_a = usable_a(d.basis.supply)
    peak_a = d.basis.load.peak_total_a
    if not d.basis.load.driven or peak_a <= limit_a:
        return None
    fixed_a = d.basis.load.dark_total_a
    share = max(0.0, (limit_a - fixed_a) / max(peak_a - fixed_a, 1e-12))
    return Finding(
        code="power.plan-above-supply",
        where="power.supply",
        message=f"the planned bytes may draw {peak_a:.2f} A with the part's largest currents, more than"
        f" the {limit_a:.2f} A allowed; set colour.brightness to {share:.0%} of its present value or"
        " take a larger supply",
    )


def _several(d: Decided) -> Finding | None:
    if d.basis.supply.count == 1:
        return None
    places = ", ".join(f"{piece.start}" for piece in d.design.pieces[1:])
    return Finding(
        code="power.several-supplies",
        where="power.supply",
        message=f"{d.basis.load.worst_total_a:.1f} A is more than one supply of the catalogue carries:"
        f" {d.basis.supply.count} x {d.basis.supply.amps:g} A, the plus rail cut before LED {places}, all minus joined,"
        " never plus to plus",
    )


def _no_regulation(d: Decided) -> Finding | None:
    if d.basis.part.min_regulation_v is not None:
        return None
    return Finding(
        code="power.regulation-voltage-unknown",
        where=f"part {d.basis.part.name}",
        message=f"its file gives no voltage below which colours shift, so wiring was designed to 90 % of the"
        f" rail, {d.basis.floor_v:.2f} V; measure it or add min_regulation_v",
    )


def _low(d: Decided) -> Finding | None:
    limit_v = (
        d.basis.part.min_regulation_v
        if d.basis.part.min_regulation_v is not None
        else d.basis.floor_v
    )
    lowest_v, worst = float(np.min(d.led_v)), int(np.argmin(d.led_v))
    if lowest_v >= d.basis.floor_v - 1e-9:
        return None
    below = np.flatnonzero(d.led_v < limit_v)
    if not len(below):
        return Finding(
            code="power.thin-margin",
            where=f"LED {worst}",
            message=f"gets {lowest_v:.2f} V at the worst case, above the {limit_v:.2f} V its colours need but"
            f" not the margin of {d.basis.floor_v - limit_v:.2f} V; shorten the wires or add a place to join",
        )
    return Finding(
        code="power.low-voltage",
        where=f"LEDs {below[0]} to {below[-1]}",
        message=f"{len(below)} of {len(d.led_v)} LEDs fall below {limit_v:.2f} V at the worst case, the lowest"
        f" {lowest_v:.2f} V at LED {worst}: blue and green fade first and white turns orange"
        f"{_current_left(d, lowest_v)}; join the chain at more places, or use thicker or shorter wire,"
        " or cap the brightness",
    )


def _current_left(d: Decided, led_v: float) -> str:
    knee = knee_for(d.basis.part.min_regulation_v, d.basis.part.supply_v)
    if knee is None:
        return ""
    share = float(knee.current_share(np.array([led_v]))[0])
    return f", about {share:.0%} of its current is left there"


def _fuse_volts(d: Decided) -> Finding | None:
    volts, common_v = d.basis.supply.volts, fuse_rule("blade_volts_dc")
    if volts <= common_v:
        return None
    return Finding(
        code="power.fuse-volts",
        where="feeds",
        message=f"common blade fuses break {common_v:g} V DC, and the arc may not go out at {volts:g} V: buy fuses and"
        f" holders rated for {volts:g} V DC or more (blade fuses come for 58 V too)",
    )


def _slow_fuse(d: Decided) -> Finding | None:
    if fuse_clears(d.basis.supply, d.design.wirings):
        return None
    largest = max(feed.fuse_a for feed in d.feeds)
    wire = d.design.wirings[0].wire
    return Finding(
        code="power.slow-fuse",
        where="feeds",
        message=f"a {largest:g} A fuse is more than half the supply's {d.basis.supply.amps:g} A: a short may not open it"
        f" in seconds, and the supply may push {fuse_rule('supply_overload') * d.basis.supply.amps:.0f} A through"
        f" {wire.name} good for {wire.current_a:g} A; use a supply that shuts down on overload, more and"
        " smaller feeds, or thicker wire",
    )


def _hot_rail(d: Decided) -> Finding | None:
    limit_a, _ = rail_row(d.basis.chain.arrangement, "rail_current_10k_a")
    worst_a = max(w.rail_a for w in d.design.wirings)
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
