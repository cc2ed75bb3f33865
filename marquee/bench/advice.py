"""Which colour to match next: the one after which the sign's colours are known best."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.bench.fit import pair_jacobian
from marquee.bench.model import Bench, rows_of, shown_xyz
from marquee.bench.template import FIRST_COLOURS
from marquee.bench.values import MatchedPair, Posterior
from marquee.colour.constants import D65_XYZ
from marquee.colour.response import codes_for_light
from marquee.colour.spaces import xyz_to_lab
from marquee.colour.target import target_from_text
from marquee.project import ColourSettings
from marquee.values import Part, TargetColour

Array = NDArray[np.float64]
# Besides the template's colours: saturated ones and a dim white, which say more once white and tints are known.
_MORE = (
    ("red", "#d03028"),
    ("green", "#28a040"),
    ("blue", "#3050c8"),
    ("amber", "#f0a020"),
    ("teal", "#18a098"),
    ("violet", "#8040b0"),
    ("dim white", "#404040"),
)
# White is judged most surely, all room light being about it: it comes first unless another colour teaches this
# much more. Common practice, no source.
_WHITE_LEAD = 1.15
_LEVEL = 0.8
_STEP = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """A colour worth matching: its name, its text, and the colours' expected error (as CIE94, rms) before and after."""

    name: str
    colour: str
    rms_before: float
    rms_after: float


def next_colours(
    posterior: Posterior, bench: Bench, wanted: Sequence[TargetColour] = (), count: int = 3
) -> tuple[Advice, ...]:
    """Return the colours that teach most, best first.

    Parameters
    ----------
    posterior : Posterior
        What is known so far.
    bench : Bench
        The part.
    wanted : sequence of TargetColour
        The colours that matter; none: a spread over hues.
    count : int
        How many to return.
    """
    texts = [*FIRST_COLOURS, *_MORE]
    tries = [target_from_text(text, name, "advice") for name, text in texts]
    n = len(posterior.mean)
    theta = posterior.mean
    level = _white_cd(theta, bench) * _LEVEL
    unknown = np.append(theta, np.log(level))
    known = np.zeros((n + 1, n + 1))
    known[:n, :n] = posterior.covariance
    known[n, n] = 1.0
    judged = _slopes(theta, list(wanted) or tries, level, bench)
    before = _rms(judged, posterior.covariance)
    rows = rows_of([_planned(target, theta, level, bench) for target in tries], bench)
    jacobian = pair_jacobian(unknown, rows, bench)
    information = np.linalg.inv(known)
    found = []
    for (name, text), slope in zip(texts, jacobian, strict=True):
        after = np.linalg.inv(information + slope.T @ slope)[:n, :n]
        found.append(
            Advice(name=name, colour=text, rms_before=before, rms_after=_rms(judged, after))
        )
    found.sort(key=_rank)
    return tuple(found[:count])


def typical_band(part: Part, settings: ColourSettings) -> float | None:
    """Return how far colours may fall from the plan (CIEDE2000, 95 %), the median over a spread of colours.

    None where the part states no spread.
    """
    from marquee.colour.drive import drive_for
    from marquee.colour.emission import emission

    tries = [target_from_text(text, name, "advice") for name, text in (*FIRST_COLOURS, *_MORE)]
    solved = drive_for(tries, part, emission(part, settings.observer), settings)
    bands = [zone.band_delta_e_2000 for zone in solved.zones]
    known = [band for band in bands if band is not None]
    return float(np.median(known)) if known else None


def _rank(one: Advice) -> float:
    return round(one.rms_after / (_WHITE_LEAD if one.name == FIRST_COLOURS[0][0] else 1.0), 6)


def _white_cd(theta: Array, bench: Bench) -> float:
    drive = D65_XYZ @ np.linalg.inv(bench.columns(theta)[:3])
    return float(1.0 / drive.max())


def _planned(target: TargetColour, theta: Array, level: float, bench: Bench) -> MatchedPair:
    """Return the pair a maker would about end at, the W die dark."""
    n = bench.channels
    drive = np.clip(np.array(target.xyz) * level @ np.linalg.inv(bench.columns(theta)[:3]), 0, 1)
    exponent = np.exp(theta[2 * n : 2 * n + 3])
    codes = [
        round(float(codes_for_light(d ** (1 / e), bench.light[c])))
        for c, (d, e) in enumerate(zip(drive, exponent, strict=True))
    ]
    return MatchedPair(target=target, codes=(*codes, *[0] * (n - 3)), place="")


def _slopes(theta: Array, wanted: Sequence[TargetColour], level: float, bench: Bench) -> Array:
    """Return the derivatives (m, 3, 3n) of the colours' weighed CIELAB, each part seen against its own white."""
    rows = rows_of([_planned(target, theta, level, bench) for target in wanted], bench)
    white = rows_of(
        [_planned(target_from_text("#ffffff", "white", ""), theta, level, bench)], bench
    )

    def labs(at: Array) -> Array:
        shown = shown_xyz(at, rows, bench)
        return xyz_to_lab(shown / shown_xyz(at, white, bench)[0, 1], D65_XYZ)

    columns = []
    for k in range(len(theta)):
        step = np.zeros(len(theta))
        step[k] = _STEP
        columns.append((labs(theta + step) - labs(theta - step)) / (2 * _STEP))
    return np.asarray(_weights(rows.xyz) @ np.stack(columns, axis=-1), float)


def _weights(xyz: Array) -> Array:
    """Return (m, 3, 3): small steps in CIELAB to steps in lightness, chroma and hue as CIE 116-1995 weighs them."""
    _, a, b = xyz_to_lab(xyz, D65_XYZ).T
    chroma = np.hypot(a, b)
    hue = np.arctan2(b, a)
    along, across = 1 / (1 + 0.045 * chroma), 1 / (1 + 0.015 * chroma)
    weights = np.zeros((len(xyz), 3, 3))
    weights[:, 0, 0] = 1.0
    weights[:, 1, 1], weights[:, 1, 2] = along * np.cos(hue), along * np.sin(hue)
    weights[:, 2, 1], weights[:, 2, 2] = -across * np.sin(hue), across * np.cos(hue)
    return weights


def _rms(slopes: Array, covariance: Array) -> float:
    variance = np.einsum("mik,kl,mil->m", slopes, covariance, slopes)
    return float(np.sqrt(variance.mean()))
