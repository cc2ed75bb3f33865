"""Every zone's bytes: one white, one lightness policy, one scale, the codes that come closest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from marquee.colour.adapt import adaptation_matrix, observed_white_xyz, parse_white
from marquee.colour.band import colour_band, sample_columns
from marquee.colour.constants import D65_XYZ
from marquee.colour.cycle import check_period, cycle_codes, hue_circle
from marquee.colour.findings import cycle_findings, drive_findings
from marquee.colour.gamut import bring_in, nearest
from marquee.colour.quantise import Choice, Wanted, choose_codes, nearest_code
from marquee.colour.solve import Emitters, brightest, can_make, emitters, least_current
from marquee.colour.spaces import srgb_decode, xyz_to_lab
from marquee.colour.target import target_from_xyz
from marquee.errors import Finding, InputError
from marquee.project import ColourSettings
from marquee.values import (
    Drive,
    Emission,
    HueCycle,
    Part,
    TargetColour,
    Transfer,
    Zone,
    ZoneDrive,
    ZoneMap,
)

LimitedBy = Literal["zones", "white"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """A part under a sign's white: emitters adapted to D65, and the way back.

    `from_d65` (3, 3) turns a colour under D65 into the one that looks alike under the sign's white.
    """

    part: Part
    emission: Emission
    emitters: Emitters
    from_d65: NDArray[np.float64]
    response: NDArray[np.float64]
    white_cd: float  # largest intensity at which the sign's white can be made


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solution:
    """Zones' bytes with what set their common brightness.

    `scale_cd` is the intensity of white that the policy `keep` gives at the brightness asked for, `limited_by`
    the index of the zone that allows no more (None: the sign's white itself), `room` (z,) how many times
    brighter each zone could be on its own, `white_room` the same for the sign's white in an average cell.
    """

    zones: tuple[ZoneDrive, ...]
    scale_cd: float
    limited_by: int | None
    room: NDArray[np.float64]
    white_room: float


def seen_part(part: Part, emission: Emission, settings: ColourSettings) -> Seen:
    """Return the part as it looks under the sign's white.

    Raises
    ------
    MarqueeError
        The white is unknown or outside what the part can make, or the part cannot mix colours.
    """
    white = observed_white_xyz(settings.white, settings.observer, "colour.white")
    from_d65 = adaptation_matrix(D65_XYZ, white, settings.adaptation)
    columns = np.array(emission.xyz_cd) @ np.linalg.inv(from_d65).T
    current = np.array(part.channel_current_a or [1.0] * len(part.channels))
    lit = emitters(
        columns, current, largest=part.current_law == "largest", where=f"part {part.name}"
    )
    white_cd = float(brightest(D65_XYZ[None], lit)[0])
    if white_cd == 0:
        raise InputError(
            "colour.white",
            f"{settings.white} lies outside what {part.name} can mix",
            "choose a white such as D65, or a part with other channels",
        )
    return Seen(
        part=part,
        emission=emission,
        emitters=lit,
        from_d65=from_d65,
        response=np.array(part.response, float),
        white_cd=white_cd,
    )


def drive_for(
    targets: Sequence[TargetColour],
    part: Part,
    emission: Emission,
    settings: ColourSettings,
    *,
    gains: NDArray[np.float64] | None = None,
    limited_by: LimitedBy = "zones",
) -> Solution:
    """Return the bytes for colours on a part, numbered from 0 as zones.

    Parameters
    ----------
    targets : sequence of TargetColour
        What is to be met, XYZ relative to D65.
    part, emission, settings
        The LED part, what its channels emit, and how colours are met.
    gains : (z,) or None
        Illuminance per candela of each zone's cell; only their ratios count. None: all equal.
    limited_by : str
        ``zones``: as bright as the most demanding colour allows. ``white``: as a sign whose white is at full;
        a colour that cannot be made that bright comes out as near as possible.

    Raises
    ------
    MarqueeError
        The part or the white cannot be used.
    """
    seen = seen_part(part, emission, settings)
    xyz = np.array([target.xyz for target in targets], float).reshape(-1, 3)
    made = bring_in(xyz, seen.emitters, settings.out_of_gamut)
    gain = _relative_gains(gains, len(targets))
    room = brightest(made, seen.emitters) * gain
    scale_cd, limiting = _common_scale(room, seen, limited_by)
    level = _levels(room, scale_cd, settings) / gain
    in_gamut = can_make(xyz, seen.emitters, any_brightness=True)
    made, reachable = _within_reach(xyz, made, level, seen.emitters)
    drive = least_current(made * level[:, None], seen.emitters)
    wanted = Wanted(lab=xyz_to_lab(xyz, D65_XYZ), scale_cd=level, drive=drive)
    choice = choose_codes(wanted, seen.emitters, seen.response, part.global_bits)
    zones = _zone_drives(targets, seen, wanted, choice, in_gamut & reachable)
    return Solution(
        zones=zones,
        scale_cd=scale_cd * settings.brightness,
        limited_by=limiting,
        room=room / scale_cd,
        white_room=seen.white_cd / scale_cd,
    )


def solve_drive(
    zone_map: ZoneMap, part: Part, transfer: Transfer, settings: ColourSettings
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

    Raises
    ------
    MarqueeError
        The part has no intensities, the white cannot be used, or the cycle would flash.
    """
    from marquee.colour.emission import emission

    light = emission(part, settings.observer)
    steady = [zone for zone in zone_map.zones if zone.mode == "steady"]
    targets = [_target(zone, zone_map) for zone in steady]
    gains = np.array([float(transfer.self_lux_per_cd[zone.id]) for zone in steady])
    solution = drive_for(targets, part, light, settings, gains=gains)
    zones = tuple(
        replace(one, zone=zone.id) for one, zone in zip(solution.zones, steady, strict=True)
    )
    seen = seen_part(part, light, settings)
    cycle: HueCycle | None = None
    told: tuple[Finding, ...] = ()
    if len(steady) < len(zone_map.zones):
        cycle, look = solve_cycle(seen, solution.scale_cd, settings)
        told = cycle_findings(look, zone_map, settings)
    limiting = None if solution.limited_by is None else steady[solution.limited_by].id
    return Drive(
        policy=settings.policy,
        brightness=settings.brightness,
        white_xy=parse_white(settings.white, "colour.white"),
        zones=zones,
        hue_cycle=cycle,
        limiting_zone=limiting,
        white_intensity_cd=solution.scale_cd,
        gamma_codes=gamma_codes(part),
        findings=drive_findings(
            zones, solution.room, solution.white_room, limiting, zone_map, part, settings
        )
        + told,
    )


def solve_cycle(
    seen: Seen, white_cd: float, settings: ColourSettings
) -> tuple[HueCycle, NDArray[np.float64]]:
    """Return the hue cycle at the sign's brightness, and its steps (steps, 3) relative to white under D65.

    Parameters
    ----------
    seen : Seen
        The part under the sign's white.
    white_cd : float
        Intensity of the sign's white [cd]; the cycle gets no brighter.
    settings : ColourSettings
        Brightness, length and period of the cycle.

    Raises
    ------
    QuantityError
        The period would make it flash.
    """
    circle, most_cd = hue_circle(seen.emitters, settings.cycle_steps)
    intensity_cd = min(most_cd * settings.brightness, white_cd)
    # The cycle runs at the full global current: the setting cannot step evenly along with the codes.
    codes = cycle_codes(circle, intensity_cd, white_cd, seen.emitters, seen.response)
    light = seen.response[codes]
    look = light @ seen.emitters.columns / white_cd
    check_period(settings.cycle_period_s, look, "colour.cycle_period_s")
    cycle = HueCycle(
        codes=tuple(tuple(int(c) for c in row) for row in codes),
        xyz_cd=tuple(_triple(row) for row in light @ np.array(seen.emission.xyz_cd)),
        period_s=settings.cycle_period_s,
    )
    return cycle, look


def gamma_codes(part: Part) -> tuple[int, ...]:
    """Return the code for each of 256 even-looking levels, through the part's own response.

    The levels are spaced as sRGB's are (IEC 61966-2-1), whose steps look about even.
    """
    light = srgb_decode(np.arange(256) / 255.0)
    return tuple(int(code) for code in nearest_code(light, np.array(part.response, float)))


def _target(zone: Zone, zone_map: ZoneMap) -> TargetColour:
    colours = [zone_map.colours[index] for index in zone.colours]
    if len(colours) == 1:
        return colours[0]
    # A mixed zone the maker wants steady: the light all its colours make together.
    weights = np.array([max(colour.area_mm2, 1e-9) for colour in colours])
    xyz = weights @ np.array([colour.xyz for colour in colours]) / weights.sum()
    return target_from_xyz(xyz, "D65", zone.name, f"zone {zone.name}")


def _relative_gains(gains: NDArray[np.float64] | None, count: int) -> NDArray[np.float64]:
    if gains is None or not (gains > 0).any():
        return np.ones(count)
    # A cell without light of its own cannot set the others' level.
    return np.asarray(np.where(gains > 0, gains / gains[gains > 0].mean(), 1.0), float)


def _common_scale(
    room: NDArray[np.float64], seen: Seen, limited_by: LimitedBy
) -> tuple[float, int | None]:
    if limited_by == "white" or not np.isfinite(room).any():
        return seen.white_cd, None
    limiting = int(np.argmin(room))
    return float(room[limiting]), limiting


def _levels(
    room: NDArray[np.float64], scale_cd: float, settings: ColourSettings
) -> NDArray[np.float64]:
    full = np.where(np.isfinite(room), room, scale_cd)
    share = {"keep": 0.0, "fill": 1.0, "blend": settings.blend}[settings.policy]
    return np.asarray(scale_cd ** (1 - share) * full**share * settings.brightness, float)


def _within_reach(
    xyz: NDArray[np.float64],
    made: NDArray[np.float64],
    level: NDArray[np.float64],
    part: Emitters,
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    reachable = can_make(made * level[:, None], part)
    over = ~reachable
    if over.any():
        made = made.copy()
        room = brightest(made[over], part)
        start = least_current(made[over] * room[:, None], part)
        made[over] = nearest(xyz[over], part, start, level[over])
    return made, reachable


def _zone_drives(
    targets: Sequence[TargetColour],
    seen: Seen,
    wanted: Wanted,
    choice: Choice,
    in_gamut: NDArray[np.bool_],
) -> tuple[ZoneDrive, ...]:
    share = np.ones(len(targets))
    if choice.global_code is not None:
        share = choice.global_code / (2**seen.part.global_bits - 1)
    light = seen.response[choice.codes] * share[:, None]
    relative = light @ seen.emitters.columns / wanted.scale_cd[:, None]
    labs = xyz_to_lab(relative, D65_XYZ)
    under_white = relative @ seen.from_d65.T
    intensities = light @ np.array(seen.emission.xyz_cd)
    samples = sample_columns(seen.part, seen.emission, seen.from_d65)
    band = colour_band(light, wanted.scale_cd, seen.emitters, samples)
    return tuple(
        ZoneDrive(
            zone=index,
            target=target,
            exact=tuple(float(v) for v in wanted.drive[index]),
            codes=tuple(int(c) for c in choice.codes[index]),
            global_code=None if choice.global_code is None else int(choice.global_code[index]),
            predicted_xyz=_triple(under_white[index]),
            predicted_lab_d65=_triple(labs[index]),
            delta_e_2000=float(choice.delta_e_2000[index]),
            band_delta_e_2000=None if band is None else float(band.as_bought[index]),
            band_matched_delta_e_2000=None if band is None else float(band.white_matched[index]),
            in_gamut=bool(in_gamut[index]),
            intensity_xyz_cd=_triple(intensities[index]),
        )
        for index, target in enumerate(targets)
    )


def _triple(row: NDArray[np.float64]) -> tuple[float, float, float]:
    return float(row[0]), float(row[1]), float(row[2])
