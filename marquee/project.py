"""What the maker states: a TOML project file or flags, validated the same way, with defaults and reasons."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal

from pydantic import Field, ValidationError, ValidationInfo, field_validator
from pydantic_core import PydanticCustomError

from marquee.errors import InputError, QuantityError
from marquee.project_base import Area as Area  # noqa: PLC0414 -- handed on
from marquee.project_base import Current as Current  # noqa: PLC0414 -- handed on
from marquee.project_base import FileName as FileName  # noqa: PLC0414 -- handed on
from marquee.project_base import Fraction as Fraction  # noqa: PLC0414 -- handed on
from marquee.project_base import Length as Length  # noqa: PLC0414 -- handed on
from marquee.project_base import LengthOrZero as LengthOrZero  # noqa: PLC0414 -- handed on
from marquee.project_base import Section as Section  # noqa: PLC0414 -- handed on
from marquee.project_cut import CutSettings as CutSettings  # noqa: PLC0414 -- handed on
from marquee.project_words import problem, refuse_other_file
from marquee.tables.maker_file import read_toml
from marquee.units import states_size


class ArtworkSettings(Section):
    """The picture and its size in the world."""

    file: FileName = Field(description="artwork file, relative to this project file")
    width_mm: Length | None = Field(
        default=None,
        alias="width",
        validate_default=True,
        description="width of the whole picture on the cabinet; an SVG with a size in mm, cm or in states its own",
    )
    max_megapixels: float = Field(
        default=100.0, gt=0, le=4000, description="larger pictures are refused before decoding"
    )

    @field_validator("width_mm")
    @classmethod
    def _width_is_known(cls, value: float | None, info: ValidationInfo) -> float | None:
        if value is None and not states_size(str(info.data.get("file", ""))):
            raise PydanticCustomError("missing", "field required")
        return value


class ZoneOverride(Section):
    """The maker's own word on apertures: which, and what becomes of them."""

    at: tuple[str, str] = Field(
        description='a point of the aperture, ["120mm", "45mm"] from top left'
    )
    name: str | None = Field(
        default=None, max_length=80, description="name of the zone it goes into"
    )
    mode: Literal["steady", "hue-cycle"] | None = Field(
        default=None, description="how the zone is lit"
    )
    colour: str | None = Field(
        default=None, description="colour to light it in, instead of the artwork's"
    )

    @field_validator("at", mode="before")
    @classmethod
    def _has_units(cls, value: object) -> object:
        if isinstance(value, list | tuple) and any(isinstance(v, int | float) for v in value):
            x, y = (*value, 0, 0)[:2]
            raise QuantityError("at", "lengths without a unit", f'write ["{x}mm", "{y}mm"]')
        return value


class ZoneSettings(Section):
    """How the artwork is divided."""

    face: str = Field(
        default="auto", description="what stays opaque: auto, alpha, or a colour such as #000000"
    )
    palette: FileName | None = Field(
        default=None, description="palette file with the exact brand colours"
    )
    min_area_mm2: Area = Field(
        default=1.0,
        alias="min_area",
        ge=0,
        description="smaller specks are left opaque (common practice, no source: a laser cannot keep them)",
    )
    merge_delta_e: float = Field(
        default=5.0,
        ge=0,
        le=50,
        description="colours nearer than this (CIEDE2000) are one; 5 may merge, 10 may not",
    )
    override: tuple[ZoneOverride, ...] = Field(
        default=(), description="your word on single apertures"
    )


class BoxSettings(Section):
    """The box behind the face."""

    depth_mm: Length = Field(default=40.0, alias="depth", description="LED plane to diffuser")
    wall_thickness_mm: Length = Field(
        default=3.0, alias="wall_thickness", description="barrier sheet"
    )
    wall_gap_mm: LengthOrZero = Field(
        default=0.0, alias="wall_gap", description="between the walls' tops and the diffuser"
    )
    clearance_mm: LengthOrZero = Field(
        default=1.0,
        alias="clearance",
        description="walls keep this far from apertures where there is room",
    )
    paint: str = Field(
        default="matt-white-paint", description="surface inside, a row of the materials"
    )
    diffuser: str = Field(
        default="opal-pmma-3mm", description="diffuser sheet, a row of the materials"
    )
    transmittance: Fraction | None = Field(
        default=None, description="your diffuser's, if measured"
    )
    reflectance: Fraction | None = Field(default=None, description="your paint's, if measured")


