"""From a chain and its bytes to a supply, feeds, wire and fuses, each choice with its source.

It ends at the supply's DC terminals and says nothing about the mains side beyond cautions. Currents are
the worst case allowed by the brightness cap; voltages are those of the full resistor network.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from marquee.errors import Finding
from marquee.power import remarks
from marquee.power.cautions import cautions_for
from marquee.power.check import Wired, as_circuit, knee_for, open_feeds
from marquee.power.circuit import solve_circuit
from marquee.power.cost import running_cost
from marquee.power.fuse import fuse_rule
from marquee.power.ladder import Ladder, build_ladder, rail_row
from marquee.power.layout import Piece, fixed_pads, split_chain, wire_pieces
from marquee.power.load import Load, find_load
from marquee.power.search import Task, Wiring, lead_ohm
from marquee.power.supply import (
    cap_for_supply,
    catalogue,
    check_voltage,
    choose_supply,
    class2_statement,
    efficiency_of,
    parse_supply,
)
from marquee.power.wire import Wire, copper_factor, feed_sizes, wire_named
from marquee.project import PowerSettings
from marquee.values import Chain, Drive, Feed, Part, Power, Supply, read_only

# A supply is taken one catalogue step larger for its fuses' sake only up to this ratio: common practice, no source.
_LARGEST_STEP = 1.35


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Basis:
    """What the wiring is designed from."""

    chain: Chain
    part: Part
    settings: PowerSettings
    load: Load
    supply: Supply
    brightness_cap: float
    floor_v: float
    loop_ohm_per_m: float

    @property
    def led_a(self) -> NDArray[np.float64]:
        """Current of each LED at the cap [A]."""
        return self.load.at_cap(self.brightness_cap)

    @property
    def worst_capped_a(self) -> float:
        """Everything at the cap, extra load included [A]."""
        return float(np.sum(self.led_a)) + self.load.extra_a


def plan_power(chain: Chain, part: Part, drive: Drive | None, settings: PowerSettings) -> Power:
    """Return supply, feeds, wire, fuses, voltages and running cost of a chain.

    Parameters
    ----------
    chain : Chain
        LEDs in data order, in rows joined by jumpers.
    part : Part
        Its currents, supply and regulation voltage.
    drive : Drive or None
        The plan's bytes; None plans for every channel full.
    settings : PowerSettings
        The maker's supply, wire lengths, sizes, tariff.

    Raises
    ------
    MarqueeError
        No channel current known; a supply of the wrong voltage or too small even for dark LEDs; a size,
        place or supply that cannot be read; a fuse no wire fits.
    """
    load = find_load(chain, part, drive, settings.extra_load_a)
    basis = _basis(chain, part, settings, load)
    wires = _wires(settings)
    pieces = split_chain(chain, basis.led_a, basis.supply, load.extra_a)
    wirings = _wire_chain(basis, pieces, wires)
    supply, wirings = _clear_fuses(basis, pieces, wirings, wires)
    basis = replace(basis, supply=supply)
    ladder = ladder_for(basis, wirings[0].wire)
    return _assemble(basis, ladder, pieces, wirings)


def _basis(chain: Chain, part: Part, settings: PowerSettings, load: Load) -> Basis:
    lit_a, fixed_a = float(np.sum(load.lit_a)), load.dark_total_a
    if settings.supply is None:
        supply, cap = choose_supply(part.supply_v, lit_a + fixed_a), 1.0
    else:
        supply = parse_supply(settings.supply)
        check_voltage(supply, part)
        cap = cap_for_supply(supply, lit_a, fixed_a)
    share, _ = rail_row("sink", "fallback_share")
    floor_v = (
        share * supply.volts
        if part.min_regulation_v is None
        else part.min_regulation_v + settings.margin_v
    )
    loop = settings.rail_ohm_per_m or rail_row(chain.arrangement, "loop_ohm_per_m")[0]
    return Basis(
        chain=chain,
        part=part,
        settings=settings,
        load=load,
        supply=supply,
        brightness_cap=cap,
        floor_v=floor_v,
        loop_ohm_per_m=loop,
    )


def _wires(settings: PowerSettings) -> tuple[Wire, ...]:
    if settings.wire_size is not None:
        return (wire_named(settings.wire_size, "power.wire_size"),)
    return feed_sizes(settings.wire)


def task_for(basis: Basis, led_a: NDArray[np.float64]) -> Task:
    """Return what a piece of the chain needs."""
    settings = basis.settings
    return Task(
        led_a=led_a,
        rail_v=basis.supply.volts,
        floor_v=basis.floor_v,
        lengths_mm=settings.feed_lengths_mm or (settings.feed_length_mm,),
        conductor_c=settings.conductor_c,
        holder_ohm=fuse_rule("holder_ohm"),
        blade_drop_v=fuse_rule("blade_drop_v"),
    )


def ladder_for(basis: Basis, wire: Wire) -> Ladder:
    """Return the chain's copper at its temperature, jumpers of the feeds' wire."""
    factor = copper_factor(basis.settings.conductor_c)
    return build_ladder(basis.chain, basis.loop_ohm_per_m * factor, wire.ohm_per_m_20c * factor)


def _wire_chain(
    basis: Basis, pieces: tuple[Piece, ...], wires: tuple[Wire, ...]
) -> tuple[Wiring, ...]:
    """Wire every piece; jumpers are of the feeds' wire, so the ladder follows the size chosen."""
    pads = fixed_pads(basis.settings.feeds, basis.chain.count)
    task = task_for(basis, basis.led_a)
    wirings = wire_pieces(ladder_for(basis, wires[0]), task, pieces, wires, pads)
    wire = wirings[0].wire
    ladder = ladder_for(basis, wire)
    return wire_pieces(ladder, task, pieces, (wire,), _pads_of(pieces, wirings))


