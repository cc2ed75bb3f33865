"""What other eyes make of the codes, and where colours lie in the part's gamut: for reports and pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.colour.constants import D65_XYZ
from marquee.colour.difference import delta_e_2000
from marquee.colour.seen import Seen, seen_part
from marquee.colour.solve import least_current
from marquee.colour.spaces import xyz_to_lab, xyz_to_uv_prime
from marquee.project import ColourSettings
from marquee.values import Emission, Part, ZoneDrive

OBSERVERS = ("cie-1931-2", "cie-2015-2", "cie-2015-10")


@dataclass(frozen=True, slots=True, kw_only=True)
class ObserverChange:
    """How codes solved for one standard observer look to another.

    `white_duv` is the distance Δu′v′ between the mixed white and the daylight it is to match, `delta_e_2000` each
    zone's difference from its target, against the sign's own white luminance.
    """

    observer: str
    white_duv: float
    delta_e_2000: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class GamutMap:
    """Places in the CIE 1976 u′v′ diagram, seen under the sign's white adapted to D65.

    `part` are the corners of what the part can mix, in order round it; `arrows` lead from each zone's target to
    what its codes give.
    """

    part: tuple[tuple[float, float], ...]
    white: tuple[float, float]
    arrows: tuple[tuple[tuple[float, float], tuple[float, float]], ...]


def observer_change(
    zones: Sequence[ZoneDrive],
    part: Part,
    settings: ColourSettings,
    observer: str,
) -> ObserverChange:
    """Return how zones solved under the settings' observer look to another standard observer.

    Parameters
    ----------
    zones : sequence of ZoneDrive
        As solved.
    part, settings
        What they were solved with.
    observer : str
        The other eyes: ``cie-1931-2``, ``cie-2015-2`` or ``cie-2015-10``.
    """
    from marquee.colour.emission import emission

    solved = seen_part(part, emission(part, settings.observer), settings)
    other = settings.model_copy(update={"observer": observer})
    looked = seen_part(part, emission(part, observer), other)
    peak_cd = 0.5 * solved.white_cd
    white_light = least_current(D65_XYZ[None] * peak_cd, solved.emitters)[0]
    white = white_light @ looked.emitters.columns
    duv = float(np.linalg.norm(xyz_to_uv_prime(white) - xyz_to_uv_prime(D65_XYZ)))
    errors = []
    for zone in zones:
        light = _light(zone, solved)
        scale_cd = _white_cd(zone, light, solved) * white[1] / peak_cd
        lab = xyz_to_lab(light @ looked.emitters.columns / scale_cd, D65_XYZ)
        errors.append(float(delta_e_2000(zone.target.lab_d65, lab)))
    return ObserverChange(observer=observer, white_duv=duv, delta_e_2000=tuple(errors))


def gamut_map(
    zones: Sequence[ZoneDrive], part: Part, emission: Emission, settings: ColourSettings
) -> GamutMap:
    """Return the part's gamut and each zone's way from target to result, for a chromaticity diagram."""
    seen = seen_part(part, emission, settings)
    targets = np.array([zone.target.xyz for zone in zones]).reshape(-1, 3)
    shown = np.array([_light(zone, seen) @ seen.emitters.columns for zone in zones])
    from_uv = xyz_to_uv_prime(targets)
    to_uv = xyz_to_uv_prime(shown.reshape(-1, 3))
    return GamutMap(
        part=_corners(xyz_to_uv_prime(seen.emitters.columns)),
        white=_pair(xyz_to_uv_prime(D65_XYZ)),
        arrows=tuple((_pair(a), _pair(b)) for a, b in zip(from_uv, to_uv, strict=True)),
    )


def _light(zone: ZoneDrive, seen: Seen) -> NDArray[np.float64]:
    share = 1.0
    if zone.global_code is not None:
        share = zone.global_code / (2**seen.part.global_bits - 1)
    return np.asarray(seen.response[list(zone.codes)] * share, float)


def _white_cd(zone: ZoneDrive, light: NDArray[np.float64], seen: Seen) -> float:
    """Return the intensity [cd] of the white the zone's prediction is relative to."""
    relative = zone.predicted_xyz[1]
    return float((light @ np.array(seen.emission.xyz_cd))[1] / relative) if relative > 0 else 1.0


def _corners(points: NDArray[np.float64]) -> tuple[tuple[float, float], ...]:
    """Return the convex hull of few points, anticlockwise, starting at the lowest u′ (Andrew, 1979)."""
    ordered = sorted(map(_pair, points))

    def half(row: list[tuple[float, float]]) -> list[tuple[float, float]]:
        hull: list[tuple[float, float]] = []
        for point in row:
            while len(hull) >= 2 and _turn(hull[-2], hull[-1], point) <= 0:
                hull.pop()
            hull.append(point)
        return hull[:-1]

    return tuple(half(ordered) + half(ordered[::-1]))


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _pair(row: NDArray[np.float64]) -> tuple[float, float]:
    return float(row[0]), float(row[1])
