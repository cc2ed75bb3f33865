"""What travels through the house: one frozen value per stage, left to right.

    Artwork → ZoneMap → Box → Chain → Transfer → Drive → Light → Power → Plan (plan.py)

Lengths mm, areas mm², currents A, voltages V, luminous intensity cd, illuminance lx, luminance cd/m²,
colour differences CIEDE2000. Face coordinates: origin top-left of the face seen from the front, x right,
y down. Arrays are C-ordered, indexed [y, x], and read-only once inside a value.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from marquee.errors import Finding
from marquee.values_box import BBox as BBox  # noqa: PLC0414 -- handed on
from marquee.values_box import Box as Box  # noqa: PLC0414 -- handed on
from marquee.values_box import Cell as Cell  # noqa: PLC0414 -- handed on
from marquee.values_box import Gap as Gap  # noqa: PLC0414 -- handed on
from marquee.values_box import Path_mm as Path_mm  # noqa: PLC0414 -- handed on
from marquee.values_box import Point as Point  # noqa: PLC0414 -- handed on
from marquee.values_box import Wall as Wall  # noqa: PLC0414 -- handed on
from marquee.values_part import Calibrated as Calibrated  # noqa: PLC0414 -- handed on
from marquee.values_part import Emission as Emission  # noqa: PLC0414 -- handed on
from marquee.values_part import Figure as Figure  # noqa: PLC0414 -- handed on
from marquee.values_part import Part as Part  # noqa: PLC0414 -- handed on
from marquee.values_pixels import OnDemand, as_given
from marquee.values_power import Alternative as Alternative  # noqa: PLC0414 -- handed on
from marquee.values_power import DataLine as DataLine  # noqa: PLC0414 -- handed on
from marquee.values_power import Feed as Feed  # noqa: PLC0414 -- handed on
from marquee.values_power import OpenFeed as OpenFeed  # noqa: PLC0414 -- handed on
from marquee.values_power import PartsRow as PartsRow  # noqa: PLC0414 -- handed on
from marquee.values_power import Power as Power  # noqa: PLC0414 -- handed on
from marquee.values_power import Supply as Supply  # noqa: PLC0414 -- handed on

Kind = Literal["solid", "mixed"]
Mode = Literal["steady", "hue-cycle"]


def read_only(array: NDArray[Any]) -> NDArray[Any]:
    """Return `array` with writing switched off, as values hold arrays."""
    array.setflags(write=False)
    return array


# --- artwork ---------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)  # no slots: fields made on demand
class Artwork:
    """Upright sRGB pixels and their size in the world.

    `srgb_8bit` is (height_px, width_px, 3) uint8, already converted from any embedded profile and turned
    by EXIF orientation; `alpha_8bit` is (height_px, width_px) uint8 or None where every pixel is opaque.
    `file` is the base name as given (unsafe characters kept; escape before showing), `sha256` of the
    file's bytes. The pixels may be given as the decoder left them (`Padded`).
    """

    srgb_8bit: OnDemand[np.uint8] = OnDemand()  # noqa: RUF009 -- a descriptor
    alpha_8bit: NDArray[np.uint8] | None
    mm_per_px: float
    file: str
    sha256: str
    findings: tuple[Finding, ...] = ()

    @property
    def width_px(self) -> int:
        """Width [px]."""
        return int(as_given(self, "srgb_8bit").shape[1])

    @property
    def height_px(self) -> int:
        """Height [px]."""
        return int(as_given(self, "srgb_8bit").shape[0])

    @property
    def width_mm(self) -> float:
        """Width of the face [mm]."""
        return self.width_px * self.mm_per_px

    @property
    def height_mm(self) -> float:
        """Height of the face [mm]."""
        return self.height_px * self.mm_per_px


# --- zones -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetColour:
    """A colour to be met: XYZ relative to D65 with Y = 1; the drive stage adapts it to the sign's white."""

    name: str
    srgb: str  # "#rrggbb", the nearest, for the screen only
    xyz: tuple[float, float, float]  # relative to D65, Y_white = 1
    lab_d65: tuple[float, float, float]
    origin: Literal["artwork", "palette"]
    area_mm2: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Aperture:
    """One connected lit cut-out of one flat colour (or one connected mixed area)."""

    id: int
    zone: int
    colour: int  # index into ZoneMap.colours; -1 in a mixed area
    area_mm2: float
    bbox_mm: BBox
    centroid_mm: Point


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """Apertures that share one colour and one light cell.

    `colours` are indices into ZoneMap.colours: one for a solid zone, all those present for a mixed one.
    `reason` says why a zone is mixed ("4 colours in 2 mm stripes, wall 3 mm"), else "".
    """

    id: int
    name: str
    kind: Kind
    mode: Mode
    colours: tuple[int, ...]
    apertures: tuple[int, ...]
    area_mm2: float
    bbox_mm: BBox
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjacency:
    """Two zones that are neighbours on the face and how near they come."""

    zones: tuple[int, int]
    gap_mm: float
    touching: bool  # gap below the wall's thickness