def _pads_of(pieces: tuple[Piece, ...], wirings: tuple[Wiring, ...]) -> NDArray[np.int64]:
    return np.concatenate([piece.start + w.pads for piece, w in zip(pieces, wirings, strict=True)])


def _clear_fuses(
    basis: Basis,
    pieces: tuple[Piece, ...],
    wirings: tuple[Wiring, ...],
    wires: tuple[Wire, ...],
) -> tuple[Supply, tuple[Wiring, ...]]:
    """See that a short in a feed either opens its fuse quickly or does not overload its wire.

    First a thicker wire of the sizes at hand, then one catalogue step more, unless the supply is the
    maker's own; else it stays and is a finding.
    """
    supply = basis.supply
    if remarks.fuse_clears(supply, wirings):
        return supply, wirings
    pads, task = _pads_of(pieces, wirings), task_for(basis, basis.led_a)
    enough_a = fuse_rule("supply_overload") * supply.amps
    for wire in (w for w in wires if w.current_a >= enough_a):
        thicker = wire_pieces(ladder_for(basis, wire), task, pieces, (wire,), pads)
        if all(w.holds for w in thicker):
            return supply, thicker
    if basis.settings.supply is not None:
        return supply, wirings
    larger = [amps for amps, _, _ in catalogue(supply.volts) if amps > supply.amps][:1]
    for amps in (a for a in larger if a <= _LARGEST_STEP * supply.amps):
        step = Supply(volts=supply.volts, amps=amps, watts=supply.volts * amps, count=supply.count)
        if remarks.fuse_clears(step, wirings):
            return step, wirings
    return supply, wirings


