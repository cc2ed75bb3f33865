"""Places to look at when not every pixel is: spread evenly, but in step with nothing the picture may hold."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

# SplitMix64 (Steele, Lea, Flood, Fast Splittable Pseudorandom Number Generators, OOPSLA 2014; constants from
# memory, checked by its published first numbers). Numpy's own generators take longer to load than this to run.
_STEP = np.uint64(0x9E3779B97F4A7C15)
_MIX = ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB))


def scattered(count: int, step: int) -> NDArray[np.int64]:
    """Return about one of every `step` indices below `count`, ascending.

    One from each run of `step`, anywhere in it: places at equal distances, or those of any fixed pattern, can
    all pass over stripes of a width that fits the pattern and the picture's rows.
    """
    if step <= 1:
        return np.arange(count, dtype=np.int64)
    run = np.arange(-(-count // step), dtype=np.int64)
    # The upper 53 bits are as many as a float holds.
    share = (random_numbers(0, run.size) >> np.uint64(11)).astype(float) / (1 << 53)
    places = run * step + (share * step).astype(np.int64)
    return places[places < count]


def random_numbers(seed: int, count: int) -> NDArray[np.uint64]:
    """Return the first `count` numbers of 64 bits after a seed; the same ones each time."""
    number = np.arange(1, count + 1, dtype=np.uint64) * _STEP + np.uint64(seed)
    for shift, factor in _MIX:
        number = (number ^ (number >> np.uint64(shift))) * np.uint64(factor)
    return number ^ (number >> np.uint64(31))
