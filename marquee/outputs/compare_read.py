"""A plan.json read back, also one an older marquee wrote: what it lacks is None."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from marquee.errors import InputError

SCHEMA = 1


class _Row(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True, allow_inf_nan=False)


class ArtworkRow(_Row):
    """The picture."""

    file: str
    sha256: str
    width_px: int | None = None
    height_px: int | None = None


class Inputs(_Row):
    """What was planned from."""

    artwork: ArtworkRow
    settings: dict[str, Any] = {}


class FaceRow(_Row):
    """The face [mm]."""

    width_mm: float | None = None
    height_mm: float | None = None
    colour: str | None = None


class ColourRow(_Row):
    """A flat colour."""

    name: str
    srgb: str | None = None
    origin: str | None = None
    area_mm2: float | None = None


class Evenness(_Row):
    """Over a zone's apertures."""

    min_over_mean: float | None = None
    min_over_max: float | None = None


class SpreadRow(_Row):
    """Codes shared out over a zone's LEDs."""

    codes: tuple[int, ...] = ()
    raised: tuple[int, ...] = ()
    start: tuple[int, ...] = ()


class ZoneRow(_Row):
    """A zone with its bytes and light."""

    id: int
    name: str
    srgb: str | None = None
    kind: str | None = None
    mode: str | None = None
    apertures: int | None = None
    area_mm2: float | None = None
    bbox_mm: tuple[float, float, float, float] | None = None
    leds: tuple[int, ...] | None = None
    drive: tuple[int, ...] | None = None
    spread: SpreadRow | None = None
    delta_e_2000: float | None = None
    band_delta_e_2000: float | None = None
    in_gamut: bool | None = None
    luminance_cd_m2: float | None = None
    evenness: Evenness = Evenness()
    bleed: float | None = None
    planned_a: float | None = None


class WallRow(_Row):
    """A wall."""

    zones: tuple[int, int]
    path_mm: tuple[tuple[float, float], ...] = Field(min_length=2)
    length_mm: float


class BarriersRow(_Row):
    """All walls."""

    wall_thickness_mm: float | None = None
    wall_height_mm: float | None = None
    total_length_mm: float | None = None
    walls: tuple[WallRow, ...] = ()


class LedsRow(_Row):
    """The chain."""

    part: str | None = None
    arrangement: str | None = None
    pitch_mm: float | None = None
    count: int | None = None
    lit: int | None = None
    x_mm: tuple[float, ...] = ()
    y_mm: tuple[float, ...] = ()


class SupplyRow(_Row):
    """A supply."""

    volts: float
    amps: float
    watts: float | None = None
    count: int = 1


class FeedRow(_Row):
    """A feed."""

    at_led: int
    length_mm: float | None = None
    current_a: float | None = None
    fuse_a: float | None = None
    wire: str | None = None
    awg: int | None = None
    mm2: float | None = None

    @property
    def wire_name(self) -> str:
        """The wire's size as sold, also in plans that give its area only, or nothing."""
        if self.wire:
            return self.wire
        if self.awg is not None:
            return f"{self.awg} AWG"
        return "unknown wire" if self.mm2 is None else f"{self.mm2:g} mm²"


class PartRow(_Row):
    """A row of the shopping list."""

    item: str
    quantity: float
    unit: str = ""
    price: float | None = None
    cost: float | None = None


class PowerRow(_Row):
    """Currents, supply, feeds, money."""

    rail_v: float | None = None
    worst_case_a: float | None = None
    planned_a: float | None = None
    peak_a: float | None = None
    dark_a: float | None = None
    supply: SupplyRow | None = None
    brightness_cap: float | None = None
    feeds: tuple[FeedRow, ...] | None = None
    min_led_v: float | None = None
    heat_w: float | None = None
    energy_wh_per_hour: float | None = None
    cost_per_hour: float | None = None
    kwh_per_month: float | None = None
    cost_per_month: float | None = None
    currency: str | None = None
    parts: tuple[PartRow, ...] | None = None
    parts_cost: float | None = None


class FirmwareRow(_Row):
    """The controller's budget."""

    controller: str | None = None
    flash_bytes: int | None = None
    ram_bytes: int | None = None
    frame_ms: float | None = None


class WarningRow(_Row):
    """A warning."""

    code: str
    where: str = ""
    message: str = ""


class PlanFile(_Row):
    """A plan.json, as far as two plans are compared."""

    schema_: int = Field(alias="schema")
    marquee: str = "?"
    inputs: Inputs
    face: FaceRow = FaceRow()
    colours: tuple[ColourRow, ...] = ()
    zones: tuple[ZoneRow, ...]
    barriers: BarriersRow = BarriersRow()
    leds: LedsRow = LedsRow()
    power: PowerRow = PowerRow()
    firmware: FirmwareRow = FirmwareRow()
    warnings: tuple[WarningRow, ...] | None = None


def read_plan(place: Path) -> PlanFile:
    """Return the plan in a folder marquee wrote, or in a plan.json itself.

    Raises
    ------
    InputError
        There is none, it is no plan, or one of a schema this version does not know.
    """
    path = place / "plan.json" if place.is_dir() else place
    if not path.is_file():
        raise InputError(f"{place}", *_missing(place))
    try:
        raw = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(
            f"{path}", f"cannot be read ({error.strerror})", "check the path"
        ) from None
    except (ValueError, RecursionError):
        if path.name == "plan.json":
            told = "is damaged: it is no JSON text", "plan that sign again"
        else:
            told = "is no plan: it is no JSON text", "give the folder that 'marquee plan' wrote"
        raise InputError(f"{path}", *told) from None
    schema = raw.get("schema") if isinstance(raw, dict) else None
    if isinstance(schema, int) and schema > SCHEMA:
        raise InputError(
            f"{path}", f"was written by a newer marquee (schema {schema})", "use that one"
        )
    try:
        return PlanFile.model_validate(raw)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        at = ".".join(str(step) for step in first["loc"]) or "the whole"
        raise InputError(
            f"{path}",
            f"is not a plan ({at}: {first['msg'].lower()})",
            "give a folder or plan.json that 'marquee plan' wrote",
        ) from None


def _missing(place: Path) -> tuple[str, str]:
    mend = "give the folder that 'marquee plan' wrote"
    if place.is_dir():
        return "holds no plan.json", mend
    if place.exists():
        return "is neither a folder nor a file", mend
    return "does not exist", mend