def _assemble(
    basis: Basis, ladder: Ladder, pieces: tuple[Piece, ...], wirings: tuple[Wiring, ...]
) -> Power:
    wired, groups = _wired(basis, ladder, pieces, wirings)
    solution, feed_a = solve_circuit(as_circuit(wired, None))
    knee = knee_for(basis.part.min_regulation_v, basis.part.supply_v)
    if knee is not None and float(np.min(solution.led_v)) < knee.high_v:
        solution, feed_a = solve_circuit(as_circuit(wired, knee))
    led_v = solution.led_v
    feeds = _feeds(basis, wired, groups, wirings, feed_a)
    cases = open_feeds(wired, knee, groups)
    supply, volts, settings, load = basis.supply, basis.supply.volts, basis.settings, basis.load
    planned_a = float(np.sum(load.planned_a)) + load.extra_a
    efficiency, efficiency_cite = efficiency_of(supply)
    if settings.efficiency is not None:
        efficiency, efficiency_cite = settings.efficiency, "efficiency: as you stated"
    cost = running_cost(volts * planned_a, efficiency, settings.tariff_per_kwh)
    fields = remarks.Decided(
        chain=basis.chain,
        part=basis.part,
        settings=settings,
        load=load,
        supply=supply,
        brightness_cap=basis.brightness_cap,
        floor_v=basis.floor_v,
        loop_ohm_per_m=basis.loop_ohm_per_m,
        worst_capped_a=basis.worst_capped_a,
        led_v=led_v,
        feeds=feeds,
        wirings=wirings,
        pieces=pieces,
        efficiency_cite=efficiency_cite,
        open_feeds=cases,
    )
    findings: tuple[Finding, ...] = (*load.findings, *remarks.find_remarks(fields))
    return Power(
        rail_v=volts,
        worst_case_a=load.worst_total_a,
        planned_a=planned_a,
        peak_a=float(np.sum(load.peak_a)) + load.extra_a,
        dark_a=load.dark_total_a,
        supply=supply,
        brightness_cap=basis.brightness_cap,
        feeds=feeds,
        fuse_a=max(feed.fuse_a for feed in feeds),
        led_v=read_only(led_v),
        min_led_v=float(np.min(led_v)),
        worst_led=int(np.argmin(led_v)),
        heat_w=cost.dc_w,
        energy_wh_per_hour=cost.energy_wh_per_hour,
        cost_per_hour=cost.cost_per_hour,
        currency=settings.currency,
        cautions=cautions_for(supply),
        cites=remarks.all_cites(fields),
        findings=findings,
        extra_a=load.extra_a,
        planned_high_a=float(np.sum(load.planned_high_a)) + load.extra_a,
        regulation_v=basis.part.min_regulation_v,
        floor_v=basis.floor_v,
        led_a=read_only(solution.led_a.copy()),
        wire=wirings[0].wire.name,
        rail_ohm_per_m=basis.loop_ohm_per_m,
        cuts=wired.cuts,
        supply_owned=settings.supply is not None,
        class2=class2_statement(supply),
        open_feeds=cases,
        planned_w=cost.dc_w,
        worst_w=volts * basis.worst_capped_a,
        wall_w=cost.wall_w,
        efficiency=efficiency,
        notes=remarks.all_notes(fields),
    )


def _wired(
    basis: Basis, ladder: Ladder, pieces: tuple[Piece, ...], wirings: tuple[Wiring, ...]
) -> tuple[Wired, NDArray[np.int64]]:
    """Put the pieces together: one ground, the plus cut between supplies."""
    pads = _pads_of(pieces, wirings)
    groups = np.concatenate(
        [np.full(len(w.pads), piece.supply) for piece, w in zip(pieces, wirings, strict=True)]
    )
    task = task_for(basis, basis.led_a)
    fuses = tuple(fuse for w in wirings for fuse in w.fuse_a)
    return (
        Wired(
            ladder=ladder,
            led_a=basis.led_a,
            rail_v=basis.supply.volts,
            pads=pads,
            lead_ohm=lead_ohm(wirings[0].wire, task, len(pads), fuses),
            cuts=tuple(piece.start for piece in pieces[1:]),
        ),
        groups,
    )


def _feeds(
    basis: Basis,
    wired: Wired,
    groups: NDArray[np.int64],
    wirings: tuple[Wiring, ...],
    feed_a: NDArray[np.float64],
) -> tuple[Feed, ...]:
    lengths = basis.settings.feed_lengths_mm or (basis.settings.feed_length_mm,)
    wire = wirings[0].wire
    fuses = [fuse for w in wirings for fuse in w.fuse_a]
    plus, minus = wired.lead_ohm
    last = basis.chain.count - 1
    return tuple(
        Feed(
            at_led=min(int(pad), last),
            awg=wire.awg,
            mm2=wire.mm2,
            length_mm=lengths[min(i, len(lengths) - 1)],
            current_a=float(feed_a[i]),
            drop_v=float(feed_a[i] * (plus[i] + minus[i])),
            fuse_a=fuses[i],
            cites=remarks.feed_cites(wire),
            wire=wire.name,
            wire_limit_a=wire.current_a,
            pad="after" if pad > last else "before",
            supply=int(groups[i]),
        )
        for i, pad in enumerate(wired.pads)
    )
