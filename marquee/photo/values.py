"""What travels from photographs to their verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from marquee.errors import Finding

Array = NDArray[np.float64]
Singles = NDArray[np.float32]
StateKind = Literal["planned", "black", "red", "green", "blue", "white", "ramp", "zone"]
# The states that light every zone alike.
ALIKE: tuple[StateKind, ...] = ("white", "red", "green", "blue")


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class State:
    """What the sign showed: as planned, all LEDs alike, all at a code (ramp), or one zone alone as planned."""

    kind: StateKind
    number: int = 0  # a ramp's code, or a zone's number

    @property
    def text(self) -> str:
        """The state as files and options name it."""
        return f"{self.kind}-{self.number}" if self.kind in {"ramp", "zone"} else self.kind


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shot:
    """A photograph as read: pixels (h, w, 3), 0 to 1, coded or, from a raw file, in proportion to light.

    `exposure` is time × sensitivity / f-number² where the file states it; `sha256` of the file's bytes.
    """

    file: str
    state: State
    pixels: NDArray[Any]  # uint8 or uint16
    linear: bool
    exposure: float | None
    sha256: str

    @property
    def most(self) -> int:
        """The value of a full pixel."""
        return 65535 if self.pixels.dtype == np.uint16 else 255

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height [px]."""
        return int(self.pixels.shape[1]), int(self.pixels.shape[0])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Registration:
    """Where the face lies on the photographs: `homography` takes face mm to pixels, pixel centres on whole numbers.

    `score` is the correlation of the picture expected with the one taken, 1 at best; `by_hand` where corners were
    given, `dark` the zones taken as dark to find it.
    """

    homography: Array
    score: float
    corners_px: tuple[tuple[float, float], ...]
    px_per_mm: float
    by_hand: bool = False
    dark: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """What a pixel's coded value says of light: tables (3, 256) over coded values 0 to 1, and what they rest on.

    `source` is ramps, linear or sRGB; `ramps` the codes photographed; `spread` how far the ramps' light ratios are
    off after it, as a share.
    """

    table: Array
    source: Literal["ramps", "linear", "sRGB"]
    ramps: tuple[int, ...] = ()
    spread: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sight:
    """A photograph laid on the face: linear light (ny, nx, 3) of the light model's elements, NaN where unseen.

    `burnt` is the share of each element's pixels at the top of their range.
    """

    file: str
    state: State
    light: Array
    burnt: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class PairBleed:
    """Share of `zone`'s light that comes from `source`: measured and predicted; `wall` and where it is to be looked at.

    `by` is the photograph of the source alone, or colours told apart in one of all zones.
    """

    zone: int
    source: int
    measured: float
    predicted: float
    wall: int | None
    at_mm: tuple[float, float]
    by: Literal["alone", "colour"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LedDoubt:
    """An LED whose light is missing: `leds` are those that would explain it nearly as well, likeliest first.

    `missing` is the share of its light that is gone; `state` where it was seen.
    """

    led: int
    leds: tuple[int, ...]
    zone: int
    missing: float
    state: str
    at_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ZonePhoto:
    """One zone as photographed, beside what the plan expects over the same elements.

    `light` is relative to the other zones' and to the plan, None where the zone's own colour stands in the way;
    `balance` each channel's light relative to the sign's mean, over the data sheet's, None without the states.
    """

    zone: int
    light: float | None
    min_over_mean: float
    min_over_max: float
    predicted_min_over_mean: float
    predicted_min_over_max: float
    darkest_mm: tuple[float, float]
    bleed: float | None
    predicted_bleed: float
    balance: tuple[float, ...] | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Checked:
    """All that the photographs tell; `face` (ny, nx, 3) uint8 is one of them laid on the face, `face_file` which.

    `strayed` are those of `pairs` whose light the remarks speak of.
    """

    registration: Registration
    curve: Curve
    states: tuple[str, ...]
    zones: tuple[ZonePhoto, ...]
    pairs: tuple[PairBleed, ...]
    strayed: tuple[PairBleed, ...]
    leds: tuple[LedDoubt, ...]
    signals: tuple[float, ...] | None
    face: NDArray[np.uint8]
    face_file: str
    findings: tuple[Finding, ...]
