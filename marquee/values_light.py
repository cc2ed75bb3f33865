"""What a maker asks of the light: the box without walls, one changed setting, and what follows from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from marquee.values import Light, Transfer, ZoneLight

# Settings whose change the light model is asked about, as they are called in [box] and [leds].
Knob = Literal["depth", "pitch", "wall gap", "paint"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Unwalled:
    """The same LEDs and bytes in one open box: what the walls are for."""

    transfer: Transfer
    light: Light


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """Settings to try instead of the plan's; None leaves one as it is. Lengths mm, paint a row of the materials."""

    depth_mm: float | None = None
    pitch_mm: float | None = None
    wall_gap_mm: float | None = None
    paint: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A plan's light with a change made, everything after it computed again.

    `white_cd_m2` is the luminance the sign's white has at this brightness,
    `current_a` what the chain draws as planned, controller and other loads included.
    """

    depth_mm: float
    pitch_mm: float
    wall_gap_mm: float
    paint: str
    led_count: int
    current_a: float
    white_cd_m2: float
    zones: tuple[ZoneLight, ...]

    @property
    def least_even(self) -> float:
        """E_min / E_max of the least even zone."""
        return min((zone.min_over_max for zone in self.zones), default=0.0)

    @property
    def most_bleed(self) -> float:
        """Largest share of any zone's light that comes from other zones."""
        return max((zone.bleed for zone in self.zones), default=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One answer of the light model: `what` (a setting) from a value to a value, and what comes of it.

    `before` and `after` are E_min / E_max where `about` is evenness, the share of foreign light where it is
    bleed. `enough` says whether the aim is met. `zone` is None where the answer is about the whole face. `start` and
    `end` are in mm, or names of paints.
    """

    zone: int | None
    about: Literal["evenness", "bleed"]
    what: Knob
    start: float | str
    end: float | str
    before: float
    after: float
    current_change_a: float
    enough: bool
    message: str
    change: Change  # all of what was tried, which may be more than one setting


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """Trials along one setting, in rising order, and where the plan stands [mm].

    `rule_mm` is where depth equals pitch: common practice, no source.
    """

    what: Literal["depth", "pitch"]
    values_mm: tuple[float, ...]
    trials: tuple[Trial, ...]
    planned_mm: float
    rule_mm: float
