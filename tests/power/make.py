"""Parts, chains and drives to test power with: round figures, no real part."""

from __future__ import annotations

from typing import Any

import numpy as np

from marquee.values import Chain, Drive, HueCycle, Part, TargetColour, ZoneDrive

LINEAR = tuple(code / 255 for code in range(256))


def make_part(**changes: Any) -> Part:
    fields: dict[str, Any] = {
        "name": "test-rgb",
        "title": "5 V test part",
        "channels": ("R", "G", "B"),
        "byte_order": ("G", "R", "B"),
        "protocol": "one-wire",
        "supply_v": 5.0,
        "supply_max_v": 5.3,
        "package_mm": 5.0,
        "leds_per_pixel": 1,
        "intensity_cd": (0.4, 0.7, 0.2),
        "intensity_spread": None,
        "dominant_nm": None,
        "dominant_range_nm": None,
        "fwhm_nm": None,
        "white_xy": None,
        "response": LINEAR,
        "response_measured": False,
        "current_law": "sum",
        "channel_current_a": (0.012, 0.012, 0.012),
        "channel_current_max_a": (0.020, 0.020, 0.020),
        "dark_current_a": 0.001,
        "min_regulation_v": 3.5,
        "global_bits": 0,
        "bit_ns": None,
        "latch_us": None,
        "clock_hz": None,
        "logic_high_v": 3.5,
        "half_angle_deg": 60.0,
        "operating_c": None,
    }
    return Part(**(fields | changes))


def make_chain(
    count: int, *, pitch_mm: float = 1000 / 60, rows: int = 1, zones: int = 1, board: bool = False
) -> Chain:
    """Rows of equal length, laid to and fro, 20 mm apart."""
    each = -(-count // rows)
    index = np.arange(count)
    row = (index // each).astype(np.int16)
    along = index % each
    along = np.where(row % 2 == 0, along, each - 1 - along)
    return Chain(
        arrangement="board" if board else "strip",
        pitch_mm=pitch_mm,
        x_mm=np.asarray(along * pitch_mm, dtype=np.float64),
        y_mm=np.asarray(row * 20.0, dtype=np.float64),
        zone=(index * zones // max(count, 1)).astype(np.int16),
        row=row,
    )


def zone_drive(zone: int, codes: tuple[int, ...], global_code: int | None = None) -> ZoneDrive:
    target = TargetColour(
        name=f"c{zone}", srgb="#ffffff", xyz=(1, 1, 1), lab_d65=(100, 0, 0), origin="artwork"
    )
    return ZoneDrive(
        zone=zone,
        target=target,
        exact=tuple(c / 255 for c in codes),
        codes=codes,
        global_code=global_code,
        predicted_xyz=(1, 1, 1),
        predicted_lab_d65=(100, 0, 0),
        delta_e_2000=0.0,
        band_delta_e_2000=None,
        in_gamut=True,
        intensity_xyz_cd=(1, 1, 1),
    )


def make_drive(
    zones: tuple[ZoneDrive, ...], cycle: tuple[tuple[int, ...], ...] | None = None
) -> Drive:
    hue = (
        None
        if cycle is None
        else HueCycle(codes=cycle, xyz_cd=tuple((1.0, 1.0, 1.0) for _ in cycle), period_s=12.0)
    )
    return Drive(
        policy="keep",
        brightness=1.0,
        white_xy=(0.3127, 0.329),
        zones=zones,
        hue_cycle=hue,
        limiting_zone=None,
        white_intensity_cd=1.0,
        gamma_codes=tuple(range(256)),
    )
