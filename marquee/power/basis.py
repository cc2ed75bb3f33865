"""What the wiring is designed from: load, supply, cap, floor, copper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.power.fuse import fuse_rule
from marquee.power.ladder import Ladder, build_ladder, rail_row
from marquee.power.layout import Piece
from marquee.power.load import Load
from marquee.power.search import Task, Wiring
from marquee.power.supply import cap_for_supply, check_voltage, choose_supply, parse_supply
from marquee.power.wire import Wire, copper_factor
from marquee.project import PowerSettings
from marquee.values import Chain, Part, Supply


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Basis:
    """What the wiring is designed from. `owned` tells a supply that is given from one chosen here."""

    chain: Chain
    part: Part
    settings: PowerSettings
    load: Load
    supply: Supply
    owned: bool
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

    def lengths_mm(self, feeds: int) -> tuple[float, ...]:
        """Return the wire length of each of a number of feeds in chain order [mm]."""
        return self.task().feed_lengths_mm(feeds)

    def task(self) -> Task:
        """Return what the chain needs."""
        return Task(
            led_a=self.led_a,
            rail_v=self.supply.volts,
            floor_v=self.floor_v,
            lengths_mm=self.settings.feed_lengths_mm or (self.settings.feed_length_mm,),
            conductor_c=self.settings.conductor_c,
            holder_ohm=fuse_rule("holder_ohm"),
            blade_drop_v=fuse_rule("blade_drop_v"),
        )

    def ladder(self, wire: Wire) -> Ladder:
        """Return the chain's copper at its temperature, jumpers of the feeds' wire."""
        factor = copper_factor(self.settings.conductor_c)
        return build_ladder(self.chain, self.loop_ohm_per_m * factor, wire.ohm_per_m_20c * factor)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Design:
    """The wiring decided: one Wiring a piece, all of one wire."""

    basis: Basis
    pieces: tuple[Piece, ...]
    wirings: tuple[Wiring, ...]

    @property
    def wire(self) -> Wire:
        """Wire of all feeds and jumpers."""
        return self.wirings[0].wire

    @property
    def pads(self) -> NDArray[np.int64]:
        """Pad of every feed along the whole chain, ascending."""
        return np.concatenate(
            [piece.start + w.pads for piece, w in zip(self.pieces, self.wirings, strict=True)]
        )

    @property
    def feed_a(self) -> NDArray[np.float64]:
        """Current of every feed [A], by the design's ladder."""
        return np.concatenate([w.feed_a for w in self.wirings])

    @property
    def fuses_a(self) -> tuple[float, ...]:
        """Fuse of every feed [A]."""
        return tuple(fuse for w in self.wirings for fuse in w.fuse_a)


def lay_basis(
    chain: Chain, part: Part, settings: PowerSettings, load: Load, supply: Supply | None = None
) -> Basis:
    """Return what the wiring is designed from.

    Parameters
    ----------
    chain, part, settings, load
        As given and found.
    supply : Supply, optional
        To be used whatever the settings say; None takes the maker's, else the catalogue's.

    Raises
    ------
    MarqueeError
        A supply that cannot be read, of another voltage, or too small for dark LEDs.
    """
    lit_a, fixed_a = float(np.sum(load.lit_a)), load.dark_total_a
    owned = supply is not None or settings.supply is not None
    if supply is None and settings.supply is not None:
        supply = parse_supply(settings.supply)
        check_voltage(supply, part)
    if supply is None:
        supply, cap = choose_supply(part.supply_v, lit_a + fixed_a), 1.0
    else:
        cap = cap_for_supply(supply, lit_a, fixed_a)
    share, _ = rail_row("sink", "fallback_share")
    floor_v = (
        share * supply.volts
        if part.min_regulation_v is None
        else part.min_regulation_v + settings.margin_v
    )
    return Basis(
        chain=chain,
        part=part,
        settings=settings,
        load=load,
        supply=supply,
        owned=owned,
        brightness_cap=cap,
        floor_v=floor_v,
        loop_ohm_per_m=settings.rail_ohm_per_m or rail_row(chain.arrangement, "loop_ohm_per_m")[0],
    )