class LedSettings(Section):
    """The LEDs and how they lie."""

    part: str = Field(
        default="ws2812b", description="a packaged part (marquee parts) or a part file"
    )
    pitch_mm: Length = Field(
        default=1000 / 60, alias="pitch", description="LED spacing; 60 per metre"
    )
    arrangement: Literal["strip", "board"] = Field(
        default="strip", description="rows of strip, or free places on a board of your own"
    )
    singles: Literal["auto", "never"] = Field(
        default="auto", description="LEDs cut off one by one where rows leave narrow cells dark"
    )
    half_angle_deg: float | None = Field(
        default=None,
        ge=10,
        le=85,
        description="of the light that leaves a lens or cap over each LED: off its axis by this many degrees the "
        "intensity is half (half of a sheet's viewing angle); left out, the part's own",
    )


class ColourSettings(Section):
    """How colours are met."""

    white: str = Field(
        default="D65", description="the sign's white: D65, D50, a temperature 5000K, or x,y"
    )
    policy: Literal["keep", "fill", "blend"] = Field(
        default="keep",
        description="keep mutual lightness, fill each zone to the limit, or between",
    )
    blend: Fraction = Field(
        default=0.4, description="share of fill in blend (a taste setting, no source)"
    )
    brightness: Fraction = Field(default=1.0, description="of what the LEDs can give, such as 30%")
    adaptation: Literal["bradford", "cat16"] = Field(
        default="bradford", description="chromatic adaptation"
    )
    observer: Literal["cie-1931-2", "cie-2015-2", "cie-2015-10"] = Field(
        default="cie-1931-2", description="standard observer"
    )
    out_of_gamut: Literal["hue", "nearest"] = Field(
        default="hue", description="keep the hue and give chroma, or least CIEDE2000"
    )
    calibration: FileName | None = Field(
        default=None,
        description="what a bench told about these LEDs: the file 'marquee bench fit' writes",
    )
    global_current: Literal["zone", "full"] = Field(
        default="zone",
        description="on parts with a global setting: the best for each zone, or always the full one",
    )
    current_saving_delta_e: float = Field(
        default=0.009,
        ge=0,
        le=5,
        description="codes may land this much further off (CIEDE2000) where that lowers the current of a part "
        "with a white channel; 0.25 cannot be seen and saves about a tenth (computed, 24 colours)",
    )
    brightness_tolerance: float = Field(
        default=0.0,
        ge=0,
        le=0.25,
        description="brightness may move by this share to where all zones' codes land best, such as 0.05",
    )
    luminance_cd_m2: float | None = Field(
        default=None,
        gt=0,
        le=100_000,
        description="luminance of the sign's white, instead of brightness, if you know what you need",
    )
    spread: bool = Field(
        default=True, description="share neighbouring codes out over a zone's LEDs"
    )
    cycle_steps: int = Field(
        default=64, ge=12, le=256, description="length of the hue cycle's table"
    )
    cycle_period_s: float = Field(
        default=12.0, gt=0, le=3600, description="seconds for one turn of the hue cycle"
    )


