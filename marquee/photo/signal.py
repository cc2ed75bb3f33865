"""One number an element from a photograph's three, the lens's darkening taken off, beside what the plan expects."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from marquee.colour.constants import SRGB_TO_XYZ
from marquee.photo.look import Ground
from marquee.photo.predict import expected_light
from marquee.photo.values import ALIKE, Array, Sight
from marquee.plan import Plan

_CHANNELS = {"red": 0, "green": 1, "blue": 2}
# An element with more burnt pixels than this tells nothing.
BURNT_SHARE = 0.02
# Darkening towards the corners as 1 + a r² + b r⁴ in its logarithm: spread expected of a and b. Ours, no source;
# holds them where the face fills little of the picture.
_VIGNETTE_SD = 0.5
_ROUNDS = 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Signal:
    """A photograph's light by element (flat): measured and expected, both in units of their own; NaN where unusable."""

    sight: Sight
    measured: Array
    expected: Array


def strongest(sight: Sight, where: NDArray[np.bool_]) -> int:
    """Return which of the camera's channels sees most of a photograph's light, over some elements (flat)."""
    sums = np.nansum(sight.light.reshape(-1, 3)[where], axis=0)
    return int(sums.argmax())


def signal_of(sight: Sight, plan: Plan, ground: Ground) -> Signal:
    """Return what a photograph shows beside what the plan expects of its state.

    Of a single channel's light the camera's strongest channel counts, which no colour matrix cuts off at zero.
    """
    flat = sight.light.reshape(-1, 3)
    owner = plan.transfer.zone_of_element.ravel()
    if sight.state.kind in _CHANNELS:
        value = flat[:, strongest(sight, owner >= 0)]
    else:
        value = flat @ SRGB_TO_XYZ[1]
    expected = ground.read(expected_light(plan, sight.state))
    usable = (sight.burnt.ravel() <= BURNT_SHARE) & (owner >= 0) & np.isfinite(value)
    return Signal(
        sight=sight,
        measured=np.where(usable, value, np.nan),
        expected=np.where(owner >= 0, expected, np.nan),
    )


def without_vignette(
    signals: Sequence[Signal], corner: Array, plan: Plan
) -> tuple[tuple[Signal, ...], Array]:
    """Return the signals with the lens's darkening towards the corners taken off, and its factor (ny, nx).

    One darkening is fitted to all photographs that light whole zones, each zone of each at its own level, so that
    no difference between zones is taken for the lens's.

    Parameters
    ----------
    signals : sequence of Signal
        The photographs.
    corner : (ny, nx)
        Squared distance of each element from the picture's middle, 1 at its corners.
    plan : Plan
        For the zones.
    """
    owner = plan.transfer.zone_of_element.ravel()
    r2 = corner.ravel()
    lit = [s for s in signals if s.sight.state.kind in {*ALIKE, "planned", "zone"}]
    logs, places, groups = [], [], []
    for number, one in enumerate(lit):
        own = owner == one.sight.state.number
        good = (one.measured > 0) & (one.expected > 0)
        good &= own if one.sight.state.kind == "zone" else owner >= 0
        at = np.flatnonzero(good)
        logs.append(np.log(one.measured[at] / one.expected[at]))
        places.append(np.stack([r2[at], r2[at] ** 2], axis=1))
        groups.append(owner[at].astype(np.intp) + number * (int(owner.max()) + 1))
    factor: Array = np.ones_like(r2)
    if logs and sum(map(len, logs)) > 10:
        slope = _fit(np.concatenate(logs), np.concatenate(places), np.concatenate(groups))
        factor = np.asarray(np.exp(np.stack([r2, r2**2], axis=1) @ slope), float)
    mended = tuple(
        replace(
            one,
            measured=one.measured / factor,
            sight=replace(
                one.sight, light=one.sight.light / factor.reshape(corner.shape)[..., None]
            ),
        )
        for one in signals
    )
    return mended, factor.reshape(corner.shape)


def _fit(log: Array, place: Array, group: NDArray[np.intp]) -> Array:
    """Return a and b by Huber's estimator, each group at a level of its own."""
    weight: Array = np.ones_like(log)
    slope: Array = np.zeros(2)
    for _ in range(_ROUNDS):
        total = np.maximum(np.bincount(group, weight), 1e-12)
        level = (np.bincount(group, weight * log) / total)[group]
        middle = np.stack([(np.bincount(group, weight * p) / total)[group] for p in place.T], 1)
        x, y = place - middle, log - level
        sigma = max(1.4826 * float(np.median(np.abs(y - x @ slope))), 1e-3)
        normal = (x * weight[:, None]).T @ x / sigma**2 + np.eye(2) / _VIGNETTE_SD**2
        slope = np.asarray(np.linalg.solve(normal, (x * weight[:, None]).T @ y / sigma**2), float)
        off = np.abs(y - x @ slope) / sigma
        weight = np.asarray(np.minimum(1.0, 1.345 / np.maximum(off, 1e-9)), float)
    return slope
