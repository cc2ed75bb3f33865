"""From colours to bytes on one part: gamut, lightness policy, common scale, codes, spread and band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from marquee.colour.band import colour_band, sample_columns, sample_exponents
from marquee.colour.constants import D65_XYZ
from marquee.colour.findings import fill_share
from marquee.colour.gamut import bring_in, nearest
from marquee.colour.quantise import Choice, Wanted, choose_codes, light_of_code
from marquee.colour.seen import Seen, seen_part
from marquee.colour.solve import Emitters, brightest, can_make, least_current
from marquee.colour.spaces import triple, xyz_to_lab
from marquee.colour.spread import spread_codes
from marquee.project import ColourSettings
from marquee.values import Emission, Part, Spread, TargetColour, ZoneDrive

# Brightnesses tried within the maker's tolerance: more find nothing that eye or meter would notice.
_TRIES = 21
LimitedBy = Literal["zones", "white"]


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
    brightness: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Task:
    """Colours brought into gamut, and how bright each may be: what does not change with brightness."""

    seen: Seen
    xyz: NDArray[np.float64]
    made: NDArray[np.float64]
    gain: NDArray[np.float64]
    room: NDArray[np.float64]
    scale_cd: float
    limited_by: int | None
    in_gamut: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Met:
    """What was wanted at one brightness and the codes chosen for it."""

    wanted: Wanted
    choice: Choice
    reachable: NDArray[np.bool_]


def drive_for(
    targets: Sequence[TargetColour],
    part: Part,
    emission: Emission,
    settings: ColourSettings,
    *,
    gains: NDArray[np.float64] | None = None,
    limited_by: LimitedBy = "zones",
    led_counts: NDArray[np.int64] | None = None,
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
    led_counts : (z,) or None
        LEDs of each zone, for sharing codes out over them; None: every LED of a zone gets the same codes.

    Raises
    ------
    MarqueeError
        The part or the white cannot be used.
    """
    task = _prepare(targets, seen_part(part, emission, settings), settings, gains, limited_by)
    brightness, met = _best_brightness(task, settings)
    spread: tuple[Spread | None, ...] = (None,) * len(targets)
    if led_counts is not None and settings.spread:
        spread = spread_codes(
            met.wanted,
            met.choice,
            task.seen.emitters,
            task.seen.response,
            led_counts,
            part.global_top,
        )
    return Solution(
        zones=_zone_drives(targets, task, met, spread),
        scale_cd=task.scale_cd * brightness,
        brightness=brightness,
        limited_by=task.limited_by,
        room=task.room / task.scale_cd,
        white_room=task.seen.white_cd / task.scale_cd,
    )


def full_scale_cd(
    targets: Sequence[TargetColour],
    seen: Seen,
    settings: ColourSettings,
    gains: NDArray[np.float64] | None,
) -> float:
    """Return the intensity [cd] of white, in an average cell, that `keep` gives at full brightness."""
    return _prepare(targets, seen, settings, gains, "zones").scale_cd


def _prepare(
    targets: Sequence[TargetColour],
    seen: Seen,
    settings: ColourSettings,
    gains: NDArray[np.float64] | None,
    limited_by: LimitedBy,
) -> _Task:
    xyz = np.array([target.xyz for target in targets], float).reshape(-1, 3)
    made = bring_in(xyz, seen.emitters, settings.out_of_gamut)
    gain = _relative_gains(gains, len(targets))
    room = brightest(made, seen.emitters) * gain
    scale_cd, limiting = _common_scale(room, seen, limited_by)
    return _Task(
        seen=seen,
        xyz=xyz,
        made=made,
        gain=gain,
        room=room,
        scale_cd=scale_cd,
        limited_by=limiting,
        in_gamut=can_make(xyz, seen.emitters, any_brightness=True),
    )


def _meet(task: _Task, settings: ColourSettings, brightness: float) -> _Met:
    part = task.seen.emitters
    level = _levels(task.room, task.scale_cd, settings) * brightness / task.gain
    made, reachable = _within_reach(task.xyz, task.made, level, part)
    drive = least_current(made * level[:, None], part)
    wanted = Wanted(lab=xyz_to_lab(task.xyz, D65_XYZ), scale_cd=level, drive=drive)
    top = task.seen.part.global_top
    choice = choose_codes(
        wanted,
        part,
        task.seen.response,
        top if settings.global_current == "zone" else 0,
        settings.current_saving_delta_e,
    )
    if top and choice.global_code is None:
        choice = replace(choice, global_code=np.full(len(level), top))
    return _Met(wanted=wanted, choice=choice, reachable=reachable)


def _best_brightness(task: _Task, settings: ColourSettings) -> tuple[float, _Met]:
    """Return the brightness within the tolerance at which all codes together land best; asked-for on a tie."""
    asked, slack = settings.brightness, settings.brightness_tolerance
    best, met = asked, _meet(task, settings, asked)
    if not slack or not len(task.xyz):
        return best, met
    least = float(met.choice.delta_e_2000.mean())
    for factor in np.linspace(1 - slack, 1 + slack, _TRIES):
        brightness = float(asked * factor)
        if brightness > 1:
            break
        tried = _meet(task, settings, brightness)
        error = float(tried.choice.delta_e_2000.mean())
        if error < least - 1e-6:
            least, best, met = error, brightness, tried
    return best, met


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
    share = fill_share(settings)
    return np.asarray(scale_cd ** (1 - share) * full**share, float)


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
    task: _Task,
    met: _Met,
    spread: tuple[Spread | None, ...],
) -> tuple[ZoneDrive, ...]:
    seen, wanted, choice = task.seen, met.wanted, met.choice
    in_gamut = task.in_gamut & met.reachable
    share = np.ones(len(targets))
    if choice.global_code is not None:
        share = choice.global_code / seen.part.global_top
    light = light_of_code(choice.codes, seen.response) * share[:, None]
    relative = light @ seen.emitters.columns / wanted.scale_cd[:, None]
    labs = xyz_to_lab(relative, D65_XYZ)
    under_white = relative @ seen.from_d65.T
    mixed = np.array(
        [row if one is None else one.mean_light for row, one in zip(light, spread, strict=True)]
    ).reshape(light.shape)
    intensities = mixed @ np.array(seen.emission.xyz_cd)
    samples = sample_columns(seen.part, seen.emission, seen.from_d65)
    exponents = sample_exponents(seen.part, seen.emission.observer)
    band = colour_band(mixed, wanted.scale_cd, seen.emitters, samples, exponents)
    return tuple(
        ZoneDrive(
            zone=index,
            target=target,
            exact=tuple(float(v) for v in wanted.drive[index]),
            codes=tuple(int(c) for c in choice.codes[index]),
            global_code=None if choice.global_code is None else int(choice.global_code[index]),
            predicted_xyz=triple(under_white[index]),
            predicted_lab_d65=triple(labs[index]),
            delta_e_2000=float(choice.delta_e_2000[index]),
            band_delta_e_2000=None if band is None else float(band.as_bought[index]),
            band_matched_delta_e_2000=None if band is None else float(band.white_matched[index]),
            in_gamut=bool(in_gamut[index]),
            intensity_xyz_cd=triple(intensities[index]),
            spread=spread[index],
        )
        for index, target in enumerate(targets)
    )