class PowerSettings(Section):
    """Supply, wire and running cost."""

    supply: str | None = Field(default=None, description='a supply you own, such as "5V/4A"')
    feed_length_mm: Length = Field(
        default=1000.0, alias="feed_length", description="wire from supply to chain"
    )
    wire: Literal["awg", "metric"] = Field(default="awg", description="which sizes to choose from")
    conductor_c: float = Field(default=45.0, ge=-40, le=90, description="copper temperature, °C")
    rail_ohm_per_m: float | None = Field(
        default=None, gt=0, le=10, description="strip copper, both rails in series, if measured"
    )
    extra_load_a: Current = Field(
        default=0.1, description="controller and shifter on the same supply"
    )
    extra_loads: dict[str, Current] = Field(
        default={},
        max_length=20,
        description='what else hangs on the same supply, by name; for example {"shelf lamps" = "0.5A"}',
    )
    efficiency: Fraction | None = Field(default=None, description="of the supply, if known")
    feeds: str = Field(
        default="auto",
        max_length=400,
        description='where wires join the chain: auto, or places such as "start,middle,end" or "start,after 90"',
    )
    feed_lengths_mm: tuple[Length, ...] = Field(
        default=(),
        alias="feed_lengths",
        description="one wire length per feed in chain order, instead of feed_length",
    )
    wire_size: str | None = Field(
        default=None, max_length=20, description='a wire you own, such as "18AWG" or "1.5mm2"'
    )
    margin_v: float = Field(
        default=0.2,
        ge=0,
        le=5,
        description="kept above the part's regulation voltage (common practice, no source: strip copper is known to a factor of 2)",
    )
    tariff_per_kwh: float | None = Field(default=None, ge=0, le=100, description="price of a kWh")
    currency: str = Field(default="", max_length=8, description="shown beside the running cost")
    prices: dict[str, float] = Field(
        default={},
        description="what you pay for one, by the keys supply, fuse, holder, wire_m, data_wire_m, capacitor, "
        'resistor, buffer, strip_m, led, sheet; for example {supply=20, "supply 5V/26A"=35, wire_m=0.8}',
    )
    hours_per_day: float | None = Field(
        default=None, gt=0, le=24, description="the sign is lit, for kWh and cost a month"
    )
    cabinets: int = Field(
        default=1, ge=1, le=1000, description="how many of them, for kWh and cost a month"
    )
    measured_w: float | None = Field(
        default=None,
        gt=0,
        le=10_000,
        description="what a plug-in meter shows for one cabinet as planned, compared with the estimate",
    )


class FirmwareSettings(Section):
    """The controller board and the constants' names."""

    controller: str = Field(default="atmega328p", description="a row of the controllers table")
    prefix: str = Field(
        default="MARQUEE",
        pattern=r"^[A-Z][A-Z0-9]*(_[A-Z0-9]+)*$",
        max_length=20,
        description="first word of every constant",
    )


class Project(Section):
    """Everything the maker states about one marquee."""

    artwork: ArtworkSettings
    zones: ZoneSettings = ZoneSettings()
    box: BoxSettings = BoxSettings()
    leds: LedSettings = LedSettings()
    cut: CutSettings = CutSettings()
    colour: ColourSettings = ColourSettings()
    power: PowerSettings = PowerSettings()
    firmware: FirmwareSettings = FirmwareSettings()


def make_project(raw: dict[str, Any], where: str) -> Project:
    """Return the validated project from nested tables as a TOML file or the flags give them.

    Raises
    ------
    InputError
        An unknown key (with the nearest valid one), a missing key, or a value out of range; all
        problems of one pass are joined into one line.
    """
    try:
        return Project.model_validate(raw)
    except ValidationError as error:
        problems = [problem(e, Project) for e in error.errors(include_url=False)]
        raise InputError(where, " and ".join(p[0] for p in problems), problems[0][1]) from None


def read_project(path: Path, flags: dict[str, Any] | None = None) -> Project:
    """Return the project in a TOML file, `flags` (nested the same way) taking precedence.

    File names in the project are taken beside the project file, those of flags beside the working folder.

    Raises
    ------
    InputError
        The file cannot be read, is not TOML, or does not validate.
    """
    raw = read_toml(path, "project file")
    refuse_other_file(raw, f"{path}")
    return make_project(merge(_beside(raw, path.parent), flags or {}), f"{path}")


# Settings that name a file, which is looked for beside the project file.
FILE_KEYS = (
    ("artwork", "file"),
    ("zones", "palette"),
    ("leds", "part"),
    ("colour", "calibration"),
)


def _beside(raw: dict[str, Any], folder: Path) -> dict[str, Any]:
    placed = {k: dict(v) if isinstance(v, dict) else v for k, v in raw.items()}
    for section, key in FILE_KEYS:
        table = placed.get(section)
        name = table.get(key) if isinstance(table, dict) else None
        if isinstance(table, dict) and isinstance(name, str):
            is_file = section != "leds" or name.endswith(".toml")
            table[key] = str(folder / name) if is_file else name
    return placed


def merge(base: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    """Return nested tables with those of `over` laid on `base`."""
    merged = dict(base)
    for key, value in over.items():
        below = merged.get(key)
        merged[key] = (
            merge(below, value) if isinstance(below, dict) and isinstance(value, dict) else value
        )
    return merged
