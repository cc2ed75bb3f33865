"""The chain's copper as a ladder: lengths to ohms, a fast solve for design, and where feeds go best.

Between every two LEDs lies a pad where a wire may join; pad k comes before LED k, pad n after the last.
"""

from __future__ import annotations

import bisect
import functools
import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.power.tables import cited, power_table
from marquee.values import Chain, read_only

Ohms = NDArray[np.float64]
# Copper and joints without resistance are given this much, so that their currents can be read off [Ω].
_LEAST_OHM = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ladder:
    """Ohms of one rail: `before_ohm[k]` from LED k−1 to pad k, `after_ohm[k]` from pad k to LED k.

    Both are (leds + 1,); the unused first `before` and last `after` are 0. `jumper` (leds + 1,) marks
    pads where a jumper wire joins two rows. `last_pad` is the last a feed may join at: the end, or
    before the last LED where the plus rail is cut there and the end pad belongs to the next piece.
    """

    before_ohm: Ohms
    after_ohm: Ohms
    jumper: NDArray[np.bool_]
    last_pad: int

    @property
    def count(self) -> int:
        """Number of LEDs."""
        return len(self.before_ohm) - 1

    def part(self, start: int, stop: int) -> Ladder:
        """Return the piece of LEDs start to stop − 1, cut free at both pads."""
        before, after = (
            self.before_ohm[start : stop + 1].copy(),
            self.after_ohm[start : stop + 1].copy(),
        )
        before[0], after[-1] = 0.0, 0.0
        jumper = self.jumper[start : stop + 1].copy()
        jumper[[0, -1]] = False
        last = stop - start if stop == self.count else stop - start - 1
        return Ladder(before_ohm=before, after_ohm=after, jumper=jumper, last_pad=last)


def rail_row(arrangement: str, key: str) -> tuple[float, str]:
    """Return a figure of ``strip_rails.toml`` and where it stands."""
    row = power_table("strip_rails.toml")[arrangement][key]
    return float(row["value"]), cited(row)


def jumper_lengths_mm(chain: Chain) -> NDArray[np.float64]:
    """Return the length of the wire before each LED that starts a new row, else 0 (leds,) [mm].

    The distance between the two LEDs and some slack; a board has tracks instead.
    """
    length = np.zeros(chain.count)
    if chain.arrangement == "strip" and chain.count > 1:
        starts = np.flatnonzero(np.diff(chain.row) != 0) + 1
        slack_mm, _ = rail_row("jumper", "slack_mm")
        length[starts] = _steps_mm(chain)[starts - 1] + slack_mm
    return length


def _steps_mm(chain: Chain) -> NDArray[np.float64]:
    return np.hypot(np.diff(chain.x_mm), np.diff(chain.y_mm))


def build_ladder(chain: Chain, loop_ohm_per_m: float, jumper_ohm_per_m: float) -> Ladder:
    """Return the ladder of a chain's copper.

    Parameters
    ----------
    chain : Chain
        Places and rows; a strip is cut half a pitch beyond its last LED.
    loop_ohm_per_m : float
        Strip or track copper at its temperature, both rails in series [Ω/m].
    jumper_ohm_per_m : float
        One conductor of the jumper wire at its temperature [Ω/m].
    """
    rail_per_mm = loop_ohm_per_m / 2 / 1000
    half = rail_per_mm * chain.pitch_mm / 2
    before, after = np.full(chain.count + 1, half), np.full(chain.count + 1, half)
    jumper_mm = jumper_lengths_mm(chain)
    inner_mm = _steps_mm(chain)
    jumps = jumper_mm[1:] > 0
    middle = np.where(jumps, half, rail_per_mm * inner_mm / 2)
    before[1:-1] = middle + jumper_ohm_per_m * jumper_mm[1:] / 1000
    after[1:-1] = middle
    before[0], after[-1] = 0.0, 0.0
    mark = np.zeros(chain.count + 1, dtype=np.bool_)
    mark[1:-1] = jumps
    return Ladder(before_ohm=before, after_ohm=after, jumper=mark, last_pad=chain.count)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LadderSolution:
    """Loop drop at each LED [V] (leds,), each feed's current [A], the rail's at the pads between LEDs [A] (leds − 1,)."""

    drop_v: NDArray[np.float64]
    feed_a: NDArray[np.float64]
    rail_a: NDArray[np.float64]


def solve_ladder(
    ladder: Ladder,
    led_a: NDArray[np.float64],
    pads: NDArray[np.int64],
    feed_ohm: tuple[Ohms, Ohms],
) -> LadderSolution:
    """Solve a ladder with constant LED currents and a feed at each pad: two tridiagonal systems.

    Parameters
    ----------
    ladder : Ladder
        One rail; the other is the same.
    led_a : ndarray
        Current of each LED [A].
    pads : ndarray of int
        Pad of each feed, ascending.
    feed_ohm : tuple of ndarray
        Plus and minus lead of each feed, fuse included [Ω].
    """
    # Nodes of a rail in turn: pad 0, LED 0, pad 1, … LED n − 1, pad n.
    plus_v, minus_v = (_rail_drop(ladder, led_a, pads, ohm) for ohm in feed_ohm)
    steps_v = plus_v[2:-1:2] - plus_v[1:-2:2]
    return LadderSolution(
        drop_v=plus_v[1::2] + minus_v[1::2],
        feed_a=plus_v[2 * pads] / np.maximum(feed_ohm[0], _LEAST_OHM),
        rail_a=np.abs(steps_v) / np.maximum(ladder.before_ohm[1:-1], _LEAST_OHM),
    )


