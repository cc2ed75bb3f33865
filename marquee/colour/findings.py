"""What a maker should know about the colours as solved."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.colour.constants import D65_XYZ
from marquee.colour.difference import delta_e_2000
from marquee.colour.spaces import xyz_to_lab
from marquee.errors import Finding
from marquee.project import ColourSettings
from marquee.values import Part, ZoneDrive, ZoneMap

# Rounding error is about 25 / largest code, 60 / largest code for one colour in twenty (computed over 24
# brand-like colours): below this code steps begin to show.
COARSE_BELOW = 32
# A zone holding the others back by more than this is worth telling; a threshold of our own.
_HELD_BACK = 1.25
# A dark colour lifted further than this is no longer recognised (navy at 74 times becomes light blue); the
# threshold is our own.
_LIFTED = 8.0
# The hue cycle is called even while no step leaves its mean by more than this share.
EVEN_WITHIN = 0.2
# CIE lightness below which a colour, about a hundredth of white, is told to be nearly black; a threshold of our own.
# 200 lx (a typical room, IEC 61966-2-1) on a sheet that reflects a third are 200 / 3 / pi = 21 cd/m²; a hundredth of a
# white of 200 cd/m² is 2.
_NEAR_BLACK = 10.0
# A difference below this nobody sees (just noticeable is about 1), so a colour cut by less is not worth a remark.
_VISIBLE = 1.0


def fill_share(settings: ColourSettings) -> float:
    """Return how far the lightness policy goes from keep (0) towards fill (1)."""
    return {"keep": 0.0, "fill": 1.0, "blend": settings.blend}[settings.policy]


def drive_findings(
    zones: tuple[ZoneDrive, ...],
    room: NDArray[np.float64],
    white_room: float,
    limiting: int | None,
    zone_map: ZoneMap,
    part: Part,
    settings: ColourSettings,
) -> tuple[Finding, ...]:
    """Return the findings of one drive, in the order of the zones.

    Parameters
    ----------
    zones : tuple of ZoneDrive
        Steady zones as solved, those that LEDs light: nobody sees the bytes of others.
    room : (z,)
        How many times brighter each could be on its own, against the common scale.
    white_room : float
        The same for a zone of the sign's white in a cell of average light.
    limiting : int or None
        Id of the zone that sets the scale.
    zone_map, part, settings
        For names and for what to advise.
    """
    names = {zone.id: zone.name for zone in zone_map.zones}
    found: list[Finding] = []
    for zone, own_room in zip(zones, room, strict=True):
        where = f"zone {zone.zone} {names[zone.zone]}"
        found += _gamut(zone, where, part, settings)
        found += _near_black(zone, where, settings)
        found += _coarse(zone, where, settings)
        found += _lifted(float(own_room), where, settings)
    if white_room >= _HELD_BACK:
        found += _limited(zones, np.append(room, white_room), limiting, names, settings)
    found += _global(zones, part)
    if not part.response_measured:
        found.append(
            Finding(
                code="colour.response-unmeasured",
                where=f"part {part.name}",
                message="how its light follows the codes has not been measured; dim colours may be far off: "
                "measure a ramp with marquee bench",
            )
        )
    return tuple(found)


def cycle_findings(
    seen: NDArray[np.float64], zone_map: ZoneMap, settings: ColourSettings
) -> tuple[Finding, ...]:
    """Return what is uneven about a hue cycle whose steps look like `seen` (steps, 3), relative to white."""
    labs = xyz_to_lab(seen, D65_XYZ)
    steps = delta_e_2000(labs, np.roll(labs, -1, axis=0))
    uneven = float(np.abs(steps / max(float(steps.mean()), 1e-9) - 1).max())
    if uneven <= EVEN_WITHIN:
        return ()
    cycling = next(zone for zone in zone_map.zones if zone.mode == "hue-cycle")
    return (
        Finding(
            code="colour.cycle-uneven",
            where=f"zone {cycling.id} {cycling.name}",
            message=f"steps of the hue cycle differ from {steps.min():.1f} to {steps.max():.1f} CIEDE2000 "
            f"(mean {steps.mean():.1f}): at {settings.brightness:.0%} brightness the codes are too coarse for "
            f"{len(seen)} steps; raise the brightness or set cycle_steps to {max(12, len(seen) // 2)}",
        ),
    )


def _gamut(zone: ZoneDrive, where: str, part: Part, settings: ColourSettings) -> list[Finding]:
    if zone.in_gamut or zone.shown_delta_e_2000 < _VISIBLE:
        return []
    other = (
        'out_of_gamut = "nearest" trades some hue for less difference'
        if settings.out_of_gamut == "hue"
        else 'out_of_gamut = "hue" keeps the hue'
    )
    return [
        Finding(
            code="colour.out-of-gamut",
            where=where,
            message=f"{zone.target.name} is purer than {part.name} can mix: shown {zone.shown_delta_e_2000:.1f} "
            f"CIEDE2000 away (chromaticity.png); accept it, choose a paler colour, or {other}",
        )
    ]


def _coarse(zone: ZoneDrive, where: str, settings: ColourSettings) -> list[Finding]:
    largest, error = max(zone.codes), zone.shown_delta_e_2000
    if zone.spread is not None:
        # Codes shared out over the zone's LEDs lie closer together than whole ones.
        largest = max(largest, *zone.spread.codes, *(min(r, 1) for r in zone.spread.raised))
    if largest >= COARSE_BELOW or (zone.spread is not None and error < _VISIBLE):
        return []
    if largest == 0:
        return [
            Finding(
                code="colour.dark",
                where=where,
                message=f"{zone.target.name} comes out as code 0, unlit, at {settings.brightness:.0%} "
                'brightness: raise the brightness, or policy = "blend"',
            )
        ]
    how = "raise the brightness"
    if settings.policy == "keep":
        how += ', or policy = "blend" or "fill" to lift dark colours'
    return [
        Finding(
            code="colour.coarse",
            where=where,
            message=f"largest code is {largest}, steps of colour begin to show below {COARSE_BELOW} (rounding "
            f"error here {error:.1f} CIEDE2000): {how}",
        )
    ]


def _near_black(zone: ZoneDrive, where: str, settings: ColourSettings) -> list[Finding]:
    lightness, share = zone.target.lab_d65[0], zone.target.xyz[1]
    if lightness >= _NEAR_BLACK or settings.policy != "keep" or max(zone.codes) == 0:
        return []
    return [
        Finding(
            code="colour.near-black",
            where=where,
            message=f"{zone.target.name} is nearly black, {share:.1%} of white: in a lit room its diffuser looks brighter "
            "unlit than this; paint it in the face's colour in the artwork, and it takes no opening, walls or LEDs",
        )
    ]


def _lifted(room: float, where: str, settings: ColourSettings) -> list[Finding]:
    lift = room ** fill_share(settings) if np.isfinite(room) else 1.0
    if lift < _LIFTED:
        return []
    return [
        Finding(
            code="colour.lifted",
            where=where,
            message=f"shown {lift:.0f} times brighter than its lightness asks for; a dark colour may look like "
            'another: choose policy = "keep" or a smaller blend',
        )
    ]


def _global(zones: tuple[ZoneDrive, ...], part: Part) -> list[Finding]:
    top = part.global_top
    lowest = min((zone.global_code for zone in zones if zone.global_code is not None), default=top)
    if lowest >= top:
        return []
    # The figure: "APA102 aka Superled" (cpldcpu, 2014-08-27), as in the part's file.
    return [
        Finding(
            code="colour.global-dimmed",
            where=f"part {part.name}",
            message=f"zones use global settings down to {lowest} of {top} for finer colour; some parts of this kind "
            "then pulse slowly (about 582 Hz measured on one, seen when the eye moves or in film), others "
            'shift in hue: if you see either, set global_current = "full"',
        )
    ]


def _limited(
    zones: tuple[ZoneDrive, ...],
    room: NDArray[np.float64],
    limiting: int | None,
    names: dict[int, str],
    settings: ColourSettings,
) -> list[Finding]:
    # White among them: that a dark colour could be a hundred times brighter is its darkness, not this zone's doing.
    others = np.sort(room[np.isfinite(room)])
    if limiting is None or settings.policy == "fill" or len(others) < 3:
        return []
    factor = float(others[1] / others[0])
    if factor < _HELD_BACK:
        return []
    name = next(zone.target.name for zone in zones if zone.zone == limiting)
    return [
        Finding(
            code="colour.limited-by",
            where=f"zone {limiting} {names[limiting]}",
            message=f"it holds the whole sign back: without it every other zone could be {factor:.1f} times "
            f"brighter; give its cell more LEDs, make {name} darker or paler, or choose policy = "
            '"blend" or "fill"',
        )
    ]
