"""From a chain and its bytes to a supply, feeds, wire and fuses, each choice with its source.

It ends at the supply's DC terminals and says nothing about the mains side beyond cautions. Currents are
the worst case allowed by the brightness cap; voltages are those of the full resistor network.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from marquee.power.alternatives import find_alternatives
from marquee.power.assemble import assemble
from marquee.power.basis import Basis, Design, lay_basis
from marquee.power.extra import extra_loads
from marquee.power.fuse import fuse_for, fuse_rule, share_that_fits
from marquee.power.layout import Piece, fixed_pads, split_chain, wire_pieces
from marquee.power.load import find_load
from marquee.power.parts import price_list
from marquee.power.remarks import fuse_clears
from marquee.power.search import Wiring
from marquee.power.supply import catalogue, check_voltage, parse_supply, supply_rule
from marquee.power.wire import Wire, feed_sizes, wire_named
from marquee.project import PowerSettings
from marquee.values import Box, Chain, Drive, Part, Power, Supply

# A supply is taken one catalogue step larger for its fuses' sake only up to this ratio: common practice, no source.
_LARGEST_STEP = 1.35


def plan_power(
    chain: Chain,
    part: Part,
    drive: Drive | None,
    settings: PowerSettings,
    box: Box | None = None,
    others: tuple[Part, ...] = (),
) -> Power:
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
    box : Box, optional
        For its temperature rise.
    others : tuple of Part, optional
        Parts to compare with, such as one for 12 V.

    Raises
    ------
    MarqueeError
        No channel current known; a supply of the wrong voltage or too small even for dark LEDs; a size,
        place or supply that cannot be read; a fuse no wire fits.
    """
    extra_a = sum(extra.current_a for extra in extra_loads(settings))
    load = find_load(chain, part, drive, extra_a)
    basis = lay_basis(chain, part, settings, load)
    design = make_design(basis)
    alternatives = find_alternatives(design, make_design, others)
    return assemble(design, box, alternatives)


def check_settings(part: Part, settings: PowerSettings) -> None:
    """Refuse what is wrong whatever the chain, before anything long is worked out.

    Raises
    ------
    MarqueeError
        A supply that cannot be read or of another voltage, an unknown wire size, a load without a
        name, a price of what is not on the parts list.
    """
    supply = Supply(volts=part.supply_v, amps=1.0, watts=part.supply_v)
    if settings.supply is not None:
        supply = parse_supply(settings.supply)
        check_voltage(supply, part)
    _wires(settings)
    extra_loads(settings)
    price_list(settings.prices, supply)


def make_design(basis: Basis) -> Design:
    """Return the wiring with the fewest feeds, then the thinnest wire, then fuses that clear a short."""
    wires = _wires(basis.settings)
    pieces = split_chain(basis.chain, basis.led_a, basis.supply, basis.load.extra_a)
    wirings = _wire_chain(basis, pieces, wires)
    design = _clear_fuses(Design(basis=basis, pieces=pieces, wirings=wirings), wires)
    busiest_a = float(np.max(design.feed_a))
    for pad, amps in zip(design.pads, design.feed_a, strict=True):
        # Refuses what no fuse can protect, whatever else was traded.
        place = f"feed at LED {min(int(pad), basis.chain.count - 1)}"
        fuse_for(float(amps), design.wire, place, _dimmer(basis, design.wire, busiest_a))
    return design


def _dimmer(basis: Basis, wire: Wire, busiest_a: float) -> str:
    """Say which smaller supply would cap the light so far that the busiest feed has a fuse."""
    led_a = float(np.sum(basis.led_a))
    allowed_a = share_that_fits(busiest_a, wire) * led_a
    if allowed_a <= 1.05 * float(np.sum(basis.load.dark_a)):
        return "take a part that draws less"
    rating_a = (allowed_a + basis.load.extra_a) / supply_rule("load_fraction")
    shown = int(10 * rating_a / basis.supply.count) / 10
    cap = (allowed_a - float(np.sum(basis.load.dark_a))) / float(np.sum(basis.load.lit_a))
    return f"cap the light at {cap:.0%} (--supply {basis.supply.volts:g}V/{shown:g}A)"


def _wires(settings: PowerSettings) -> tuple[Wire, ...]:
    if settings.wire_size is not None:
        return (wire_named(settings.wire_size, "power.wire_size"),)
    return feed_sizes(settings.wire)


def _wire_chain(
    basis: Basis, pieces: tuple[Piece, ...], wires: tuple[Wire, ...]
) -> tuple[Wiring, ...]:
    """Wire every piece. Jumpers are of the feeds' wire, so the copper follows the size chosen."""
    pads = fixed_pads(basis.settings.feeds, basis.chain.count)
    wirings: tuple[Wiring, ...] = ()
    for _ in wires:
        wirings = wire_pieces(basis.ladder(wires[0]), basis.task(), pieces, wires, pads)
        wire = wirings[0].wire
        if wire is wires[0]:
            return wirings
        held = all(w.holds for w in wirings)
        wirings = _rewired(basis, pieces, wirings, wire)
        if not held or all(w.holds for w in wirings):
            return wirings
        wires = tuple(w for w in wires if w.mm2 >= wire.mm2)
    return wirings


def _rewired(
    basis: Basis, pieces: tuple[Piece, ...], wirings: tuple[Wiring, ...], wire: Wire
) -> tuple[Wiring, ...]:
    """Return the same feeds with another wire."""
    pads: NDArray[np.int64] = Design(basis=basis, pieces=pieces, wirings=wirings).pads
    return wire_pieces(basis.ladder(wire), basis.task(), pieces, (wire,), pads)


def _clear_fuses(design: Design, wires: tuple[Wire, ...]) -> Design:
    """See that a short in a feed either opens its fuse quickly or does not overload its wire.

    First a thicker wire of the sizes at hand, then one catalogue step more, unless the supply is the
    maker's own; else it stays and is a finding.
    """
    basis, supply = design.basis, design.basis.supply
    if fuse_clears(supply, design.wirings):
        return design
    enough_a = fuse_rule("supply_overload") * supply.amps
    for wire in (w for w in wires if w.current_a >= enough_a and w.mm2 > design.wire.mm2):
        thicker = _rewired(basis, design.pieces, design.wirings, wire)
        if all(w.holds for w in thicker):
            return replace(design, wirings=thicker)
    if basis.owned:
        return design
    larger = [amps for amps, _, _ in catalogue(supply.volts) if amps > supply.amps][:1]
    for amps in (a for a in larger if a <= _LARGEST_STEP * supply.amps):
        step = Supply(volts=supply.volts, amps=amps, watts=supply.volts * amps, count=supply.count)
        if fuse_clears(step, design.wirings):
            return replace(design, basis=replace(basis, supply=step))
    return design
