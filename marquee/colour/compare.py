"""Beside the codes solved: how they look to other observers, and what raw bytes would have given."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.colour.constants import D65_XYZ
from marquee.colour.difference import delta_e_2000
from marquee.colour.quantise import light_of_code
from marquee.colour.seen import Seen, seen_part
from marquee.colour.solve import least_current
from marquee.colour.spaces import triple, xyz_to_lab, xyz_to_uv_prime
from marquee.project import ColourSettings
from marquee.values import Part, TargetColour, ZoneDrive

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
class RawBytes:
    """What a colour's own sRGB bytes give when they are sent to the LEDs as they are.

    `codes` in the part's channel order, further channels dark; `lab_d65` and `delta_e_2000` against the sign's
    white as the plan has it.
    """

    codes: tuple[int, ...]
    lab_d65: tuple[float, float, float]
    delta_e_2000: float


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


def raw_bytes(
    targets: Sequence[TargetColour],
    part: Part,
    settings: ColourSettings,
    white_cd: float,
) -> tuple[RawBytes, ...]:
    """Return what the colours' sRGB bytes, times the brightness and otherwise raw, give on a part.

    Parameters
    ----------
    targets : sequence of TargetColour
        Their `srgb` is what is sent.
    part, settings
        The LED part, and the white, brightness and observer the colours are solved for.
    white_cd : float
        Intensity of one LED at the sign's white, at that brightness [cd]: `Solution.scale_cd`.
    """
    from marquee.colour.emission import emission

    seen = seen_part(part, emission(part, settings.observer), settings)
    rgb = [[int(target.srgb[at : at + 2], 16) for at in (1, 3, 5)] for target in targets]
    codes = np.zeros((len(targets), len(part.channels)), np.int64)
    codes[:, :3] = np.rint(np.array(rgb, float).reshape(-1, 3) * settings.brightness)
    labs = xyz_to_lab(
        light_of_code(codes, seen.response) @ seen.emitters.columns / white_cd, D65_XYZ
    )
    return tuple(
        RawBytes(
            codes=tuple(int(code) for code in row),
            lab_d65=triple(lab),
            delta_e_2000=float(delta_e_2000(target.lab_d65, lab)),
        )
        for target, row, lab in zip(targets, codes, labs, strict=True)
    )


def _light(zone: ZoneDrive, seen: Seen) -> NDArray[np.float64]:
    share = seen.part.global_share(zone.global_code)
    return light_of_code(np.array(zone.codes, np.int64), seen.response) * share


def _white_cd(zone: ZoneDrive, light: NDArray[np.float64], seen: Seen) -> float:
    """Return the intensity [cd] of the white the zone's prediction is relative to."""
    relative = zone.predicted_xyz[1]
    return float((light @ np.array(seen.emission.xyz_cd))[1] / relative) if relative > 0 else 1.0
