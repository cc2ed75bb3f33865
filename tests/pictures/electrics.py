"""The part, drive and power of the synthetic plan: any figures that fit together, none is under test here."""

from __future__ import annotations

import numpy as np

from marquee.firmware import Constants, ZoneRuns
from marquee.values import Chain, Drive, Part, Power, Supply, ZoneDrive, ZoneMap


def part() -> Part:
    return Part(
        name="test-part",
        title="Test part",
        channels=("R", "G", "B"),
        byte_order=("G", "R", "B"),
        protocol="one-wire",
        supply_v=5.0,
        supply_max_v=5.3,
        package_mm=5.0,
        leds_per_pixel=1,
        intensity_cd=(0.5, 1.0, 0.25),
        intensity_spread=None,
        dominant_nm=(622.0, 522.0, 468.0),
        dominant_range_nm=None,
        fwhm_nm=(18.0, 33.0, 22.0),
        white_xy=None,
        response=tuple(i / 255 for i in range(256)),
        response_measured=False,
        current_law="sum",
        channel_current_a=(0.012, 0.012, 0.012),
        channel_current_max_a=None,
        dark_current_a=0.0006,
        min_regulation_v=None,
        global_bits=0,
        bit_ns=(400, 850, 800, 450),
        latch_us=300,
        clock_hz=None,
        logic_high_v=3.5,
        half_angle_deg=60.0,
        operating_c=None,
    )


def drive(zone_map: ZoneMap) -> Drive:
    return Drive(
        policy="keep",
        brightness=1.0,
        white_xy=(0.3127, 0.3290),
        zones=tuple(
            ZoneDrive(
                zone=i,
                target=zone_map.colours[i],
                exact=(0.5, 0.5, 0.5),
                codes=(128, 128, 128),
                global_code=None,
                predicted_xyz=(0.3, 0.3, 0.3),
                predicted_lab_d65=(60.0, 0.0, 0.0),
                delta_e_2000=0.2,
                band_delta_e_2000=3.0,
                in_gamut=True,
                intensity_xyz_cd=(0.5, 0.5, 0.5),
            )
            for i in range(3)
        ),
        hue_cycle=None,
        limiting_zone=0,
        white_intensity_cd=1.0,
        gamma_codes=tuple(range(256)),
    )


def power(leds: int) -> Power:
    return Power(
        rail_v=5.0,
        worst_case_a=4.0,
        planned_a=2.0,
        peak_a=2.5,
        dark_a=0.1,
        supply=Supply(volts=5.0, amps=6.0, watts=30.0),
        brightness_cap=1.0,
        feeds=(),
        fuse_a=5.0,
        led_v=np.full(leds, 4.8),
        min_led_v=4.8,
        worst_led=leds - 1,
        heat_w=10.0,
        energy_wh_per_hour=12.0,
        cost_per_hour=None,
        currency="",
        cautions=(),
        cites=(),
    )


def constants(zone_map: ZoneMap, chain: Chain) -> Constants:
    return Constants(
        channels=("R", "G", "B"),
        byte_order=("G", "R", "B"),
        led_count=chain.count,
        zones=tuple(
            ZoneRuns(zone=z.id, name=z.name, mode=z.mode, runs=((0, 1),), codes=(128, 128, 128))
            for z in zone_map.zones
        ),
        gamma_codes=tuple(range(256)),
        hue_cycle=(),
        hue_step_ms=100,
        brightness_cap_255=255,
        current_limit_ma=6000,
        worst_case_ma=4000,
        planned_ma=2000,
        dark_ua=100,
    )
