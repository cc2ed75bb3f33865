"""Zone by zone: evenness, level, and the channels' balance, photographed beside planned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.photo.predict import element_places_mm
from marquee.photo.signal import Signal, strongest
from marquee.photo.values import Array
from marquee.plan import Plan

# Zones of fewer elements than this that can be read tell no evenness.
_LEAST_ELEMENTS = 4
# A zone with less of its light than this beside the others is dark.
DARK_SHARE = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Evenness:
    """E_min / E_mean and E_min / E_max over the elements read, measured and expected; the darkest's place [mm]."""

    min_over_mean: float
    min_over_max: float
    predicted_min_over_mean: float
    predicted_min_over_max: float
    darkest_mm: tuple[float, float]


def evenness(one: Signal, zone: int, plan: Plan) -> Evenness | None:
    """Return a zone's evenness; None where too little of it can be read."""
    at = _elements(one, zone, plan)
    if len(at) < _LEAST_ELEMENTS:
        return None
    measured, expected = one.measured[at], one.expected[at]
    if measured.mean() <= 0 or expected.mean() <= 0:
        return None
    low = int(measured.argmin())
    ((x_mm, y_mm),) = element_places_mm(plan.transfer, at[low : low + 1])
    least = max(float(measured.min()), 0.0)
    return Evenness(
        min_over_mean=least / float(measured.mean()),
        min_over_max=least / float(measured.max()),
        predicted_min_over_mean=float(expected.min() / expected.mean()),
        predicted_min_over_max=float(expected.min() / expected.max()),
        darkest_mm=(float(x_mm), float(y_mm)),
    )


def _elements(one: Signal, zone: int, plan: Plan) -> NDArray[np.intp]:
    owner = plan.transfer.zone_of_element.ravel()
    good = (owner == zone) & np.isfinite(one.measured) & (one.expected > 0)
    return np.flatnonzero(good)


def _share(one: Signal, zone: int, plan: Plan) -> float | None:
    """Return a zone's light over what is expected; None where too little of it can be read."""
    at = _elements(one, zone, plan)
    if len(at) < _LEAST_ELEMENTS:
        return None
    return float(one.measured[at].sum() / one.expected[at].sum())


def levels(one: Signal, plan: Plan) -> dict[int, float]:
    """Return each zone's light over what is expected, 1 for the median zone; zones that cannot be read are left out."""
    found = {
        zone.id: share
        for zone in plan.zone_map.zones
        if (share := _share(one, zone.id, plan)) is not None
    }
    middle = float(np.median(list(found.values()))) if found else 1.0
    top = max(found.values(), default=1.0)
    middle = middle if middle > DARK_SHARE * top else top
    return {zone: value / middle for zone, value in found.items()} if middle > 0 else {}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Balance:
    """Light of the channels as the camera saw it, over what the light model expects of equal LEDs.

    `signals` (3,) of the whole sign; `zones` each zone's over that, its own brightness left aside.
    """

    signals: Array
    zones: dict[int, Array]


def balance(red: Signal, green: Signal, blue: Signal, plan: Plan) -> Balance | None:
    """Return the channels' balance; None where no zone can be read in all three."""
    table: dict[int, Array] = {}
    for zone in plan.zone_map.zones:
        shares = [_share(one, zone.id, plan) for one in (red, green, blue)]
        known = [share for share in shares if share is not None and share > 0]
        if len(known) == len(shares):
            table[zone.id] = np.log(known)
    if not table:
        return None
    rows = np.array(list(table.values()))
    sign = np.median(rows, axis=0)
    off = rows - sign
    off -= off.mean(axis=1, keepdims=True)
    return Balance(
        signals=np.exp(sign),
        zones={zone: np.exp(row) for zone, row in zip(table, off, strict=True)},
    )


def channel_orders(states: Sequence[Signal], plan: Plan) -> dict[int, tuple[int, ...]]:
    """Return for each zone which camera channel sees most of the red, green and blue state."""
    owner = plan.transfer.zone_of_element.ravel()
    return {
        zone.id: tuple(strongest(one.sight, owner == zone.id) for one in states)
        for zone in plan.zone_map.zones
        if all(len(_elements(one, zone.id, plan)) >= _LEAST_ELEMENTS for one in states)
    }
