"""Which LEDs stay dark: the light missing from a photograph laid against every single LED's light.

A box blurs its LEDs over about its depth, several of them, so that light missing somewhere has many explanations:
one dark LED, or a few that are a little dim. All LEDs of a zone are taken to differ a little, as they do; a dark one
is believed only where no likely mixture of those differences explains what is missing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.photo.look import Ground
from marquee.photo.predict import LedLight, element_places_mm
from marquee.photo.signal import Signal
from marquee.photo.values import Array, LedDoubt
from marquee.plan import Plan

# How much LEDs of one reel differ in light, and what the light model and the picture leave over, as shares of the
# light; slopes over the zone that the lens may have left. Ours, no source.
_LED_SD, _REST_SD, _LEVEL_SD, _SLOPE_SD = 0.05, 0.006, 0.3, 0.05
# A dark LED: most of its light missing, and beyond what chance brings: log-likelihood ratio of 10, 4.5 sigmas.
_MISSING, _LEAST_GAIN = 0.5, 10.0
# Other LEDs explain it nearly as well where their likelihood is within a twentieth.
_NEARLY = 3.0
# Mean square, in standard deviations, of what dark LEDs may leave unexplained; and how many pixels of an element
# make its noise double in variance. Ours, no source.
_MOST_LEFT, _FEW_PX = 1.0, 40.0
_MOST = 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Case:
    """A zone's photographed light over the expected, its LEDs' shares of each element, and how LEDs are numbered."""

    ratio: Array
    share: Array
    leds: NDArray[np.intp]
    place: Array
    noise: Array


def dark_leds(
    one: Signal, light: LedLight, read: Array, ground: Ground, plan: Plan
) -> tuple[LedDoubt, ...]:
    """Return the LEDs whose light is missing from a photograph of a state that lights whole zones.

    Parameters
    ----------
    one : Signal
        The photograph.
    light : LedLight
        Every LED's light.
    read : (leds, elements)
        The same as the photograph has it: `Ground.read`.
    ground : Ground
        Where light was read.
    plan : Plan
        The plan.
    """
    found: list[LedDoubt] = []
    for zone in plan.zone_map.zones:
        case = _case(one, light, read, ground, plan, zone.id)
        if case is not None:
            found += _dark_in(case, zone.id, one.sight.state.text, plan)
    return tuple(found)


def _case(
    one: Signal, light: LedLight, read: Array, ground: Ground, plan: Plan, zone: int
) -> _Case | None:
    owner = plan.transfer.zone_of_element.ravel()
    good = (owner == zone) & (one.measured > 0) & (one.expected > 0)
    own = plan.chain.zone[light.leds] == zone
    at = np.flatnonzero(good)
    if len(at) < 6 or not own.any():
        return None
    lux = read[np.ix_(own, at)]
    # The zone's own light alone, at what it shows in this state.
    share = lux / np.maximum(lux.sum(axis=0), 1e-12)
    ratio = one.measured[at] / one.expected[at]
    return _Case(
        ratio=ratio / np.median(ratio),
        share=share,
        leds=light.leds[own],
        place=element_places_mm(plan.transfer, at),
        noise=_REST_SD**2 * (1 + _FEW_PX / ground.count[at]),
    )


def _dark_in(case: _Case, zone: int, state: str, plan: Plan) -> list[LedDoubt]:
    off = case.place - case.place.mean(axis=0)
    scale = max(float(np.abs(off).max()), 1e-9)
    trend = np.c_[np.full(len(off), _LEVEL_SD), _SLOPE_SD * off / scale]
    known = _LED_SD**2 * case.share.T @ case.share + trend @ trend.T
    known += np.diag(case.noise)
    root = np.linalg.cholesky(known)
    white = np.linalg.solve(root, np.c_[case.ratio - 1.0, case.share.T])
    # The level changes with what is missing: a dark LED lowers the median it was divided by.
    rest, shapes = white[:, 0], white[:, 1:]
    norm = np.maximum((shapes**2).sum(axis=0), 1e-12)
    found: list[LedDoubt] = []
    taken = np.zeros(len(case.leds), bool)
    for _ in range(_MOST):
        missing = -(shapes.T @ rest) / norm
        gain = np.where((missing > 0) & ~taken, 0.5 * missing**2 * norm, 0.0)
        best = int(gain.argmax())
        if gain[best] < _LEAST_GAIN or missing[best] < _MISSING:
            break
        near = [int(k) for k in np.argsort(-gain, kind="stable") if gain[k] > gain[best] - _NEARLY]
        led = int(case.leds[best])
        found.append(
            LedDoubt(
                led=led,
                leds=tuple(int(case.leds[k]) for k in near),
                zone=zone,
                missing=float(missing[best]),
                state=state,
                at_mm=(float(plan.chain.x_mm[led]), float(plan.chain.y_mm[led])),
            )
        )
        rest = rest + min(missing[best], 1.0) * shapes[:, best]
        taken[best] = True
    # Light that differs from the plan's for another reason leaves more than chance: then no LED is named.
    return found if float(np.mean(rest**2)) < _MOST_LEFT else []
