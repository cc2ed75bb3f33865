"""Other ways to power the same chain: smaller supplies with a cap, fewer feeds, another part."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from marquee.errors import MarqueeError
from marquee.parallel import run_all
from marquee.power.basis import Basis, Design, lay_basis
from marquee.power.check import knee_for, plan_fits, solve_wired, wire_up
from marquee.power.cost import running_cost
from marquee.power.data_line import find_data_line
from marquee.power.ladder import jumper_lengths_mm
from marquee.power.load import find_load
from marquee.power.parts import price_list, priced, wiring_parts
from marquee.power.search import try_wiring
from marquee.power.supply import (
    catalogue,
    check_voltage,
    choose_supply,
    efficiency_of,
    parse_supply,
)
from marquee.values import Alternative, Feed, Part, Supply

Designer = Callable[[Basis], Design]
_SMALLER_STEPS = 2
# From this many LEDs the other ways are worked out side by side (measured: 0.1 ms a LED, 15 ms to share out).
_MANY_LEDS = 400
# A cap below this leaves no sign worth building.
_LEAST_CAP = 0.05


def find_alternatives(
    design: Design, make_design: Designer, others: tuple[Part, ...]
) -> tuple[Alternative, ...]:
    """Return the design and others of the same chain, each worked out in full.

    Parameters
    ----------
    design : Design
        The one decided.
    make_design : callable
        Wires a basis.
    others : tuple of Part
        Parts to compare with, every channel full; those without a channel current, and those of which a place
        on the data line lights another number of LEDs, are left out.
    """
    basis = design.basis
    found = [_row("as designed", design)]
    supplies = _other_supplies(basis)
    if basis.owned and basis.brightness_cap < 1:
        supplies.insert(0, choose_supply(basis.supply.volts, basis.load.worst_total_a))
    jobs: list[Callable[[], Alternative | None]] = [
        *(partial(_other_supply, basis, supply, make_design) for supply in supplies),
        partial(_single_feed, design),
        *(
            partial(_other_part, basis, part, make_design)
            for part in others
            if part.leds_per_pixel == basis.part.leds_per_pixel
        ),
    ]
    rows: list[Alternative | None] = run_all(jobs, None if basis.chain.count > _MANY_LEDS else 1)
    return (*found, *(row for row in rows if row is not None))


def _supply_name(supply: Supply) -> str:
    several = f"{supply.count} x " if supply.count > 1 else ""
    return f"{several}{supply.volts:g} V {supply.amps:g} A"


def _light(basis: Basis) -> str:
    cap = basis.brightness_cap
    return "full brightness" if cap >= 1 else f"brightness capped at {cap:.0%}"


def _other_supplies(basis: Basis) -> list[Supply]:
    """Return smaller steps of the catalogue, the one that just carries the planned bytes included."""
    volts, load = basis.supply.volts, basis.load
    steps = [amps for amps, _, _ in catalogue(volts) if amps < basis.supply.amps]
    amps = set(steps[-_SMALLER_STEPS:])
    if load.driven:
        planned = choose_supply(volts, load.peak_total_a)
        if planned.count == 1 and planned.amps < basis.supply.amps:
            amps.add(planned.amps)
    return [Supply(volts=volts, amps=a, watts=volts * a) for a in sorted(amps, reverse=True)]


def _other_supply(basis: Basis, supply: Supply, make_design: Designer) -> Alternative | None:
    """Return the row of another supply, None where places and wire as stated do not allow it."""
    try:
        laid = lay_basis(basis.chain, basis.part, basis.settings, basis.load, supply)
        if laid.brightness_cap < _LEAST_CAP:
            return None
        return _row(f"{_supply_name(supply)}, {_light(laid)}", make_design(laid))
    except MarqueeError:
        return None


def _other_part(basis: Basis, part: Part, make_design: Designer) -> Alternative | None:
    settings = basis.settings.model_copy(update={"supply": None})
    try:
        load = find_load(basis.chain, part, None, basis.load.extra_a)
        other = lay_basis(basis.chain, part, settings, load)
        check_voltage(other.supply, part)
        return _row(f"part {part.name}, {_supply_name(other.supply)}", make_design(other))
    except MarqueeError:
        return None


def _single_feed(design: Design) -> Alternative | None:
    """One feed at the start: the largest cap that keeps every LED above the floor and the fuse in range."""
    basis = design.basis
    if len(design.pads) == 1 or basis.supply.count > 1:
        return None
    ladder, task = basis.ladder(design.wire), basis.task()
    start = np.array([0], dtype=np.int64)

    def holds(cap: float) -> bool:
        capped = replace(task, led_a=basis.load.at_cap(cap))
        return try_wiring(ladder, capped, start, design.wire).holds

    low, high = 0.0, basis.brightness_cap
    for _ in range(14):
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    if low < _LEAST_CAP:
        return None
    capped = replace(basis, brightness_cap=low)
    wiring = try_wiring(ladder, replace(task, led_a=capped.led_a), start, design.wire)
    alone = replace(design, basis=capped, wirings=(wiring,))
    return _row(f"one feed at the start, {_light(capped)}", alone)


def _row(title: str, design: Design) -> Alternative:
    basis, load = design.basis, design.basis.load
    supply = basis.supply
    cost = running_cost(
        supply.volts * load.running_total_a(basis.brightness_cap, plan_fits(design)),
        basis.settings.efficiency or efficiency_of(supply)[0],
        basis.settings.tariff_per_kwh,
    )
    return Alternative(
        title=title,
        supply=supply,
        brightness_cap=basis.brightness_cap,
        feeds=len(design.pads),
        wire=design.wire.name,
        min_led_v=_lowest_v(design),
        worst_w=supply.volts * basis.worst_capped_a,
        planned_w=cost.dc_w,
        cost_per_hour=cost.cost_per_hour,
        parts_cost=_parts_cost(design),
    )


def _lowest_v(design: Design) -> float:
    """Lowest LED; below the regulation voltage currents fall, so there the full network is solved."""
    part = design.basis.part
    lowest_v = min(w.lowest_v for w in design.wirings)
    knee = knee_for(part.min_regulation_v, part.supply_v)
    if knee is None or lowest_v >= knee.high_v:
        return lowest_v
    return float(np.min(solve_wired(wire_up(design), knee)[0].led_v))


def _parts_cost(design: Design) -> float | None:
    """Supply and wiring by the maker's prices; a supply that is there costs nothing more."""
    basis, wire = design.basis, design.wire
    prices = price_list(basis.settings.prices, basis.supply)
    lengths_mm = basis.lengths_mm(len(design.pads))
    feeds = tuple(
        Feed(
            at_led=int(pad),
            awg=wire.awg,
            mm2=wire.mm2,
            length_mm=length_mm,
            current_a=float(amps),
            drop_v=0.0,
            fuse_a=fuse_a,
            wire=wire.name,
        )
        for pad, length_mm, amps, fuse_a in zip(
            design.pads, lengths_mm, design.feed_a, design.fuses_a, strict=True
        )
    )
    line, _ = find_data_line(
        basis.part,
        basis.supply.volts,
        max(feed.current_a for feed in feeds),
        max(feed.length_mm for feed in feeds),
        0.0,
    )
    stated = basis.settings.supply
    there = stated is not None and parse_supply(stated) == basis.supply
    rows = wiring_parts(basis.supply, there, feeds, line, jumper_lengths_mm(basis.chain))
    return priced(rows, prices)[1]
