"""Which pads, which wire, which fuses: the fewest feeds that keep every LED above its floor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.power.fuse import fuse_fits, fuse_ratings_a
from marquee.power.ladder import Ladder, LadderSolution, Spans, solve_ladder
from marquee.power.wire import Wire, copper_factor

# A feed goes to a row's end, where the strip is cut anyway, if that costs the lowest LED no more than this:
# common practice, no source.
_ROW_END_V = 0.1
# A fuse's resistance depends on its rating, and the currents a little on the resistance.
_FUSE_ROUNDS = 4
# Rounds of moving feeds to better pads; each round halves the step when nothing helps.
_ROUNDS = 40


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Task:
    """What a piece of chain needs. The last of `lengths_mm` goes for all further feeds."""

    led_a: NDArray[np.float64]
    rail_v: float
    floor_v: float
    lengths_mm: tuple[float, ...]
    conductor_c: float
    holder_ohm: float
    blade_drop_v: float

    def feed_lengths_mm(self, feeds: int) -> tuple[float, ...]:
        """Return the wire length of each of a number of feeds in chain order [mm]."""
        return tuple(self.lengths_mm[min(i, len(self.lengths_mm) - 1)] for i in range(feeds))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wiring:
    """Feeds at pads, all of one wire, each with its fuse [A]."""

    pads: NDArray[np.int64]
    wire: Wire
    fuse_a: tuple[float, ...]
    feed_a: NDArray[np.float64]
    lowest_v: float
    rail_a: float  # largest current in a rail
    holds: bool  # fuses fit, and no LED below the floor


def lead_ohm(
    wire: Wire, task: Task, count: int, fuse_a: tuple[float, ...] | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the plus and minus resistance of each feed [Ω]; the plus has fuse and holder."""
    lengths_mm = np.array(task.feed_lengths_mm(count))
    minus = wire.ohm_per_m_20c * copper_factor(task.conductor_c) * lengths_mm / 1000
    fuse = np.zeros(count) if fuse_a is None else task.blade_drop_v / np.array(fuse_a)
    return minus + fuse + task.holder_ohm, minus


def try_wiring(ladder: Ladder, task: Task, pads: NDArray[np.int64], wire: Wire) -> Wiring:
    """Return the wiring at given pads with one wire: currents, fuses, lowest voltage."""
    fuses: tuple[float, ...] | None = None
    solved = solve_ladder(ladder, task.led_a, pads, lead_ohm(wire, task, len(pads), fuses))
    for _ in range(_FUSE_ROUNDS):
        wanted = _fuses(solved.feed_a, wire)
        if wanted == fuses:
            break
        # Between two ratings that each call for the other, the larger stays.
        fuses = wanted if fuses is None else tuple(map(max, fuses, wanted))
        solved = solve_ladder(ladder, task.led_a, pads, lead_ohm(wire, task, len(pads), fuses))
    fuses = fuses or _fuses(solved.feed_a, wire)
    fits = [fuse_fits(amps, wire) for amps in solved.feed_a]
    lowest_v = task.rail_v - float(np.max(solved.drop_v))
    jumper_a = _jumper_a(ladder, solved)
    return Wiring(
        pads=pads,
        wire=wire,
        fuse_a=fuses,
        feed_a=solved.feed_a,
        lowest_v=lowest_v,
        rail_a=float(np.max(solved.rail_a, initial=0.0)),
        holds=all(fit is not None for fit in fits)
        and lowest_v >= task.floor_v
        and jumper_a <= wire.current_a,
    )


def _jumper_a(ladder: Ladder, solution: LadderSolution) -> float:
    return float(np.max(solution.rail_a[ladder.jumper[1:-1]], initial=0.0))


def _fuses(feed_a: NDArray[np.float64], wire: Wire) -> tuple[float, ...]:
    """Fitting fuses; where none fits, the largest that still protects the wire."""
    ratings = fuse_ratings_a()
    largest = max((r for r in ratings if r <= wire.current_a), default=ratings[0])
    return tuple(fuse_fits(float(amps), wire) or largest for amps in feed_a)


