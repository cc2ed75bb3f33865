"""From a wanted light to the share of full drive each emitter gives: any number of emitters.

The lights a part can make fill a zonotope: the sum of its emitters' segments from dark to full drive. Each of
its faces is spanned by two emitters, so whether and how brightly a colour can be made follows from the faces
in closed form, however many emitters there are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.errors import InputError
from marquee.values import read_only

# Relative slack against float64 rounding in deciding whether a colour lies on or outside a face.
_SLACK = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Emitters:
    """A part's emitters as one sees them under the sign's white.

    `columns` (n, 3): XYZ [cd] of each emitter at full drive, adapted to D65. `current` (n,): what each draws
    at full drive, in any one unit. `largest`: the part draws the largest of its channels' currents instead of
    their sum. `normals` (f, 3) and `reach` (f,): the light X can be made if normals·X ≤ reach for
    every face.
    """

    columns: NDArray[np.float64]
    current: NDArray[np.float64]
    largest: bool
    normals: NDArray[np.float64]
    reach: NDArray[np.float64]

    @property
    def count(self) -> int:
        """Number of emitters."""
        return len(self.columns)


def emitters(
    columns: NDArray[np.float64],
    current: NDArray[np.float64],
    *,
    largest: bool = False,
    where: str = "LED part",
) -> Emitters:
    """Return the emitters with the faces of what they can make together.

    Parameters
    ----------
    columns : (n, 3)
        XYZ [cd] of each emitter at full drive; the first three must mix colours, as red, green and blue do.
    current : (n,)
        Current of each at full drive.
    largest : bool
        Whether the supply current is that of the largest channel instead of the sum.

    Raises
    ------
    InputError
        Fewer than three emitters, or a first three that span no area of colours.
    """
    unit = columns / np.linalg.norm(columns, axis=1, keepdims=True)
    if len(columns) < 3 or np.linalg.svd(unit[:3], compute_uv=False)[-1] < 1e-6:
        raise InputError(
            where,
            f"its {len(columns)} channels cannot mix colours",
            "choose a part whose first three channels are red, green and blue",
        )
    pairs = [(i, j) for i in range(len(columns)) for j in range(i + 1, len(columns))]
    one_way = np.array([np.cross(unit[i], unit[j]) for i, j in pairs])
    size = np.linalg.norm(one_way, axis=1)
    one_way = one_way[size > 1e-9] / size[size > 1e-9, None]
    normals = np.concatenate([one_way, -one_way])
    toward = normals @ columns.T
    toward[np.abs(toward) < 1e-12 * np.abs(toward).max()] = 0.0
    return Emitters(
        columns=read_only(np.ascontiguousarray(columns, float)),
        current=read_only(np.array(current, float)),
        largest=largest,
        normals=read_only(normals),
        reach=read_only(np.maximum(toward, 0.0).sum(axis=1)),
    )


def can_make(
    xyz: NDArray[np.float64], part: Emitters, *, any_brightness: bool = False
) -> NDArray[np.bool_]:
    """Return whether each light (z, 3) [cd] can be made, or with `any_brightness` its chromaticity."""
    sides = xyz @ part.normals.T
    size = np.linalg.norm(xyz, axis=-1, keepdims=True)
    if any_brightness:
        edge = part.reach == 0
        return np.asarray((sides[:, edge] <= _SLACK * size).all(axis=1))
    return np.asarray((sides <= part.reach * (1 + _SLACK) + _SLACK * size).all(axis=1))


def brightest(xyz: NDArray[np.float64], part: Emitters) -> NDArray[np.float64]:
    """Return the largest factor (z,) by which each light (z, 3) can be scaled and still be made.

    Black can be scaled without limit (inf); a chromaticity outside the part's gamut cannot be made (0).
    """
    sides = xyz @ part.normals.T
    size = np.linalg.norm(xyz, axis=-1, keepdims=True)
    sides[np.abs(sides) <= _SLACK * size] = 0.0
    with np.errstate(divide="ignore"):
        factor = np.where(sides > 0, part.reach / np.where(sides > 0, sides, 1.0), np.inf)
    return np.asarray(factor.min(axis=1), float)


def least_current(xyz: NDArray[np.float64], part: Emitters) -> NDArray[np.float64]:
    """Return the drives (z, n), 0 to 1, that make each light (z, 3) [cd] with the least current.

    Three emitters have one solution, four a line of them along which current is linear, so its cheaper end;
    more, or a part drawing its largest channel, go through a linear programme. Lights that cannot be made
    come out clipped to 0 to 1: bring them into gamut first.
    """
    if part.count == 3:
        return np.clip(xyz @ np.linalg.inv(part.columns), 0.0, 1.0)
    if part.count == 4 and not part.largest:
        return _four(xyz, part)
    return (
        np.stack([_programme(one, part) for one in xyz]) if len(xyz) else np.empty((0, part.count))
    )


def along_fourth(
    xyz: NDArray[np.float64], part: Emitters
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return base (z, 3), slope (3,), low (z,), high (z,) of four emitters' solutions.

    With the fourth emitter at t the first three must stand at base − t·slope; it can be made for t from low to
    high (low > high: not at all).
    """
    inverse = np.linalg.inv(part.columns[:3])
    base, slope = xyz @ inverse, part.columns[3] @ inverse
    with np.errstate(divide="ignore", invalid="ignore"):
        at_zero, at_one = base / slope, (base - 1) / slope
    first, last = np.where(slope > 0, at_one, at_zero), np.where(slope > 0, at_zero, at_one)
    flat = np.abs(slope) < 1e-12
    low = np.where(flat, -np.inf, first).max(axis=1)
    high = np.where(flat, np.inf, last).min(axis=1)
    return base, slope, np.maximum(low, 0.0), np.minimum(high, 1.0)


def _four(xyz: NDArray[np.float64], part: Emitters) -> NDArray[np.float64]:
    base, slope, low, high = along_fourth(xyz, part)
    cheaper_high = part.current[3] <= part.current[:3] @ slope
    t = np.clip(high if cheaper_high else low, 0.0, 1.0)
    drive = np.concatenate([base - t[:, None] * slope, t[:, None]], axis=1)
    return np.asarray(np.clip(drive, 0.0, 1.0), float)


def _programme(xyz: NDArray[np.float64], part: Emitters) -> NDArray[np.float64]:
    from scipy.optimize import linprog

    n, size = part.count, max(float(np.abs(xyz).max()), 1e-300)
    cost, equal = part.current, part.columns.T / size
    bounds: list[tuple[float, float | None]] = [(0.0, 1.0)] * n
    limits = right = None
    if part.largest:
        # One more unknown, at least every channel's current, is what is made small; a trace of the sum
        # settles which of the equally large solutions is taken.
        limits = np.hstack([np.diag(part.current), -np.ones((n, 1))])
        right = np.zeros(n)
        cost = np.append(1e-6 * part.current, 1.0)
        equal = np.hstack([equal, np.zeros((3, 1))])
        bounds.append((0.0, None))
    found = linprog(cost, limits, right, equal, xyz / size, bounds, method="highs")
    drive = _nearest_feasible(equal, xyz / size, n) if found.x is None else found.x[:n]
    return np.asarray(np.clip(drive, 0.0, 1.0), float)


def _nearest_feasible(
    equal: NDArray[np.float64], right: NDArray[np.float64], n: int
) -> NDArray[np.float64]:
    # A light a rounding error outside the gamut: the drives that come nearest.
    from scipy.optimize import lsq_linear

    return np.asarray(lsq_linear(equal[:, :n], right, bounds=(0.0, 1.0)).x, float)
