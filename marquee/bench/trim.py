"""Trimming by eye: keys move a zone's colour in lightness, chroma and hue; every step can be taken back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from marquee.colour.constants import D65_XYZ
from marquee.colour.gamut import bring_in
from marquee.colour.quantise import Wanted, choose_codes, light_of_code
from marquee.colour.seen import Seen
from marquee.colour.solve import brightest, least_current
from marquee.colour.spaces import oklab_to_xyz, triple, xyz_to_lab, xyz_to_oklab
from marquee.values import Drive, TargetColour, ZoneMap

Array = NDArray[np.float64]
Axis = Literal["lightness", "chroma", "hue"]
# Coarse and fine steps: luminance as a share, chroma in Oklab, hue as an arc of that length in Oklab. A step of
# 0.01 in Oklab is about one just noticeable difference: common practice, no source.
_LUMINANCE, _OKLAB = (0.08, 0.02), (0.012, 0.003)
_MOST_TURN = np.pi / 6
_LEAST_CHROMA = 0.02
_MOST_UNDO = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class TrimZone:
    """A zone being trimmed.

    `xyz` is relative to the sign's white, adapted to D65, and moves in steps finer than the bytes; `codes` and
    `global_code` are what is sent for it, `shown` what the sign answered. `brightness` is what the plan gave this
    zone over what its colour alone asks for: cells of unequal light, or the lightness policy.
    """

    zone: int
    name: str
    target: TargetColour
    xyz: tuple[float, float, float]
    codes: tuple[int, ...]
    global_code: int | None
    brightness: float
    shown: tuple[int, ...]
    changed: bool = False

    @property
    def held_down(self) -> bool:
        """Whether the sign showed less than it was sent: its cap or current limit."""
        return self.shown != self.codes


@dataclass(frozen=True, slots=True, kw_only=True)
class TrimState:
    """All zones, which one is at hand, and the states before each step (oldest first)."""

    zones: tuple[TrimZone, ...]
    at: int = 0
    fine: bool = False
    past: tuple[tuple[int, TrimZone], ...] = ()

    @property
    def zone(self) -> TrimZone:
        """The zone at hand."""
        return self.zones[self.at]


def trim_zones(drive: Drive, zone_map: ZoneMap, seen: Seen) -> tuple[TrimZone, ...]:
    """Return the steady zones of a plan as they start: with the plan's bytes.

    Parameters
    ----------
    drive : Drive
        The plan's bytes.
    zone_map : ZoneMap
        For the zones' names.
    seen : Seen
        The part under the sign's white.
    """
    names = {zone.id: zone.name for zone in zone_map.zones}
    found = []
    for one in drive.zones:
        share = seen.part.global_share(one.global_code)
        light = light_of_code(np.array(one.codes, np.int64), seen.response) * share
        xyz = light @ seen.emitters.columns / drive.white_intensity_cd
        asked = max(one.target.xyz[1], 1e-6) * drive.white_intensity_cd
        found.append(
            TrimZone(
                zone=one.zone,
                name=names.get(one.zone, f"{one.zone}"),
                target=one.target,
                xyz=triple(xyz),
                codes=one.codes,
                global_code=one.global_code,
                brightness=float(np.clip(one.intensity_xyz_cd[1] / asked, 0.001, 100.0)),
                shown=one.codes,
            )
        )
    return tuple(found)


def moved(
    zone: TrimZone, axis: Axis, sign: int, fine: bool, seen: Seen, white_cd: float
) -> TrimZone:
    """Return the zone one step lighter or darker, stronger or paler, or turned in hue, as far as the part can.

    Parameters
    ----------
    zone : TrimZone
        The zone.
    axis : str
        ``lightness`` keeps the chromaticity, ``chroma`` and ``hue`` move in Oklab at its lightness.
    sign : int
        1 or −1.
    fine : bool
        Quarter steps.
    seen : Seen
        The part under the sign's white.
    white_cd : float
        Intensity [cd] of the sign's white.
    """
    xyz = np.array(zone.xyz)
    if axis == "lightness":
        wanted = xyz * (1.0 + _LUMINANCE[fine]) ** sign
    else:
        L, a, b = xyz_to_oklab(xyz)  # noqa: N806 -- the space's own name
        chroma, hue = float(np.hypot(a, b)), float(np.arctan2(b, a))
        step = _OKLAB[fine]
        if axis == "chroma":
            chroma = max(chroma + sign * step, 0.0)
        else:
            hue += sign * min(step / max(chroma, _LEAST_CHROMA), _MOST_TURN)
        wanted = oklab_to_xyz(np.array([L, chroma * np.cos(hue), chroma * np.sin(hue)]))
    made, codes = _codes_for(wanted, zone.global_code, seen, white_cd)
    return replace(zone, xyz=triple(made), codes=codes, shown=codes, changed=True)


def stepped(state: TrimState, axis: Axis, sign: int, seen: Seen, white_cd: float) -> TrimState:
    """Return the state with the zone at hand moved, and remembered as it was."""
    new = moved(state.zone, axis, sign, state.fine, seen, white_cd)
    past = (*state.past, (state.at, state.zone))[-_MOST_UNDO:]
    return replace(with_zone(state, new), past=past)


def undone(state: TrimState) -> TrimState:
    """Return the state before the last step, at that step's zone; the same state where there was none."""
    if not state.past:
        return state
    at, zone = state.past[-1]
    return replace(with_zone(replace(state, at=at), zone), past=state.past[:-1])


def turned_to(state: TrimState, by: int) -> TrimState:
    """Return the state at the next or an earlier zone, round and round."""
    return replace(state, at=(state.at + by) % len(state.zones))


def with_zone(state: TrimState, zone: TrimZone) -> TrimState:
    """Return the state with the zone at hand replaced."""
    zones: Sequence[TrimZone] = state.zones
    return replace(state, zones=(*zones[: state.at], zone, *zones[state.at + 1 :]))


def colour_text(target: TargetColour) -> str:
    """Return a colour as a pairs file takes it: the artwork's bytes, or a palette's colour to six digits."""
    if target.origin == "artwork":
        return target.srgb
    x, y, z = target.xyz
    return f"color(xyz-d65 {x:.6f} {y:.6f} {z:.6f})"


def _codes_for(
    wanted: Array, global_code: int | None, seen: Seen, white_cd: float
) -> tuple[Array, tuple[int, ...]]:
    """Return what the part can make of a light relative to white, and the bytes that come nearest it."""
    share = seen.part.global_share(global_code)
    made = bring_in(np.maximum(wanted, 0.0)[None], seen.emitters, "hue")
    room = float(brightest(made, seen.emitters)[0]) * share
    if room < white_cd:
        made = made * (room / white_cd)
    drive = np.clip(least_current(made * (white_cd / share), seen.emitters), 0.0, 1.0)
    aim = Wanted(lab=xyz_to_lab(made, D65_XYZ), scale_cd=np.array([white_cd / share]), drive=drive)
    codes = choose_codes(aim, seen.emitters, seen.response).codes[0]
    return made[0], tuple(int(code) for code in codes)
