"""Other ways to power the same chain: smaller supplies with a cap, fewer feeds, another part."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from marquee.errors import MarqueeError
from marquee.power.basis import Basis, Design, lay_basis
from marquee.power.cost import running_cost
from marquee.power.load import find_load
from marquee.power.search import try_wiring
from marquee.power.supply import (
    catalogue,
    check_voltage,
    choose_supply,
    efficiency_of,
    usable_a,
)
from marquee.values import Alternative, Part, Supply

Designer = Callable[[Basis], Design]
_SMALLER_STEPS = 2
# A cap below this leaves no sign worth building.
_LEAST_CAP = 0.05


def find_alternatives(
    design: Design, make_design: Designer, others: tuple[Part, ...]
) -> tuple[Alternative, ...]:
    """Return other designs of the same chain, each worked out in full.

    Parameters
    ----------
    design : Design
        The one decided.
    make_design : callable
        Wires a basis.
    others : tuple of Part
        Parts to compare with, every channel full; those without a channel current are left out.
    """
    basis = design.basis
    found = [
        _row(f"{_supply_name(supply)}, {_light(with_supply)}", make_design(with_supply))
        for supply in _other_supplies(basis)
        if (with_supply := _with_supply(basis, supply)) is not None
    ]
    if basis.owned and basis.brightness_cap < 1:
        full = choose_supply(basis.supply.volts, basis.load.worst_total_a)
        larger = _with_supply(basis, full)
        if larger is not None:
            found.insert(0, _row(f"{_supply_name(full)}, full brightness", make_design(larger)))
    single = _single_feed(design)
    if single is not None:
        found.append(single)
    found += [row for part in others if (row := _other_part(basis, part, make_design)) is not None]
    return tuple(found)


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


def _with_supply(basis: Basis, supply: Supply) -> Basis | None:
    try:
        laid = lay_basis(basis.chain, basis.part, basis.settings, basis.load, supply)
    except MarqueeError:
        return None
    return laid if laid.brightness_cap >= _LEAST_CAP else None


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
    # The firmware never lets the sign draw more than the cap allows.
    planned_a = min(load.planned_total_a, basis.worst_capped_a, usable_a(supply))
    cost = running_cost(
        supply.volts * planned_a,
        basis.settings.efficiency or efficiency_of(supply)[0],
        basis.settings.tariff_per_kwh,
    )
    return Alternative(
        title=title,
        supply=supply,
        brightness_cap=basis.brightness_cap,
        feeds=len(design.pads),
        wire=design.wire.name,
        min_led_v=min(w.lowest_v for w in design.wirings),
        worst_w=supply.volts * basis.worst_capped_a,
        planned_w=cost.dc_w,
        cost_per_hour=cost.cost_per_hour,
    )
