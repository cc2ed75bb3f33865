"""Finished plans made by hand, without running the stages: what the firmware outputs read, and no more."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from marquee.firmware import choose_constants, estimate_budget
from marquee.plan import Plan
from marquee.project import ArtworkSettings, FirmwareSettings, Project
from marquee.values import (
    Artwork,
    Box,
    Chain,
    Drive,
    HueCycle,
    Light,
    Part,
    Power,
    Spread,
    Supply,
    TargetColour,
    Transfer,
    Zone,
    ZoneDrive,
    ZoneMap,
)

SHA256 = "0123456789abcdef" * 4


@dataclass(frozen=True, kw_only=True)
class Sign:
    """What a made-up sign has; the defaults are five zones on 60 LEDs, one of them a hue cycle."""

    zone_of_led: tuple[int, ...] = (
        *(0,) * 10, -1, *(1,) * 14, *(0,) * 5, *(2,) * 9, -1, -1, *(3,) * 7, *(4,) * 8, 2, 2, 2
    )  # fmt: skip
    names: tuple[str, ...] = ("Emblem red", "Emblem gold", "Word mark", "Band", "Star")
    cycling: tuple[int, ...] = (3,)
    codes: tuple[tuple[int, ...], ...] = (
        (214, 9, 3),
        (255, 120, 0),
        (180, 172, 255),
        (),
        (0, 1, 97),
    )
    global_codes: tuple[int | None, ...] = (None,) * 5
    hues: int = 48
    period_s: float = 12.0
    channels: tuple[str, ...] = ("R", "G", "B")
    byte_order: tuple[str, ...] = ("G", "R", "B")
    protocol: str = "one-wire"
    global_bits: int = 0
    current_law: str = "sum"
    channel_a: tuple[float, ...] = (0.012, 0.012, 0.012)
    dark_led_a: float = 0.0006
    extra_a: float = 0.1
    cap: float = 1.0
    plan_fits: bool = False
    bit_ns: tuple[int, int, int, int] | None = (320, 930, 725, 525)
    latch_us: int | None = 280
    controller: str = "atmega328p"
    prefix: str = "MARQUEE"
    file: str = "lantern hall.png"
    gamma: tuple[int, ...] = field(
        default_factory=lambda: tuple(round(255 * (i / 255) ** 2.2) for i in range(256))
    )
    response: tuple[float, ...] = field(default_factory=lambda: tuple(i / 255 for i in range(256)))
    response_measured: bool = False
    spread: bool = False  # share codes out over each steady zone's LEDs, by shares made up here


def clocked(**changes: object) -> Sign:
    """Return a sign of clocked LEDs with a 5-bit global setting."""
    base: dict[str, object] = {
        "protocol": "clocked",
        "global_bits": 5,
        "byte_order": ("B", "G", "R"),
        "bit_ns": None,
        "latch_us": None,
        "global_codes": (31, 16, 31, None, 4),
    }
    return Sign(**(base | changes))  # type: ignore[arg-type]


def four_channels(**changes: object) -> Sign:
    """Return a sign of one-wire LEDs with a white die."""
    base: dict[str, object] = {
        "channels": ("R", "G", "B", "W"),
        "byte_order": ("G", "R", "B", "W"),
        "channel_a": (0.008, 0.008, 0.008, 0.0161),
        "codes": ((214, 9, 3, 0), (255, 120, 0, 12), (18, 17, 25, 255), (), (0, 1, 97, 3)),
    }
    return Sign(**(base | changes))  # type: ignore[arg-type]


def make_part(sign: Sign) -> Part:
    n = len(sign.channels)
    return Part(
        name="test-part", title="Made-up part", channels=sign.channels, byte_order=sign.byte_order,
        protocol="clocked" if sign.protocol == "clocked" else "one-wire", supply_v=5.0, supply_max_v=5.3,
        package_mm=5.0, leds_per_pixel=1, intensity_cd=(0.4, 0.7, 0.2, 1.0)[:n], intensity_spread=None,
        dominant_nm=None, dominant_range_nm=None, fwhm_nm=None, white_xy=None, response=sign.response,
        response_measured=sign.response_measured,
        current_law="largest" if sign.current_law == "largest" else "sum",
        channel_current_a=sign.channel_a, channel_current_max_a=sign.channel_a,
        dark_current_a=sign.dark_led_a, min_regulation_v=3.7, global_bits=sign.global_bits,
        bit_ns=sign.bit_ns, latch_us=sign.latch_us, clock_hz=None, logic_high_v=None,
        half_angle_deg=None, operating_c=None,
    )  # fmt: skip


def make_zone_map(sign: Sign) -> ZoneMap:
    zones = tuple(
        Zone(
            id=i, name=name, kind="mixed" if i in sign.cycling else "solid",
            mode="hue-cycle" if i in sign.cycling else "steady",
            colours=(0,), apertures=(), area_mm2=100.0, bbox_mm=(0.0, 0.0, 10.0, 10.0),
        )
        for i, name in enumerate(sign.names)
    )  # fmt: skip
    return ZoneMap(
        zone_of_px=np.full((2, 2), -1, np.int16), aperture_of_px=np.full((2, 2), -1, np.int32),
        mm_per_px=1.0, face_srgb="#000000", colours=(_colour(),), zones=zones, apertures=(), adjacent=(),
    )  # fmt: skip


def _colour() -> TargetColour:
    return TargetColour(
        name="red",
        srgb="#ff0000",
        xyz=(0.4, 0.2, 0.0),
        lab_d65=(53.0, 80.0, 67.0),
        origin="artwork",
    )


def make_spread(sign: Sign, zone: int) -> Spread | None:
    of = sign.zone_of_led.count(zone)
    if not sign.spread or of < 2 or zone in sign.cycling:
        return None
    codes, n = sign.codes[zone], len(sign.channels)
    shares = [0 if codes[c] == 255 else (83 * zone + 57 * c + 31) % 256 for c in range(n)]
    return Spread(
        codes=codes, raised=tuple(of * share // 256 for share in shares),
        start=tuple(5 * c % of for c in range(n)), of=of, delta_e_2000=0.1,
        predicted_lab_d65=(53.0, 80.0, 67.0), mean_light=(0.5,) * n,
    )  # fmt: skip


def make_drive(sign: Sign) -> Drive:
    steady = tuple(
        ZoneDrive(
            zone=i, target=_colour(), exact=tuple(c / 255 for c in codes), codes=codes,
            global_code=sign.global_codes[i % len(sign.global_codes)], predicted_xyz=(0.4, 0.2, 0.0),
            predicted_lab_d65=(53.0, 80.0, 67.0), delta_e_2000=0.1, band_delta_e_2000=None,
            in_gamut=True, intensity_xyz_cd=(0.1, 0.1, 0.1), spread=make_spread(sign, i),
        )
        for i, codes in enumerate(sign.codes)
        if i not in sign.cycling
    )  # fmt: skip
    n = len(sign.channels)
    rows = tuple(tuple((37 * i + 91 * c + 5) % 256 for c in range(n)) for i in range(sign.hues))
    cycle = HueCycle(codes=rows, xyz_cd=((0.1, 0.1, 0.1),) * sign.hues, period_s=sign.period_s)
    return Drive(
        policy="keep", brightness=1.0, white_xy=(0.3127, 0.3290), zones=steady,
        hue_cycle=cycle if sign.cycling else None, limiting_zone=None, white_intensity_cd=1.0,
        gamma_codes=sign.gamma,
    )  # fmt: skip


def make_power(sign: Sign) -> Power:
    count = len(sign.zone_of_led)
    full = max(sign.channel_a) if sign.current_law == "largest" else sum(sign.channel_a)
    dark = count * sign.dark_led_a + sign.extra_a
    return Power(
        rail_v=5.0, worst_case_a=dark + count * full, planned_a=dark + 0.4 * count * full,
        peak_a=dark + 0.5 * count * full, dark_a=dark, supply=Supply(volts=5, amps=5, watts=25),
        brightness_cap=sign.cap, plan_fits=sign.plan_fits, feeds=(), fuse_a=5.0, led_v=np.full(count, 4.8), min_led_v=4.8,
        worst_led=0, heat_w=1.0, energy_wh_per_hour=1.0, cost_per_hour=None, currency="", cautions=(),
        cites=(),
    )  # fmt: skip


def make_chain(sign: Sign) -> Chain:
    count = len(sign.zone_of_led)
    return Chain(
        arrangement="strip", pitch_mm=16.7, x_mm=16.7 * np.arange(count, dtype=np.float64), y_mm=np.zeros(count),
        zone=np.array(sign.zone_of_led, np.int16), row=np.zeros(count, np.int16),
    )  # fmt: skip


def make_plan(sign: Sign | None = None) -> Plan:
    """Return a plan whose constants and budget come from the real stage, the rest from `sign`."""
    sign = sign or Sign()
    part, zone_map, chain = make_part(sign), make_zone_map(sign), make_chain(sign)
    drive, power = make_drive(sign), make_power(sign)
    settings = FirmwareSettings(controller=sign.controller, prefix=sign.prefix)
    constants = choose_constants(zone_map, chain, part, drive, power)
    return Plan(
        project=Project(artwork=ArtworkSettings.model_validate({"file": "a.png", "width": "380mm"}), firmware=settings),
        artwork=Artwork(
            srgb_8bit=np.zeros((2, 2, 3), np.uint8), alpha_8bit=None, mm_per_px=1.0, file=sign.file, sha256=SHA256
        ),
        part=part, zone_map=zone_map,
        box=Box(width_mm=380, height_mm=100, depth_mm=40, wall_thickness_mm=3, wall_gap_mm=0, walls=(), cells=()),
        chain=chain,
        transfer=Transfer(
            x_mm=np.zeros(1), y_mm=np.zeros(1), lux_per_cd=np.zeros((1, 1, 1), np.float32),
            zone_of_element=np.zeros((1, 1), np.int16), diffuser_transmittance=0.5, self_lux_per_cd=np.zeros(1),
        ),
        drive=drive, light=Light(luminance_xyz=np.zeros((1, 1, 3), np.float32), zones=()), power=power,
        constants=constants, budget=estimate_budget(constants, part, settings), findings=(),
    )  # fmt: skip
