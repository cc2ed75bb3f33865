"""The design proved on the full network and put into one value."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.power import notes, remarks
from marquee.power.basis import Basis, Design
from marquee.power.cautions import cautions_for
from marquee.power.check import (
    Wired,
    far_shorts,
    knee_for,
    open_feeds,
    plan_fits,
    solve_wired,
    wire_up,
)
from marquee.power.cost import RunningCost, month, running_cost
from marquee.power.data_line import data_line_cites, find_data_line
from marquee.power.extra import extra_loads
from marquee.power.heat import box_rise_k, heat_notes, hot_box
from marquee.power.ladder import jumper_lengths_mm
from marquee.power.parts import led_parts, price_list, priced, wiring_parts
from marquee.power.rails import Solution
from marquee.power.supply import class2_statement, efficiency_of
from marquee.values import Alternative, Box, Feed, OpenFeed, Power, read_only


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Proof:
    """The network with its feeds, solved."""

    wired: Wired
    groups: NDArray[np.int64]
    solution: Solution
    feed_a: NDArray[np.float64]
    cases: tuple[OpenFeed, ...]


def assemble(design: Design, box: Box | None, alternatives: tuple[Alternative, ...]) -> Power:
    """Return everything decided, with voltages of the full network.

    Parameters
    ----------
    design : Design
        Supply, feeds, wire, fuses.
    box : Box or None
        For its temperature rise.
    alternatives : tuple of Alternative
        Found beside it.
    """
    basis, settings, load = design.basis, design.basis.settings, design.basis.load
    supply, volts = basis.supply, basis.supply.volts
    proof = _prove(design)
    feeds = _feeds(design, proof)
    led_v = proof.solution.led_v
    fits = plan_fits(design)
    cost, efficiency, efficiency_cite = _cost(design, fits)
    monthly = month(cost, settings.hours_per_day, settings.cabinets)
    line, line_notes = find_data_line(
        basis.part,
        volts,
        max(feed.current_a for feed in feeds),
        max(feed.length_mm for feed in feeds),
        float(proof.solution.gnd_v[0]),
    )
    decided = remarks.Decided(
        design=design,
        led_v=led_v,
        feeds=feeds,
        efficiency_cite=efficiency_cite,
        open_feeds=proof.cases,
        cost=cost,
        far_shorts=far_shorts(proof.wired),
        plan_fits=fits,
    )
    worst_w = volts * basis.worst_capped_a
    # Named loads, shelf lamps and the like, are not in the light box.
    outside_w = volts * sum(x.current_a for x in extra_loads(settings)[1:])
    heat_w, worst_heat_w = cost.dc_w - outside_w, worst_w - outside_w
    dark_heat_w = volts * load.dark_total_a - outside_w
    jumpers_mm = jumper_lengths_mm(basis.chain)
    rows, parts_cost = priced(
        led_parts(basis.chain, basis.part)
        + wiring_parts(supply, basis.owned, feeds, line, jumpers_mm),
        price_list(settings.prices, supply),
    )
    return Power(
        rail_v=volts,
        worst_case_a=load.worst_total_a,
        planned_a=load.planned_total_a,
        peak_a=load.peak_total_a,
        dark_a=load.dark_total_a,
        supply=supply,
        brightness_cap=basis.brightness_cap,
        feeds=feeds,
        fuse_a=max(feed.fuse_a for feed in feeds),
        led_v=read_only(led_v),
        min_led_v=float(np.min(led_v)),
        worst_led=int(np.argmin(led_v)),
        heat_w=heat_w,
        energy_wh_per_hour=cost.energy_wh_per_hour,
        cost_per_hour=cost.cost_per_hour,
        currency=settings.currency,
        cautions=cautions_for(supply),
        cites=(*notes.all_cites(decided), *data_line_cites()),
        findings=(
            *load.findings,
            *remarks.find_remarks(decided),
            *hot_box(heat_w, dark_heat_w, worst_heat_w, box, basis.part),
        ),
        extra_a=load.extra_a,
        extra_loads=tuple((x.name, x.current_a) for x in extra_loads(settings)),
        driven=load.driven,
        plan_fits=fits,
        planned_high_a=float(np.sum(load.planned_high_a)) + load.extra_a,
        regulation_v=basis.part.min_regulation_v,
        floor_v=basis.floor_v,
        led_a=read_only(proof.solution.led_a.copy()),
        wire=design.wire.name,
        rail_ohm_per_m=basis.loop_ohm_per_m,
        cuts=proof.wired.cuts,
        supply_owned=basis.owned,
        class2=class2_statement(supply),
        open_feeds=proof.cases,
        planned_w=cost.dc_w,
        worst_w=worst_w,
        wall_w=cost.wall_w,
        efficiency=efficiency,
        notes=(*notes.all_notes(decided), *line_notes, *heat_notes(heat_w, worst_heat_w, box)),
        data_line=line,
        alternatives=alternatives,
        box_rise_k=None if box is None else box_rise_k(heat_w, box),
        kwh_per_month=None if monthly is None else monthly[0],
        cost_per_month=None if monthly is None else monthly[1],
        cabinets=settings.cabinets,
        parts=rows,
        parts_cost=parts_cost,
        zones_planned_a=_zones_planned_a(basis),
    )


def _zones_planned_a(basis: Basis) -> tuple[tuple[int, float], ...]:
    """Return what each zone's LEDs draw as planned, in order of zones; nothing where no bytes are planned."""
    if not basis.load.driven:
        return ()
    zone_of_led = basis.chain.zone
    return tuple(
        (int(zone), float(np.sum(basis.load.planned_a[zone_of_led == zone])))
        for zone in np.unique(zone_of_led)
    )


