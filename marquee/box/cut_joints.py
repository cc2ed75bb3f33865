"""How runs meet at junctions: slots for halving joints, and what each end is trimmed and bevelled to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from marquee.box.cut_runs import HALVING_DEGREES, STRAIGHT_DEGREES, Floats, Junctions, Run
from marquee.project_cut import CutSettings
from marquee.values import Box
from marquee.values_cut import EndKind

# No end is bevelled or trimmed for a flatter meeting than this; the rest is filled with glue (common practice).
_FLATTEST_DEGREES = 25.0


@dataclass(slots=True, eq=False)
class Ending:
    """How a run's end is made, before parts have numbers.

    `meets` is (run, place along it) or None; `shoulder_mm` is what the centre line loses in the lower half of the
    height, `tip_mm` in the upper. `bevel_degrees` is positive where the left side, seen going out, is longer.
    """

    kind: EndKind
    meets: tuple[int, float] | None = None
    shoulder_mm: float = 0.0
    tip_mm: float = 0.0
    bevel_degrees: float = 0.0


@dataclass(slots=True, eq=False)
class Halving:
    """A slot in a run at a place along it, to half the height, and what goes into it."""

    at_mm: float
    width_mm: float
    from_top: bool
    meets: tuple[int, float]


@dataclass(slots=True, eq=False)
class _Passing:
    run: int
    at_mm: float
    way: Floats
    turn_degrees: float


@dataclass(slots=True, eq=False)
class _Arriving:
    run: int
    at_end: bool
    at_mm: float
    way: Floats


Endings = dict[tuple[int, bool], Ending]
Halvings = dict[int, list[Halving]]


def join_runs(
    runs: list[Run], junctions: Junctions, box: Box, settings: CutSettings
) -> tuple[Endings, Halvings]:
    """Return how each (run, at its end) ends, and each run's slots."""
    passing: dict[int, list[_Passing]] = {}
    arriving: dict[int, list[_Arriving]] = {}
    for number, run in enumerate(runs):
        for at, node in run.nodes:
            if not run.closed and (at < 1e-9 or at > run.length_mm - 1e-9):
                end = at > 1e-9
                arriving.setdefault(node, []).append(_arrive(number, run, at_end=end))
            else:
                passing.setdefault(node, []).append(_pass(number, run, at))
    endings: Endings = {}
    halvings: Halvings = {}
    for node in range(len(junctions.xy_mm)):
        through, ends = passing.get(node, []), arriving.get(node, [])
        if junctions.on_rim[node]:
            _at_rim(ends, junctions.xy_mm[node], box, endings)
            continue
        if len(through) > 1:
            _cross(through[0], through[1], box, settings, halvings)
        if through:
            _end_on(through[0], ends, len(through), box, settings, endings, halvings)
        else:
            _end_together(ends, box, endings)
    return endings, halvings


def _arrive(number: int, run: Run, *, at_end: bool) -> _Arriving:
    a, b = (run.xy_mm[-2], run.xy_mm[-1]) if at_end else (run.xy_mm[1], run.xy_mm[0])
    return _Arriving(number, at_end, run.length_mm if at_end else 0.0, _unit(b - a))


def _pass(number: int, run: Run, at_mm: float) -> _Passing:
    at = run.stations_mm
    k = int(np.clip(np.searchsorted(at, at_mm + 1e-6) - 1, 0, len(at) - 2))
    after = _unit(run.xy_mm[k + 1] - run.xy_mm[k])
    before = after
    if abs(at[k] - at_mm) < 1e-6:
        before = _unit(run.xy_mm[k] - run.xy_mm[k - 1]) if k else _before_first(run)
    return _Passing(number, at_mm, _unit(before + after), turn_degrees(before, after))


def _before_first(run: Run) -> Floats:
    return _unit(run.xy_mm[-1] - run.xy_mm[-2])


def turn_degrees(before: Floats, after: Floats) -> float:
    """Return the turn from one direction to the next, positive clockwise as seen from the front."""
    cross = before[0] * after[1] - before[1] * after[0]
    return float(np.degrees(np.arctan2(cross, before @ after)))


def _unit(way: Floats) -> Floats:
    size = float(np.hypot(*way))
    return way / size if size > 1e-12 else np.array([1.0, 0.0])


