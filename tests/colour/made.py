"""Parts, emissions, zone maps and transfers for tests, from the reference file's own columns."""

import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from marquee.colour.drive import solve_drive
from marquee.colour.target import target_from_lab, target_from_text, target_from_xyY
from marquee.project import ColourSettings
from marquee.values import Drive, Emission, Part, TargetColour, Transfer, Zone, ZoneMap

REFERENCES: dict[str, Any] = json.loads(
    (Path(__file__).parents[1] / "data/colour/drive_references.json").read_text("utf-8")
)
PART_NAMES: list[str] = list(REFERENCES["parts"])


def response(kind: str) -> NDArray[np.float64]:
    """Return the light of each code: the two curves the reference file names."""
    n = np.arange(256.0)
    if kind == "linear":
        return n / 255
    slope = np.where(n <= 20.5, 15 + 3.9 * (n - 8), 63.75 + 8 * (n - 20.5))
    u = np.where(n <= 8, 2 * n - 1, slope)
    u[0] = 0
    return np.asarray(u / u[-1], float)


def part_of(
    columns: list[list[float]],
    *,
    channels: str = "RGB",
    curve: str = "linear",
    current: list[float] | None = None,
    **changes: Any,
) -> tuple[Part, Emission]:
    """Return a part with the given XYZ [mcd] at full drive, and what it emits."""
    fields: dict[str, Any] = {
        "name": "made-up",
        "title": "a part made up for tests",
        "channels": tuple(channels),
        "byte_order": tuple(channels),
        "protocol": "one-wire",
        "supply_v": 5.0,
        "supply_max_v": None,
        "package_mm": None,
        "leds_per_pixel": 1,
        "intensity_cd": tuple(row[1] / 1000 for row in columns),
        "intensity_spread": None,
        "dominant_nm": None,
        "dominant_range_nm": None,
        "fwhm_nm": None,
        "white_xy": None,
        "response": tuple(float(v) for v in response(curve)),
        "response_measured": True,
        "current_law": "sum",
        "channel_current_a": None if current is None else tuple(current),
        "channel_current_max_a": None,
        "dark_current_a": None,
        "min_regulation_v": None,
        "global_bits": 0,
        "bit_ns": None,
        "latch_us": None,
        "clock_hz": None,
        "logic_high_v": None,
        "half_angle_deg": None,
        "operating_c": None,
    }
    rows = tuple((row[0] / 1000, row[1] / 1000, row[2] / 1000) for row in columns)
    return Part(**(fields | changes)), Emission(observer="cie-1931-2", xyz_cd=rows)


def reference_part(name: str, **changes: Any) -> tuple[Part, Emission]:
    """Return one of the reference file's four parts."""
    row = REFERENCES["parts"][name]
    return part_of(
        row["XYZ_full_columns"],
        channels=row["channels"],
        curve=row["curve"],
        current=[float(c) for c in row["current"]],
        **changes,
    )


def reference_target(row: dict[str, Any]) -> TargetColour:
    """Return a reference target, read the way a maker would have typed it."""
    kind, value, name = row["kind"], row["value"], row["id"]
    if kind == "srgb":
        return target_from_text(value, name, "test")
    if kind == "xyY":
        return target_from_xyY(value, "D65", name, "test")
    return target_from_lab(value, "D50" if kind == "lab_d50" else "D65", name, "test")


def targets_of(texts: list[str]) -> list[TargetColour]:
    """Return targets of CSS colours, each named by its text."""
    return [target_from_text(text, text, "test") for text in texts]


def zone_map_of(targets: list[TargetColour], cycling: tuple[int, ...] = ()) -> ZoneMap:
    """Return a face of one zone per target, side by side, 1 mm a pixel; those in `cycling` run the hue cycle."""
    zones = tuple(
        Zone(
            id=i,
            name=f"zone-{i}",
            kind="mixed" if i in cycling else "solid",
            mode="hue-cycle" if i in cycling else "steady",
            colours=(i,),
            apertures=(i,),
            area_mm2=1.0,
            bbox_mm=(float(i), 0.0, i + 1.0, 1.0),
        )
        for i in range(len(targets))
    )
    ids = np.arange(len(targets))[None]
    return ZoneMap(
        zone_of_px=ids.astype(np.int16),
        aperture_of_px=ids.astype(np.int32),
        mm_per_px=1.0,
        face_srgb="#000000",
        colours=tuple(targets),
        zones=zones,
        apertures=(),
        adjacent=(),
    )


def transfer_of(lux_per_cd: list[float]) -> Transfer:
    """Return a box whose zones get so much light from a candela of their own LEDs, and none of others'."""
    gains = np.array(lux_per_cd)
    return Transfer(
        x_mm=np.arange(0.5, len(gains)),
        y_mm=np.array([0.5]),
        lux_per_cd=np.diag(gains)[:, None, :].astype(np.float32),
        zone_of_element=np.arange(len(gains), dtype=np.int16)[None],
        diffuser_transmittance=0.5,
        self_lux_per_cd=gains,
    )


PALETTE = ["#ffffff", "#d6402b", "#1f7a8c", "#f2b705", "#6a4c93", "#2e7d32"]
SHEET = {"dominant_nm": (622.0, 523.0, 466.0), "fwhm_nm": (20.0, 35.0, 25.0)}


def part_with_sheet(**changes: Any) -> Part:
    """Return the linear RGB part as a data sheet would state it, so that its emission can be computed."""
    return reference_part("rgb_linear", **(SHEET | changes))[0]


def drive_of(texts: list[str], gains: list[float] | None = None, **options: object) -> Drive:
    """Return the drive of zones of these colours on that part, in cells of these gains."""
    targets = targets_of(texts)
    return solve_drive(
        zone_map_of(targets),
        part_with_sheet(),
        transfer_of(gains or [100.0] * len(texts)),
        ColourSettings.model_validate(options),
    )
