"""What an LED part's file says and what its channels emit; `marquee.values` hands it on with the rest."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

# Side of a 5050 package, which most strip has (from memory) [mm].
USUAL_PACKAGE_MM = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A published figure as it stands in a part's file."""

    value: Any
    unit: str
    status: str  # data sheet | measured | computed | from memory | common practice, no source
    source: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibrated:
    """What a bench calibration made of a part's figures; tuples run over the part's channels.

    `log_gain` is the natural logarithm of a channel's intensity over the part's, `peak_shift_nm` how far its
    peak lies from the data sheet's, `log_exponent` the logarithm of the power its response is raised to.
    `covariance` is the posterior's, over those three in that order, (3n, 3n), empty where only currents were
    measured. `meter_xyz` are factors on X, Y, Z
    that bring the model's CIE 1931 emission to a colorimeter's readings; None where only eyes judged.
    """

    name: str  # the cabinet or reel it was measured on
    file: str  # base name of the calibration's file, "" where there is none
    summary: str  # what was measured, for people
    log_gain: tuple[float, ...]
    peak_shift_nm: tuple[float, ...]
    log_exponent: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    meter_xyz: tuple[tuple[float, float, float], ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """An addressable LED package as its file describes it; None means no figure was found.

    Tuples run over `channels` in emission order (R, G, B and then W where there is one); `byte_order` is
    the order on the wire. `response` maps code 0…255 to relative light 0…1, strictly by the part's own
    curve. `current_law`: supply current is the sum of the channels, or that of the largest.
    """

    name: str
    title: str
    channels: tuple[str, ...]
    byte_order: tuple[str, ...]
    protocol: Literal["one-wire", "clocked"]
    supply_v: float
    supply_max_v: float | None
    package_mm: float | None
    leds_per_pixel: int
    intensity_cd: tuple[float, ...] | None
    intensity_spread: tuple[float, float] | None  # low, high factor on all intensities
    dominant_nm: tuple[float, ...] | None
    dominant_range_nm: tuple[tuple[float, float], ...] | None
    fwhm_nm: tuple[float, ...] | None
    white_xy: tuple[float, float] | None
    response: tuple[float, ...]
    response_measured: bool
    current_law: Literal["sum", "largest"]
    channel_current_a: tuple[float, ...] | None  # typical, at full drive
    channel_current_max_a: tuple[float, ...] | None  # for the worst case
    dark_current_a: float | None
    min_regulation_v: float | None  # below it colours shift
    global_bits: int  # 5 where the part has a global current setting, else 0
    bit_ns: tuple[int, int, int, int] | None  # t0h, t0l, t1h, t1l aimed at
    latch_us: int | None
    clock_hz: int | None
    logic_high_v: float | None  # VIH minimum at the nominal supply
    half_angle_deg: float | None
    operating_c: tuple[float, float] | None
    figures: dict[str, Figure] = field(default_factory=dict)  # every figure, for showing sources
    # Light of each code channel by channel where a bench told them apart; `response` is then their mean.
    channel_response: tuple[tuple[float, ...], ...] | None = None
    calibrated: Calibrated | None = None

    @property
    def global_top(self) -> int:
        """The largest global current setting; 0 where the part has none."""
        return (1 << self.global_bits) - 1

    def global_share(self, setting: int | None) -> float:
        """Return the share of full current at a global setting; 1 for None or where the part has none."""
        return setting / self.global_top if self.global_bits and setting is not None else 1.0

    @property
    def body_mm(self) -> float:
        """Side of the package [mm]; the usual one's where the part's file gives none."""
        return USUAL_PACKAGE_MM if self.package_mm is None else self.package_mm

    @property
    def responses(self) -> tuple[tuple[float, ...], ...]:
        """Relative light of each code, channel by channel."""
        return self.channel_response or (self.response,) * len(self.channels)


@dataclass(frozen=True, slots=True, kw_only=True)
class Emission:
    """What each channel of a part emits at full drive: XYZ with Y = luminous intensity [cd].

    `xyz_cd` is one (X, Y, Z) row per channel.
    """

    observer: str
    xyz_cd: tuple[tuple[float, float, float], ...]