@dataclass(frozen=True, kw_only=True, eq=False)  # no slots: fields made on demand
class ZoneMap:
    """The face divided: `zone_of_px` (height_px, width_px) int16, zone id or -1 for opaque face.

    `aperture_of_px` likewise int32 with aperture ids. Every pixel is in at most one zone, and the zone of
    a pixel's aperture is the pixel's zone. `lit_8bit` uint8, where known, is how much of each pixel is cut
    away, 255 being all of it: edges finer than a pixel. Its pixels, `lit_mm_per_px` wide, may be coarser and
    reach beyond the right and lower edge.

    The maps may be given coarse (`Enlarged`); they are then made in full when first looked at.
    """

    zone_of_px: OnDemand[np.int16] = OnDemand()  # noqa: RUF009 -- a descriptor
    aperture_of_px: OnDemand[np.int32] = OnDemand()  # noqa: RUF009 -- a descriptor
    mm_per_px: float
    face_srgb: str
    colours: tuple[TargetColour, ...]
    zones: tuple[Zone, ...]
    apertures: tuple[Aperture, ...]
    adjacent: tuple[Adjacency, ...]
    findings: tuple[Finding, ...] = ()
    lit_8bit: NDArray[np.uint8] | None = None
    lit_mm_per_px: float = 0.0

    @property
    def width_mm(self) -> float:
        """Width of the face [mm]."""
        return float(as_given(self, "zone_of_px").shape[1] * self.mm_per_px)

    @property
    def height_mm(self) -> float:
        """Height of the face [mm]."""
        return float(as_given(self, "zone_of_px").shape[0] * self.mm_per_px)


# --- box -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chain:
    """LEDs in data order. `zone` holds zone ids, -1 for an LED that stays dark; same length as x_mm, y_mm.

    `row` numbers the straight runs (a jumper wire joins the last LED of one to the first of the next). Where one
    address lights several LEDs, entries are addresses at the middle of their LEDs, `pitch_mm` apart, `group_xy_mm`
    (addresses, LEDs, 2) the LEDs' own places. `cap_gain` is what a cap makes of an LED's intensity on axis.
    """

    arrangement: Literal["strip", "board"]
    pitch_mm: float
    x_mm: NDArray[np.float64]
    y_mm: NDArray[np.float64]
    zone: NDArray[np.int16]
    row: NDArray[np.int16]
    findings: tuple[Finding, ...] = ()
    group_xy_mm: NDArray[np.float64] | None = None
    half_angle_deg: float = 60.0  # with its cap
    cap_gain: float = 1.0

    @property
    def count(self) -> int:
        """Number of LEDs, dark ones included; of addresses where one lights several LEDs."""
        return len(self.x_mm)

    @property
    def places_mm(self) -> NDArray[np.float64]:
        """(count, LEDs an address, 2) where each LED lies [mm]."""
        alone = np.stack([self.x_mm, self.y_mm], axis=1)[:, None]
        return alone if self.group_xy_mm is None else self.group_xy_mm

    @property
    def led_pitch_mm(self) -> float:
        """Spacing of single LEDs [mm]."""
        return self.pitch_mm / int(self.places_mm.shape[1])