def search_wiring(ladder: Ladder, task: Task, wires: tuple[Wire, ...]) -> Wiring:
    """Return the wiring with the fewest feeds, and for those the thinnest wire that holds.

    The number is found on feeds placed as if their wires had no resistance, the best places for equal
    pad voltages; then one feed fewer is tried with places improved on the true circuit until it fails.
    Where nothing holds, the best that was seen comes back with `holds` False.
    """
    spans = Spans(ladder, task.led_a)
    most = ladder.last_pad + 1
    found = _gallop(ladder, task, wires, spans, most)
    if found is None:
        return _best_effort(ladder, task, wires, spans)
    while len(found.pads) > 1:
        fewer = _improved(ladder, task, wires[-1], spans.best(len(found.pads) - 1))
        if not fewer.holds:
            break
        found = fewer
    return _at_row_ends(ladder, task, _thinnest(ladder, task, wires, found))


def _at_row_ends(ladder: Ladder, task: Task, found: Wiring) -> Wiring:
    """Move single feeds to the nearest row end where everything still holds at little loss."""
    ends = np.unique([0, *np.flatnonzero(ladder.jumper), ladder.last_pad])
    least_v = found.lowest_v - _ROW_END_V
    for index in range(len(found.pads)):
        moved = found.pads.copy()
        moved[index] = ends[np.argmin(np.abs(ends - moved[index]))]
        if len(np.unique(moved)) < len(moved):
            continue
        tried = try_wiring(ladder, task, np.sort(moved), found.wire)
        if tried.holds and tried.lowest_v >= least_v:
            found = tried
    return found


def _gallop(
    ladder: Ladder, task: Task, wires: tuple[Wire, ...], spans: Spans, most: int
) -> Wiring | None:
    def tried(feeds: int) -> Wiring:
        return try_wiring(ladder, task, spans.best(feeds), wires[-1])

    low, feeds = 0, 1
    result = tried(feeds)
    while not result.holds:
        if feeds == most:
            return None
        low, feeds = feeds, min(2 * feeds, most)
        result = tried(feeds)
    while feeds - low > 1:
        middle = (low + feeds) // 2
        inner = tried(middle)
        if inner.holds:
            feeds, result = middle, inner
        else:
            low = middle
    return result


def _thinnest(ladder: Ladder, task: Task, wires: tuple[Wire, ...], found: Wiring) -> Wiring:
    for wire in wires:
        tried = try_wiring(ladder, task, found.pads, wire)
        if not tried.holds:
            tried = _improved(ladder, task, wire, found.pads)
        if tried.holds:
            return tried
    return found


def _score(wiring: Wiring, floor_v: float) -> tuple[bool, float, float]:
    """Higher is better: it holds, then the lowest LED up to its floor, then even feed currents."""
    return (
        wiring.holds,
        round(min(wiring.lowest_v, floor_v), 9),
        -round(float(np.max(wiring.feed_a)), 9),
    )


def _improved(ladder: Ladder, task: Task, wire: Wire, pads: NDArray[np.int64]) -> Wiring:
    """Move single feeds along the chain, each as soon as that helps, until nothing does."""
    best = try_wiring(ladder, task, pads, wire)
    step = max(1, ladder.count // (4 * len(pads)))
    for _ in range(_ROUNDS):
        before = best
        for index in range(len(pads)):
            for shift in (-step, step):
                if best.holds:
                    return best
                moved = _moved(best.pads, index, shift, ladder.last_pad)
                if moved is None:
                    continue
                tried = try_wiring(ladder, task, moved, wire)
                if _score(tried, task.floor_v) > _score(best, task.floor_v):
                    best = tried
        if best is before:
            if step == 1:
                break
            step = max(1, step // 2)
    return best


def _moved(pads: NDArray[np.int64], index: int, shift: int, last: int) -> NDArray[np.int64] | None:
    moved = pads.copy()
    moved[index] += shift
    inside = 0 <= moved[index] <= last
    return moved if inside and bool(np.all(np.diff(moved) > 0)) else None


def _best_effort(ladder: Ladder, task: Task, wires: tuple[Wire, ...], spans: Spans) -> Wiring:
    """Nothing holds: the fewest feeds whose fuses fit, however low the voltage, up to eight."""
    counts = range(1, min(9, ladder.last_pad + 2))
    tried = [try_wiring(ladder, task, spans.best(k), wires[-1]) for k in counts]
    return max(tried, key=lambda wiring: _score(wiring, task.floor_v))