def bevel_degrees(out: Floats, face: Floats) -> float:
    """Return the bevel of an end going `out` against a face that runs along `face`, left longer positive."""
    left = np.array([out[1], -out[0]])
    along = face if face @ left >= 0 else -face
    off_square = float(np.degrees(np.arccos(np.clip(along @ left, -1, 1))))
    return float(np.sign(along @ out)) * min(off_square, 90 - _FLATTEST_DEGREES)


def _sine(out: Floats, face: Floats) -> float:
    left = np.array([out[1], -out[0]])
    return max(abs(float(face @ left)), float(np.sin(np.radians(_FLATTEST_DEGREES))))


def bevel_reach_mm(bevel: float, thickness_mm: float) -> float:
    """Return how far a bevelled end's long side goes beyond its centre line [mm]."""
    return thickness_mm / 2 * float(np.tan(np.radians(abs(bevel))))


def slot_width_mm(cosine: float, thickness_mm: float, clearance_mm: float) -> float:
    """Return the width of a slot cut square through a sheet that lets one of the same thickness pass at an angle.

    (t + t |cos θ|) / sin θ and the clearance: the sheet's own thickness seen at the angle, and what the cut's
    square walls must give way for on the way through.
    """
    sine = float(np.sqrt(max(1 - cosine**2, 1e-6)))
    return (thickness_mm + thickness_mm * abs(cosine)) / sine + clearance_mm


def _cross(a: _Passing, b: _Passing, box: Box, settings: CutSettings, halvings: Halvings) -> None:
    width = slot_width_mm(float(a.way @ b.way), box.wall_thickness_mm, settings.joint_clearance_mm)
    for one, other, top in ((a, b, True), (b, a, False)):
        slot = Halving(one.at_mm, width, top, (other.run, other.at_mm))
        halvings.setdefault(one.run, []).append(slot)


def _end_on(
    through: _Passing,
    ends: list[_Arriving],
    throughs: int,
    box: Box,
    settings: CutSettings,
    endings: Endings,
    halvings: Halvings,
) -> None:
    """End runs on one that passes: the first by a tee halving where it comes near to square, others butted."""
    half = box.wall_thickness_mm / 2
    free = throughs == 1 and abs(through.turn_degrees) <= STRAIGHT_DEGREES
    for end in ends:
        meets = (through.run, through.at_mm)
        sine = _sine(end.way, through.way)
        loss = half / sine if abs(through.turn_degrees) <= STRAIGHT_DEGREES else half
        if free and sine >= np.sin(np.radians(HALVING_DEGREES)):
            free = False
            endings[end.run, end.at_end] = Ending("tee", meets, loss, -loss)
            cosine = float(end.way @ through.way)
            width = slot_width_mm(cosine, box.wall_thickness_mm, settings.joint_clearance_mm)
            slot = Halving(through.at_mm, width, True, (end.run, end.at_mm))
            halvings.setdefault(through.run, []).append(slot)
        else:
            straight = abs(through.turn_degrees) <= STRAIGHT_DEGREES
            bevel = bevel_degrees(end.way, through.way) if straight else 0.0
            endings[end.run, end.at_end] = Ending("butt", meets, loss, loss, bevel)


def _end_together(ends: list[_Arriving], box: Box, endings: Endings) -> None:
    """End runs that meet without one passing: the first two mitred, others butted into their corner."""
    if len(ends) == 1:
        endings[ends[0].run, ends[0].at_end] = Ending("free")
        return
    for k, end in enumerate(ends):
        other = ends[1 - k] if k < 2 else ends[0]
        meets = (other.run, other.at_mm)
        if k < 2:
            endings[end.run, end.at_end] = mitred(end.way, other.way, meets)
        else:
            half = box.wall_thickness_mm / 2
            endings[end.run, end.at_end] = Ending("butt", meets, half, half)


def mitred(out: Floats, other_out: Floats, meets: tuple[int, float]) -> Ending:
    """Return the end of a mitred corner between two strips that come to it along `out` and `other_out`."""
    plane = out + other_out
    if np.hypot(*plane) < 1e-6:  # in line: ends square
        return Ending("in-line", meets)
    return Ending("mitre", meets, 0.0, 0.0, bevel_degrees(out, _unit(plane)))


def _at_rim(ends: list[_Arriving], place: Floats, box: Box, endings: Endings) -> None:
    x = float(place[0])
    upright = min(x, box.width_mm - x) < 0.02
    face = np.array([0.0, 1.0]) if upright else np.array([1.0, 0.0])
    for end in ends:
        endings[end.run, end.at_end] = Ending("rim", None, 0.0, 0.0, bevel_degrees(end.way, face))