def _rail_drop(
    ladder: Ladder, led_a: NDArray[np.float64], pads: NDArray[np.int64], feed_ohm: Ohms
) -> NDArray[np.float64]:
    from scipy.linalg import solveh_banded

    ohm = np.empty(2 * ladder.count)
    ohm[0::2], ohm[1::2] = ladder.after_ohm[:-1], ladder.before_ohm[1:]
    conductance = 1.0 / np.maximum(ohm, _LEAST_OHM)
    bands = np.zeros((2, 2 * ladder.count + 1))
    bands[0, 1:] = -conductance
    bands[1, 1:] += conductance
    bands[1, :-1] += conductance
    np.add.at(bands[1], 2 * pads, 1.0 / np.maximum(feed_ohm, _LEAST_OHM))
    sink = np.zeros(2 * ladder.count + 1)
    sink[1::2] = led_a
    return np.asarray(solveh_banded(bands, sink, check_finite=False), dtype=np.float64)


class Spans:
    """Drops along a ladder between ideal feeds, by running sums: where k feeds go best.

    Distances are loop ohms; S0 and S1 are the running sums of current and of current times distance.
    The drop at the far end of an end-fed run is Σ i (x_a − x); between two equal feeds the left one gives
    Σ i (x_b − x)/(x_b − x_a) and the lowest LED is where that is used up (Mehta, Principles of Power
    System, ch. 13, for lumped loads).
    """

    def __init__(self, ladder: Ladder, led_a: NDArray[np.float64]) -> None:
        pad = np.concatenate([[0.0], np.cumsum(ladder.after_ohm[:-1] + ladder.before_ohm[1:])])
        led = pad[:-1] + ladder.after_ohm[:-1]
        self._pad = (2 * pad).tolist()
        self._led = (2 * led).tolist()
        self._s0 = np.concatenate([[0.0], np.cumsum(led_a)]).tolist()
        self._s1 = np.concatenate([[0.0], np.cumsum(led_a * 2 * led)]).tolist()
        self.count = ladder.count
        self._last_pad = ladder.last_pad
        self._left_v = [self.left_end_v(a) for a in range(self.count + 1)]

    def _within(self, a: int, limit_v: float, b: int) -> bool:
        return self.between_v(a, b) <= limit_v

    def left_end_v(self, a: int) -> float:
        """Drop at LED 0 when fed from pad a [V]."""
        return float(self._pad[a] * self._s0[a] - self._s1[a]) if a else 0.0

    def right_end_v(self, b: int) -> float:
        """Drop at the last LED when fed from pad b [V]."""
        current = self._s0[-1] - self._s0[b]
        return float(self._s1[-1] - self._s1[b] - self._pad[b] * current)

    def between_v(self, a: int, b: int) -> float:
        """Largest drop between feeds at pads a and b [V]."""
        span = self._pad[b] - self._pad[a]
        moment = self._s1[b] - self._s1[a]
        current = self._s0[b] - self._s0[a]
        if span <= 0 or current <= 0:
            return 0.0
        left_a = (self._pad[b] * current - moment) / span
        m = min(max(bisect.bisect_left(self._s0, self._s0[a] + left_a) - 1, a), b - 1)
        used = (self._s0[m] - self._s0[a]) * self._led[m] - (self._s1[m] - self._s1[a])
        return float(left_a * (self._led[m] - self._pad[a]) - used)

    def greedy(self, limit_v: float) -> list[int]:
        """Return the fewest pads such that no LED drops more than `limit_v` below them."""
        pads = [bisect.bisect_right(self._left_v, limit_v) - 1]
        while self.right_end_v(pads[-1]) > limit_v:
            here = pads[-1]
            step = self._last(here, functools.partial(self._within, here, limit_v))
            pads.append(max(step, here + 1))
        return pads

    def _last(self, low: int, holds: Callable[[int], bool]) -> int:
        high = self.count
        while low < high:
            middle = (low + high + 1) // 2
            if holds(middle):
                low = middle
            else:
                high = middle - 1
        return low

    def best(self, feeds: int) -> NDArray[np.int64]:
        """Return the pads (ascending) of a number of ideal feeds with the smallest largest drop."""
        low, high = 0.0, self.right_end_v(0)
        pads = self.greedy(high)
        for _ in range(48):
            middle = (low + high) / 2
            tried = self.greedy(middle)
            if len(tried) <= feeds:
                high, pads = middle, tried
            else:
                low = middle
            if math.isclose(low, high, rel_tol=1e-6):
                break
        while len(pads) < min(feeds, self.count + 1):
            pads = _fill_widest(pads, self.count)
        return np.unique(np.minimum(pads, self._last_pad))


def _fill_widest(pads: list[int], count: int) -> list[int]:
    """Put one more pad into the widest gap, ends counted double as they are fed from one side."""
    edges = [-pads[0], *pads, 2 * count - pads[-1]]
    gaps = [(b - a, -a) for a, b in itertools.pairwise(edges)]
    left = gaps.index(max(gaps))
    if left == 0:
        return [0, *pads]
    if left == len(gaps) - 1:
        return [*pads, count]
    return sorted([*pads, (edges[left] + edges[left + 1]) // 2])


def straight_chain(count: int, pitch_mm: float) -> Chain:
    """Return a strip of one row, for questions without artwork; every LED in zone 0."""
    return Chain(
        arrangement="strip",
        pitch_mm=pitch_mm,
        x_mm=read_only(np.arange(count) * pitch_mm),
        y_mm=read_only(np.zeros(count)),
        zone=read_only(np.zeros(count, dtype=np.int16)),
        row=read_only(np.zeros(count, dtype=np.int16)),
    )
