"""Every zone's bytes: one white, one lightness policy, one scale, the codes that come closest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from marquee.colour.adapt import parse_white
from marquee.colour.cycle import solve_cycle
from marquee.colour.findings import cycle_findings, drive_findings
from marquee.colour.luminance import white_cd_m2_per_cd
from marquee.colour.meet import Solution, drive_for, full_scale_cd
from marquee.colour.quantise import nearest_code
from marquee.colour.seen import Seen, seen_part
from marquee.colour.spaces import srgb_decode
from marquee.colour.target import target_from_xyz
from marquee.errors import Finding
from marquee.project import ColourSettings
from marquee.values import (
    Chain,
    Drive,
    HueCycle,
    Part,
    TargetColour,
    Transfer,
    Zone,
    ZoneMap,
)

__all__ = ["Solution", "drive_for", "gamma_codes", "solve_drive"]


def solve_drive(
    zone_map: ZoneMap,
    part: Part,
    transfer: Transfer,
    settings: ColourSettings,
    chain: Chain | None = None,
) -> Drive:
    """Return all zones' bytes, the hue cycle of mixed zones and the table from level to code.

    Parameters
    ----------
    zone_map : ZoneMap
        Zones and their colours.
    part : Part
        The LED part; it must state its intensities.
    transfer : Transfer
        Gives each zone's light per candela, so that zones of unequal cells keep their mutual lightness.
    settings : ColourSettings
        White, policy, brightness, observer, gamut and cycle.
    chain : Chain or None
        Tells how many LEDs each zone has, for sharing codes out over them; None: no spread.

    Raises
    ------
    MarqueeError
        The part has no intensities, the white cannot be used, or the cycle would flash.
    """
    from marquee.colour.emission import emission

    light = emission(part, settings.observer)
    seen = seen_part(part, light, settings)
    steady = [zone for zone in zone_map.zones if zone.mode == "steady"]
    targets = [_target(zone, zone_map) for zone in steady]
    gains = np.array([float(transfer.self_lux_per_cd[zone.id]) for zone in steady])
    told: tuple[Finding, ...] = ()
    if settings.luminance_cd_m2 is not None:
        per_cd = white_cd_m2_per_cd(transfer, [zone.id for zone in steady])
        settings, told = _for_luminance(targets, seen, settings, gains, per_cd)
    counts = None
    if chain is not None:
        counts = np.array([int((chain.zone == zone.id).sum()) for zone in steady], np.int64)
    solution = drive_for(targets, part, light, settings, gains=gains, led_counts=counts)
    zones = tuple(
        replace(one, zone=zone.id) for one, zone in zip(solution.zones, steady, strict=True)
    )
    cycle: HueCycle | None = None
    if len(steady) < len(zone_map.zones):
        cycle, look = solve_cycle(seen, solution.scale_cd, settings)
        told += cycle_findings(look, zone_map, settings)
    lit = np.ones(len(zones), bool) if counts is None else counts > 0
    limiting = None if solution.limited_by is None else steady[solution.limited_by].id
    return Drive(
        policy=settings.policy,
        brightness=solution.brightness,
        white_xy=parse_white(settings.white, "colour.white"),
        zones=zones,
        hue_cycle=cycle,
        limiting_zone=limiting,
        white_intensity_cd=solution.scale_cd,
        gamma_codes=gamma_codes(part),
        findings=drive_findings(
            tuple(zone for zone, on in zip(zones, lit, strict=True) if on),
            solution.room[lit],
            solution.white_room,
            limiting,
            zone_map,
            part,
            settings,
        )
        + told,
    )


def gamma_codes(part: Part) -> tuple[int, ...]:
    """Return the code for each of 256 even-looking levels, through the part's own response.

    The levels are spaced as sRGB's are (IEC 61966-2-1), whose steps look about even.
    """
    light = srgb_decode(np.arange(256) / 255.0)
    return tuple(int(code) for code in nearest_code(light, np.array(part.response, float)))


def _for_luminance(
    targets: list[TargetColour],
    seen: Seen,
    settings: ColourSettings,
    gains: NDArray[np.float64],
    per_cd: float,
) -> tuple[ColourSettings, tuple[Finding, ...]]:
    """Return the settings with the brightness that gives white the luminance asked for, or the most there is.

    `per_cd` is the luminance of white [cd/m²] for each candela.
    """
    wanted = settings.luminance_cd_m2
    if wanted is None or not per_cd:
        return settings, ()
    most = full_scale_cd(targets, seen, settings, gains) * per_cd
    dimmed = settings.model_copy(update={"brightness": min(wanted / most, 1.0)})
    if wanted <= most:
        return dimmed, ()
    told = Finding(
        code="colour.luminance",
        where="colour.luminance_cd_m2",
        message=f"white reaches {most:.0f} of the {wanted:.0f} cd/m² asked for: use a closer pitch, a part of more "
        "intensity, a diffuser that lets more through, or a shallower box",
    )
    return dimmed, (told,)


def _target(zone: Zone, zone_map: ZoneMap) -> TargetColour:
    colours = [zone_map.colours[index] for index in zone.colours]
    if len(colours) == 1:
        return colours[0]
    # A mixed zone the maker wants steady: the light all its colours make together.
    weights = np.array([max(colour.area_mm2, 1e-9) for colour in colours])
    xyz = weights @ np.array([colour.xyz for colour in colours]) / weights.sum()
    return target_from_xyz(xyz, "D65", zone.name, f"zone {zone.name}")