# --- light -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Transfer:
    """What the box does with light, whatever its colour: geometry only.

    `lux_per_cd` is (zones, ny, nx) float32: illuminance under the diffuser when each LED of that zone (without its
    cap) shines with 1 cd on axis and all others are dark. `zone_of_element` (ny, nx) int16 names the zone whose
    apertures fill the element (by majority), -1 behind opaque face. Element [iy, ix] is centred at
    (x_mm[ix], y_mm[iy]). `diffuser_transmittance` turns illuminance into luminance: L = E τ / π.
    `self_lux_per_cd` (zones,) is the mean over a zone's own elements of its own LEDs' light.
    """

    x_mm: NDArray[np.float64]
    y_mm: NDArray[np.float64]
    lux_per_cd: NDArray[np.float32]
    zone_of_element: NDArray[np.int16]
    diffuser_transmittance: float
    self_lux_per_cd: NDArray[np.float64]
    findings: tuple[Finding, ...] = ()
    # What remarks on evenness and bleed refer to, pitch of single LEDs; 0 where not known.
    depth_mm: float = 0.0
    pitch_mm: float = 0.0
    wall_gap_mm: float = 0.0
    notches: int = 0  # places where a strip passes under a wall


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Neighbouring codes shared out over a zone's LEDs so that their mixed light falls between codes.

    Of the zone's `of` LEDs, `raised` in each channel get one code more than `codes`: LED k (0-based along the
    chain) where (start + (k + 1)·raised) // of > (start + k·raised) // of. `mean_light` are the light fractions
    per channel on average; `delta_e_2000` and `predicted_lab_d65` are those of the mixed light.
    """

    codes: tuple[int, ...]
    raised: tuple[int, ...]
    start: tuple[int, ...]
    of: int
    delta_e_2000: float
    predicted_lab_d65: tuple[float, float, float]
    mean_light: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneDrive:
    """One zone's bytes and what they come to.

    `exact` are the unrounded light fractions per channel (0 to 1) and `codes` the bytes sent, both in the
    part's channel order. `delta_e_2000` is the rounding (and gamut) error of the model; `band_delta_e_2000`
    the spread to expect from the part's uncertainty (95 %), None where the part gives no spread.
    """

    zone: int
    target: TargetColour
    exact: tuple[float, ...]
    codes: tuple[int, ...]
    global_code: int | None
    predicted_xyz: tuple[float, float, float]  # relative to the sign's white, Y_white = 1
    predicted_lab_d65: tuple[float, float, float]
    delta_e_2000: float
    band_delta_e_2000: float | None
    in_gamut: bool
    intensity_xyz_cd: tuple[float, float, float]  # of one LED of the zone, on average, Y in cd
    # The band once the part's channel gains have been corrected by one white match.
    band_matched_delta_e_2000: float | None = None
    # Finer than `codes`, where the zone has LEDs to share codes out over.
    spread: Spread | None = None

    @property
    def shown_delta_e_2000(self) -> float:
        """Difference of what the zone shows: of the mixed light where codes are shared out, else of `codes`."""
        return self.delta_e_2000 if self.spread is None else self.spread.delta_e_2000


@dataclass(frozen=True, slots=True, kw_only=True)
class HueCycle:
    """Constant-luminance circle of hues: one row of codes per step, in channel order."""

    codes: tuple[tuple[int, ...], ...]
    xyz_cd: tuple[tuple[float, float, float], ...]
    period_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """All zones' bytes under one lightness policy. Mixed zones have no ZoneDrive; they run the cycle."""

    policy: str
    brightness: float
    white_xy: Point
    zones: tuple[ZoneDrive, ...]
    hue_cycle: HueCycle | None
    limiting_zone: int | None
    white_intensity_cd: float  # intensity of one LED at the sign's white, at this brightness
    gamma_codes: tuple[int, ...]  # 256: perceptual level → code through the part's response
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneLight:
    """Light over one zone's apertures as driven."""

    zone: int
    luminance_cd_m2: float
    min_over_mean: float
    min_over_max: float
    worst_mm: Point  # darkest element
    bleed: float  # share of the zone's light from other zones' LEDs
    bleed_from: tuple[tuple[int, float], ...]  # (zone, share), largest first
    bleed_delta_e_2000: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Light:
    """The lit face as driven.

    `luminance_xyz` is (ny, nx, 3), Y in cd/m², on the Transfer's grid: what the diffuser emits, also where
    the opaque face will hide it. `foreign_share` (ny, nx), 0 to 1, is the share of it under an aperture that comes
    from other zones' LEDs, 0 behind opaque face.
    """

    luminance_xyz: NDArray[np.float32]
    zones: tuple[ZoneLight, ...]
    findings: tuple[Finding, ...] = ()
    foreign_share: NDArray[np.float32] | None = None


# --- firmware --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class FirmwareBudget:
    """What the constants and one frame cost on the controller."""

    controller: str
    flash_bytes: int
    ram_bytes: int
    frame_ms: float
    max_frames_per_s: float
    findings: tuple[Finding, ...] = ()
