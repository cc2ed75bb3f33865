"""The wiring as decided, on the full circuit: every LED's voltage, and each feed open in turn."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from marquee.parallel import run_all
from marquee.power.basis import Design
from marquee.power.circuit import Circuit, Lead, solve_circuit
from marquee.power.fuse import least_rating_a
from marquee.power.ladder import Ladder, rail_row, solve_ladder
from marquee.power.rails import Knee, Solution
from marquee.power.search import lead_ohm
from marquee.power.supply import usable_a
from marquee.values import OpenFeed

# LEDs times open feeds from which the cases are shared out (measured: 0.03 ms each, 15 ms to share out).
_MUCH = 2000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wired:
    """A ladder with its feeds: pads ascending, plus and minus ohms of each lead."""

    ladder: Ladder
    led_a: NDArray[np.float64]
    rail_v: float
    pads: NDArray[np.int64]
    lead_ohm: tuple[NDArray[np.float64], NDArray[np.float64]]
    cuts: tuple[int, ...] = ()


def wire_up(design: Design) -> Wired:
    """Return a design's whole chain with all its feeds, the plus rail cut between supplies."""
    basis = design.basis
    return Wired(
        ladder=basis.ladder(design.wire),
        led_a=basis.led_a,
        rail_v=basis.supply.volts,
        pads=design.pads,
        lead_ohm=lead_ohm(design.wire, basis.task(), len(design.pads), design.fuses_a),
        cuts=tuple(piece.start for piece in design.pieces[1:]),
    )


def solve_wired(wired: Wired, knee: Knee | None) -> tuple[Solution, NDArray[np.float64]]:
    """Return the solution and each feed's current [A], the knee counted where any LED falls below it."""
    solution, feed_a = solve_circuit(as_circuit(wired, None))
    if knee is not None and float(np.min(solution.led_v)) < knee.high_v:
        solution, feed_a = solve_circuit(as_circuit(wired, knee))
    return solution, feed_a


def plan_fits(design: Design) -> bool:
    """Return whether a capped sign may show its planned bytes as they are.

    At their hungriest step and with the part's largest currents, the supply stays at 80 %, every feed
    within its fuse and every LED above the floor, on the full network.
    """
    basis, load = design.basis, design.basis.load
    if not load.driven or basis.brightness_cap >= 1:
        return False
    if load.peak_total_a > usable_a(basis.supply) * (1 + 1e-9):
        return False
    solution, feed_a = solve_circuit(as_circuit(replace(wire_up(design), led_a=load.peak_a), None))
    fused = all(
        least_rating_a(float(amps)) <= fuse_a * (1 + 1e-9)
        for amps, fuse_a in zip(feed_a, design.fuses_a, strict=True)
    )
    return fused and float(np.min(solution.led_v)) >= basis.floor_v - 1e-9


def as_circuit(wired: Wired, knee: Knee | None) -> Circuit:
    """Return the resistor network of a wired ladder."""
    ladder = wired.ladder
    segment = ladder.before_ohm + ladder.after_ohm
    share = ladder.before_ohm / np.maximum(segment, 1e-12)
    plus, minus = wired.lead_ohm
    feeds = tuple(
        (int(pad), Lead(ohm=float(low), extra_ohm_pos=float(high - low)))
        for pad, high, low in zip(wired.pads, plus, minus, strict=True)
    )
    return Circuit(
        supply_v=wired.rail_v,
        led_a=wired.led_a,
        segment_pos_ohm=segment,
        segment_gnd_ohm=segment,
        feeds=feeds,
        knee=knee,
        cuts=wired.cuts,
        pad_share=share,
    )


def knee_for(regulation_v: float | None, nominal_v: float) -> Knee | None:
    """Return how an LED's current falls below its regulation voltage, None where that is not known."""
    share, _ = rail_row("sink", "collapse_share")
    if regulation_v is None or regulation_v <= share * nominal_v:
        return None
    return Knee(low_v=share * nominal_v, high_v=regulation_v)


