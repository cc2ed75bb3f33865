"""What the power stage decides; `marquee.values` hands it on with the rest.

Currents A, voltages V, lengths mm. LEDs are counted along the chain from 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from marquee.errors import Finding


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """A wire pair from the supply to a place on the chain, fused at the supply's end."""

    at_led: int  # index of the LED it joins at
    awg: int | None
    mm2: float
    length_mm: float
    current_a: float
    drop_v: float
    fuse_a: float
    cites: tuple[str, ...] = ()
    wire: str = ""  # "18 AWG", "1.5 mm²"
    wire_limit_a: float = 0.0  # what the wire may carry, and so the largest fuse
    # Which side of at_led; after only at the chain's end.
    pad: Literal["before", "after"] = "before"
    supply: int = 0  # which of several supplies


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenFeed:
    """What happens when one feed's fuse opens or its wire comes off; currents fall at low voltage."""

    feed: int
    min_led_v: float
    worst_led: int
    below_count: int  # LEDs below the regulation voltage
    largest_feed: int
    largest_feed_a: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PartsRow:
    """One line of the parts list."""

    item: str
    quantity: float
    unit: str  # "pc", "m", "m2"
    note: str = ""
    key: str = ""  # of the maker's price
    price: float | None = None  # of one unit, as the maker stated it
    cost: float | None = None


# Above this the formula of a closed box's warmth says nothing but "too hot": common practice, no source.
MOST_SAID_RISE_K = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DataLine:
    """What goes with the data wire and each feed; None where the part's file lacks the figure.

    Margins are what reaches the first LED above what it needs to read a high level, by the controller's
    logic voltage.
    """

    capacitor_uf: float
    capacitor_v: float
    resistor_ohm: float
    margin_3v3_v: float | None
    margin_5v_v: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """Another way to power the same chain, and what it takes; watts are DC, planned ones under the cap."""

    title: str
    supply: Supply
    brightness_cap: float
    feeds: int
    wire: str
    min_led_v: float
    worst_w: float
    planned_w: float
    cost_per_hour: float | None
    parts_cost: float | None = None  # supply and wiring, by the prices the maker states


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """A catalogue DC supply."""

    volts: float
    amps: float
    watts: float
    count: int = 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Power:
    """Currents, wiring and running cost. `led_v` (leds,) float64 at the worst case allowed by the cap."""

    rail_v: float
    worst_case_a: float
    planned_a: float
    peak_a: float
    dark_a: float
    supply: Supply
    brightness_cap: float
    feeds: tuple[Feed, ...]
    fuse_a: float  # largest feed fuse
    led_v: NDArray[np.float64]
    min_led_v: float
    worst_led: int
    heat_w: float
    energy_wh_per_hour: float
    cost_per_hour: float | None
    currency: str
    cautions: tuple[str, ...]
    cites: tuple[str, ...]
    findings: tuple[Finding, ...] = ()
    extra_a: float = 0.0  # in every current above
    extra_loads: tuple[tuple[str, float], ...] = ()  # what it is made of: name, A
    driven: bool = True  # False: no plan's bytes, so planned means every channel full, typical
    # Capped, but the planned bytes as they are keep supply, fuses and voltages.
    plan_fits: bool = False
    planned_high_a: float = 0.0  # planned bytes with the part's largest currents
    regulation_v: float | None = None  # below it colours shift; None: the part gives none
    floor_v: float = 0.0  # lowest LED voltage the wiring was designed to
    led_a: NDArray[np.float64] | None = None  # (leds,) as in led_v
    wire: str = ""  # of feeds and jumpers
    rail_ohm_per_m: float = 0.0  # both rails in series, 20 °C
    cuts: tuple[int, ...] = ()  # plus rail cut before these LEDs, one supply each side
    supply_owned: bool = False
    class2: str = ""
    open_feeds: tuple[OpenFeed, ...] = ()
    planned_w: float = 0.0  # DC, mean over the hue cycle
    worst_w: float = 0.0  # DC, as the cap allows
    wall_w: float = 0.0  # mains, as planned
    efficiency: float = 0.0
    notes: tuple[str, ...] = ()  # the arithmetic, one sentence each
    data_line: DataLine | None = None
    alternatives: tuple[Alternative, ...] = ()
    # Of the closed box as planned, rough; None where its size is not known.
    box_rise_k: float | None = None
    kwh_per_month: float | None = None  # all cabinets, at the hours stated
    cost_per_month: float | None = None
    cabinets: int = 1
    parts: tuple[PartsRow, ...] = ()  # LEDs and what their wiring takes, for one cabinet
    parts_cost: float | None = None  # of the rows with a price; None without prices
    # (zone, A) of its LEDs as planned, drivers included, a hue cycle at its mean; zone -1: the dark LEDs.
    zones_planned_a: tuple[tuple[int, float], ...] = ()
