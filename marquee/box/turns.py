"""How each package of a board is turned, so that its data output looks towards the next LED."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.values import Chain


def package_turns_deg(chain: Chain) -> NDArray[np.int64]:
    """Return (leds,) turns in quarter turns, 0, 90, 180 or 270 degrees, counter-clockwise seen from the front.

    0 is data running to the right. Each package follows the step to the next LED of the chain, the last one the
    step that reached it; quarter turns keep a square package as clear of walls as it was placed.
    """
    if chain.count < 2:
        return np.zeros(chain.count, np.int64)
    step_x = np.diff(chain.x_mm, append=2 * chain.x_mm[-1] - chain.x_mm[-2])
    step_y = np.diff(chain.y_mm, append=2 * chain.y_mm[-1] - chain.y_mm[-2])
    # Face coordinates run down, turns are counted against the clock.
    quarters = np.rint(np.arctan2(-step_y, step_x) / (np.pi / 2)).astype(np.int64)
    return 90 * (quarters % 4)
