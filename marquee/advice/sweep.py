"""Depth or pitch swept over a range, the light model run at every step."""

from __future__ import annotations

from functools import partial
from typing import Literal

import numpy as np

from marquee.advice.trial import try_change
from marquee.parallel import run_all
from marquee.plan import Plan
from marquee.values_light import Change, Sweep


def sweep_light(
    plan: Plan, what: Literal["depth", "pitch"], start_mm: float, stop_mm: float, steps: int
) -> Sweep:
    """Return the light at `steps` even steps from `start_mm` to `stop_mm`, both included.

    Parameters
    ----------
    plan : Plan
    what : {"depth", "pitch"}
    start_mm, stop_mm : float
        Range [mm], in either order.
    steps : int
        At least 2.

    Raises
    ------
    QuantityError
        A step cannot be built, such as a pitch below the package.
    """
    low_mm, high_mm = sorted((start_mm, stop_mm))
    values_mm = tuple(round(float(v), 3) for v in np.linspace(low_mm, high_mm, steps))
    changes = [Change(depth_mm=v) if what == "depth" else Change(pitch_mm=v) for v in values_mm]
    depth_mm, pitch_mm = plan.box.depth_mm, plan.chain.led_pitch_mm
    return Sweep(
        what=what,
        values_mm=values_mm,
        trials=tuple(run_all([partial(try_change, plan, change) for change in changes])),
        planned_mm=depth_mm if what == "depth" else pitch_mm,
        rule_mm=pitch_mm if what == "depth" else depth_mm,
    )
