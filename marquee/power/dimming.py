"""How bright the sign is against what the room wants, and the current a lower brightness saves."""

from __future__ import annotations

from dataclasses import dataclass

from marquee.colour.luminance import white_cd_m2_per_cd
from marquee.errors import Finding
from marquee.power.load import find_load
from marquee.project import ColourSettings
from marquee.tables.load import load_table
from marquee.values import Chain, Drive, Part, Transfer, ZoneMap

# Below this share codes are too few to be worth proposing: a WS2812-like part has 255 of them.
_LEAST_BRIGHTNESS = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """How bright white should be by the light of a room [cd/m²]."""

    name: str
    title: str
    low_cd_m2: float
    high_cd_m2: float
    status: str
    source: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Driven:
    """A sign as driven and what its bytes follow from."""

    zone_map: ZoneMap
    chain: Chain
    part: Part
    transfer: Transfer
    settings: ColourSettings
    drive: Drive


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimmed:
    """The plan at another brightness: what it draws as planned [A], and the largest CIEDE2000 its zones show."""

    white_cd_m2: float
    brightness: float
    current_a: float
    saved_a: float
    largest_delta_e_2000: float


def rooms() -> tuple[Room, ...]:
    """Return the table of comfortable luminance by room light, darkest room first."""
    return tuple(Room(**row) for row in load_table("brightness.toml")["room"])


def white_cd_m2(transfer: Transfer, drive: Drive) -> float:
    """Return the luminance of the sign's white [cd/m²], as `luminance_cd_m2` asks for it."""
    per_cd = white_cd_m2_per_cd(transfer, (zone.zone for zone in drive.zones))
    return drive.white_intensity_cd * per_cd


def dim_to(target_cd_m2: float, sign: Driven) -> Dimmed | None:
    """Return the sign with its white dimmed to a luminance [cd/m²]; None where it does not reach that.

    Bytes and currents are solved again at that brightness, not scaled.
    """
    from marquee.colour.drive import solve_drive

    now = white_cd_m2(sign.transfer, sign.drive)
    if now <= target_cd_m2:
        return None
    brightness = max(sign.drive.brightness * target_cd_m2 / now, _LEAST_BRIGHTNESS)
    settings = sign.settings.model_copy(update={"brightness": brightness, "luminance_cd_m2": None})
    dimmed = solve_drive(sign.zone_map, sign.part, sign.transfer, settings, sign.chain)
    before_a = find_load(sign.chain, sign.part, sign.drive, 0.0).planned_total_a
    after_a = find_load(sign.chain, sign.part, dimmed, 0.0).planned_total_a
    return Dimmed(
        white_cd_m2=white_cd_m2(sign.transfer, dimmed),
        brightness=dimmed.brightness,
        current_a=after_a,
        saved_a=before_a - after_a,
        largest_delta_e_2000=max((zone.shown_delta_e_2000 for zone in dimmed.zones), default=0.0),
    )


def brightness_findings(sign: Driven) -> tuple[Finding, ...]:
    """Return a remark where white is far above what a lit room wants and no luminance was asked for."""
    if sign.settings.luminance_cd_m2 is not None:
        return ()
    lit = next(room for room in rooms() if room.name == "lit")
    far_above = float(load_table("brightness.toml")["far_above"]["value"])
    now = white_cd_m2(sign.transfer, sign.drive)
    if now <= far_above * lit.high_cd_m2:
        return ()
    dimmed = dim_to(lit.high_cd_m2, sign)
    if dimmed is None:
        return ()
    message = (
        f"a white zone would be {now:.0f} cd/m², a lit room wants {lit.low_cd_m2:g} to {lit.high_cd_m2:g} "
        f"(monitor figures: judgement for signs); --brightness {100 * dimmed.brightness:.2g}% "
        f"(or --luminance {lit.high_cd_m2:g}) would do and save {dimmed.saved_a:.2f} A as planned; "
        f"its colours then err by at most {dimmed.largest_delta_e_2000:.1f} (CIEDE2000)"
    )
    return (Finding(code="light.too-bright", where="brightness", message=message),)