def _cost(design: Design, fits: bool) -> tuple[RunningCost, float, str]:
    basis, settings = design.basis, design.basis.settings
    efficiency, cite = efficiency_of(basis.supply)
    if settings.efficiency is not None:
        efficiency, cite = settings.efficiency, "as you stated [stated by the maker]"
    planned_w = basis.supply.volts * basis.load.running_total_a(basis.brightness_cap, fits)
    return running_cost(planned_w, efficiency, settings.tariff_per_kwh), efficiency, cite


def _prove(design: Design) -> _Proof:
    """Solve the full network: one ground, the plus cut between supplies, knee where voltages are low."""
    basis = design.basis
    groups = np.concatenate(
        [
            np.full(len(w.pads), piece.supply)
            for piece, w in zip(design.pieces, design.wirings, strict=True)
        ]
    )
    wired = wire_up(design)
    knee = knee_for(basis.part.min_regulation_v, basis.part.supply_v)
    solution, feed_a = solve_wired(wired, knee)
    return _Proof(
        wired=wired,
        groups=groups,
        solution=solution,
        feed_a=feed_a,
        cases=open_feeds(wired, knee, groups),
    )


def _feeds(design: Design, proof: _Proof) -> tuple[Feed, ...]:
    wire, lengths_mm = design.wire, design.basis.lengths_mm(len(proof.wired.pads))
    plus, minus = proof.wired.lead_ohm
    last = design.basis.chain.count - 1
    return tuple(
        Feed(
            at_led=min(int(pad), last),
            awg=wire.awg,
            mm2=wire.mm2,
            length_mm=lengths_mm[i],
            current_a=float(proof.feed_a[i]),
            drop_v=float(proof.feed_a[i] * (plus[i] + minus[i])),
            fuse_a=design.fuses_a[i],
            cites=notes.feed_cites(wire),
            wire=wire.name,
            wire_limit_a=wire.current_a,
            pad="after" if pad > last else "before",
            supply=int(proof.groups[i]),
        )
        for i, pad in enumerate(proof.wired.pads)
    )
