"""Places to look at when not every pixel is: spread evenly, but in step with nothing the picture may hold."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

# Multiples of the golden ratio's inverse leave the most even remainders (Knuth, The Art of Computer Programming,
# vol. 3, 2nd ed., 6.4, theorem S; from memory).
_GOLDEN = (5**0.5 - 1) / 2


def scattered(count: int, step: int) -> NDArray[np.int64]:
    """Return about one of every `step` indices below `count`, ascending.

    One from each run of `step`, at a place in it that changes from run to run: taken at equal distances, the
    pixels of stripes as wide as the picture's rows allow could all be passed over.
    """
    if step <= 1:
        return np.arange(count, dtype=np.int64)
    run = np.arange(-(-count // step), dtype=np.int64)
    places = run * step + (run * _GOLDEN % 1.0 * step).astype(np.int64)
    return places[places < count]