def open_feeds(
    wired: Wired, knee: Knee | None, groups: NDArray[np.int64], most: int = 12
) -> tuple[OpenFeed, ...]:
    """Return what each open feed does, worst first; of many, those with the most constant-current drop on their piece.

    Parameters
    ----------
    wired : Wired
        The chain.
    knee : Knee or None
        How currents fall at low voltage.
    groups : ndarray of int
        Supply of each feed; a supply's only feed takes its piece dark and is left out.
    most : int
        Number of cases solved on the full circuit.
    """
    alone = [np.count_nonzero(groups == groups[i]) == 1 for i in range(len(groups))]
    cases = [i for i in range(len(wired.pads)) if not alone[i]]
    if len(cases) > most:
        cases = sorted(cases, key=lambda i: -_constant_drop_v(wired, i))[:most]
    jobs = [partial(_without, wired, knee, index) for index in cases]
    much = wired.ladder.count * len(jobs) > _MUCH
    results: list[OpenFeed] = run_all(jobs, None if much else 1)
    return tuple(sorted(results, key=lambda case: (case.min_led_v, case.feed)))


def _kept(wired: Wired, index: int) -> Wired:
    keep = np.arange(len(wired.pads)) != index
    plus, minus = wired.lead_ohm
    return replace(wired, pads=wired.pads[keep], lead_ohm=(plus[keep], minus[keep]))


def _constant_drop_v(wired: Wired, index: int) -> float:
    """Return the largest drop on the piece between two cuts that the feed serves, the feed open [V]."""
    kept, pad = _kept(wired, index), int(wired.pads[index])
    start = max((cut for cut in wired.cuts if cut <= pad), default=0)
    stop = min((cut for cut in wired.cuts if cut > pad), default=wired.ladder.count)
    own = (kept.pads >= start) & ((kept.pads < stop) | (stop == wired.ladder.count))
    plus, minus = kept.lead_ohm
    solved = solve_ladder(
        wired.ladder.part(start, stop),
        wired.led_a[start:stop],
        kept.pads[own] - start,
        (plus[own], minus[own]),
    )
    return float(np.max(solved.drop_v))


def _without(wired: Wired, knee: Knee | None, index: int) -> OpenFeed:
    solution, feed_a = solve_circuit(as_circuit(_kept(wired, index), knee))
    led_v = solution.led_v
    largest = int(np.argmax(feed_a))
    return OpenFeed(
        feed=index,
        min_led_v=float(np.min(led_v)),
        worst_led=int(np.argmin(led_v)),
        below_count=0 if knee is None else int(np.count_nonzero(led_v < knee.high_v)),
        largest_feed=largest if largest < index else largest + 1,
        largest_feed_a=float(feed_a[largest]),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FarShort:
    """A short at the farthest place a feed serves: what flows through that feed [A], and where."""

    feed: int
    at_led: int
    current_a: float


def far_shorts(wired: Wired) -> tuple[FarShort, ...]:
    """Return, for each feed, the current of a short at the farthest place it serves.

    That is the chain's end, a cut, or half-way to the next feed; the strip's copper limits it: V over
    lead and rails, other feeds and LEDs aside.
    """
    ladder, pads = wired.ladder, wired.pads
    pad_ohm = np.concatenate([[0.0], np.cumsum(ladder.after_ohm[:-1] + ladder.before_ohm[1:])])
    edges = np.unique([0, *wired.cuts, ladder.count])
    plus, minus = wired.lead_ohm
    found = []
    for i, pad in enumerate(pads):
        low = int(edges[edges <= pad][-1])
        high = int(edges[edges >= max(pad, 1)][0]) if pad < ladder.count else ladder.count
        if i > 0 and pads[i - 1] >= low:
            low = int(pad + pads[i - 1] + 1) // 2
        if i + 1 < len(pads) and pads[i + 1] <= high:
            high = int(pad + pads[i + 1]) // 2
        far = max((low, high), key=lambda k: abs(pad_ohm[k] - pad_ohm[pad]))
        ohm = plus[i] + minus[i] + 2 * abs(float(pad_ohm[far] - pad_ohm[pad]))
        found.append(
            FarShort(
                feed=i, at_led=min(far, ladder.count - 1), current_a=float(wired.rail_v / ohm)
            )
        )
    return tuple(found)
