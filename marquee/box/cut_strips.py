"""Runs to flat strips: where they are divided, folded, slotted and notched, and their outlines."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from marquee.box.cut_joints import (
    Ending,
    Endings,
    Halving,
    Halvings,
    bevel_reach_mm,
    mitred,
    turn_degrees,
)
from marquee.box.cut_runs import Floats, Run, stretch
from marquee.box.cut_tapers import Stretch
from marquee.project_cut import CutSettings
from marquee.values import Box, Path_mm
from marquee.values_cut import End, Fold, Notch, Slot, Strip, Taper

# A bend below this is no fold: the sheet gives [degrees]. How deep folds are scored, as a share of the thickness;
# what is left bends about its middle (both common practice, no source).
_LEAST_FOLD_DEGREES, SCORE_SHARE = 1.0, 0.5
# Strips are not divided nearer than this to folds, slots and notches [mm].
_KEEP_OFF_MM = 8.0
# Narrowest notch [mm] (common practice, no source).
_LEAST_NOTCH_MM = 3.0
# Score lines nearer to an end than this are left out [mm].
_EDGE_MM = 0.5


@dataclass(slots=True, eq=False)
class Part:
    """A part to be: a stretch of a run, and how its ends are made."""

    run: int
    start_mm: float
    end_mm: float
    first: Ending
    last: Ending
    name: str = ""


def divide(
    runs: list[Run],
    endings: Endings,
    halvings: Halvings,
    openings: list[list[tuple[float, float, int]]],
    most_mm: float,
    settings: CutSettings,
) -> list[Part]:
    """Return the runs as parts no longer than `most_mm`, sharp corners divided too, numbered by wall."""
    parts: list[Part] = []
    letters: dict[int, int] = {}
    for number, run in enumerate(runs):
        slots = [h.at_mm for h in halvings.get(number, [])]
        busy = [*slots, *(x for a, b, _ in openings[number] for x in (a, b))]
        for part in _divided(number, run, endings, busy, most_mm, settings.most_fold_degrees):
            wall = min(run.walls)
            letters[wall] = letters.get(wall, -1) + 1
            part.name = f"W{wall}-{piece_letter(letters[wall])}"
            parts.append(part)
    return parts


def piece_letter(index: int) -> str:
    """Return the letter of a piece: a to z, then aa and so on."""
    return ("" if index < 26 else piece_letter(index // 26 - 1)) + "abcdefghijklmnopqrstuvwxyz"[
        index % 26
    ]


def _divided(
    number: int, run: Run, endings: Endings, busy: list[float], most_mm: float, most_fold: float
) -> list[Part]:
    at = run.stations_mm
    turns = _turns(run.xy_mm)
    sharp = [k for k in range(1, len(at) - 1) if abs(turns[k]) > most_fold]
    breaks: list[tuple[float, Ending, Ending]] = []
    for k in sharp:
        into = _unit(run.xy_mm[k] - run.xy_mm[k - 1])
        out = _unit(run.xy_mm[k] - run.xy_mm[k + 1])
        here = (number, float(at[k]))
        breaks.append((float(at[k]), mitred(into, out, here), mitred(out, into, here)))
    edges = [0.0, *(b[0] for b in breaks), run.length_mm]
    folds = [float(at[k]) for k in range(1, len(at) - 1) if abs(turns[k]) > _LEAST_FOLD_DEGREES]
    for a, b in itertools.pairwise(edges):
        count = int(np.ceil((b - a) / most_mm))
        for i in range(1, count):
            place = calm_place(a + (b - a) * i / count, (b - a) / count, [*folds, *busy], most_mm)
            breaks.append(
                (place, Ending("in-line", (number, place)), Ending("in-line", (number, place)))
            )
    first = Ending("seam", (number, run.length_mm)) if run.closed else endings[number, False]
    last = Ending("seam", (number, 0.0)) if run.closed else endings[number, True]
    breaks.sort(key=lambda b: b[0])
    starts = [(0.0, first), *((p, after) for p, _, after in breaks)]
    ends = [*((p, before) for p, before, _ in breaks), (run.length_mm, last)]
    return [
        Part(number, a, b, first, last) for (a, first), (b, last) in zip(starts, ends, strict=True)
    ]


def calm_place(wanted: float, length: float, busy: list[float], most_mm: float) -> float:
    """Return the place nearest the wanted one that is clear of everything.

    It is moved by a tenth of the pieces' length at most, and so that none becomes longer than `most_mm`.
    """
    reach = min(0.1 * length, (most_mm - length) / 2)
    steps = np.arange(0, max(reach, 0.1), 0.5)
    options = np.unique(np.concatenate([wanted - steps, wanted + steps]))
    options = options[np.argsort(np.abs(options - wanted), kind="stable")]
    if not busy:
        return wanted
    clear = np.abs(options[:, None] - np.array(busy)).min(axis=1)
    good = clear >= _KEEP_OFF_MM
    return float(options[int(good.argmax()) if good.any() else int(clear.argmax())])


def _turns(xy: Floats) -> Floats:
    turns = np.zeros(len(xy))
    steps = np.diff(xy, axis=0)
    for k in range(1, len(xy) - 1):
        turns[k] = turn_degrees(_unit(steps[k - 1]), _unit(steps[k]))
    return turns


def _unit(way: Floats) -> Floats:
    return np.asarray(way / max(float(np.hypot(*way)), 1e-12))


@dataclass(slots=True, eq=False)
class Worked:
    """What is worked into a run: slots, places over LED rows (from, to, row), and tapers."""

    halvings: list[Halving]
    openings: list[tuple[float, float, int]]
    tapers: list[Stretch]


@dataclass(slots=True, eq=False)
class _Flat:
    """A part laid flat: places along the run [mm] to places along the part."""

    start_mm: float
    tip_mm: float
    fold_at: Floats
    fold_by: Floats

    def at(self, place_mm: float) -> float:
        """Return the place on the flat part; a place on a fold lies at its middle."""
        before = self.fold_by[self.fold_at < place_mm - 1e-6].sum()
        here = self.fold_by[np.abs(self.fold_at - place_mm) <= 1e-6].sum() / 2
        return float(place_mm - self.start_mm - self.tip_mm - before - here)


def make_strip(
    part: Part,
    parts: list[Part],
    run: Run,
    worked: Worked,
    box: Box,
    settings: CutSettings,
) -> Strip:
    """Return a part as a flat strip with everything on it."""
    t = box.wall_thickness_mm
    at, turns = run.stations_mm, _turns(run.xy_mm)
    inside = (at > part.start_mm + 1e-6) & (at < part.end_mm - 1e-6)
    folded = inside & (np.abs(turns) > _LEAST_FOLD_DEGREES)
    by = SCORE_SHARE * t * np.tan(np.radians(np.abs(turns[folded])) / 2)
    start, first = _end(part.first, parts, t, at_start=True)
    end, last = _end(part.last, parts, t, at_start=False)
    flat = _Flat(part.start_mm, min(first), at[folded], by)
    run_mm, folds_mm = part.end_mm - part.start_mm, float(by.sum())
    length = run_mm - folds_mm - min(first) - min(last)
    folds = tuple(
        Fold(
            at_mm=flat.at(float(place)),
            degrees=float(turn),
            scored="left" if turn > 0 else "right",
        )
        for place, turn in zip(at[folded], turns[folded], strict=True)
        # A bend within what is trimmed off an end is not on the part.
        if _EDGE_MM < flat.at(float(place)) < length - _EDGE_MM
    )
    slots = _slots(part, parts, worked.halvings, flat, box)
    notches = _notches(part, worked.openings, flat, length, settings)
    ends = (first[0] - min(first), first[1] - min(first), last[0] - min(last), last[1] - min(last))
    return Strip(
        part=part.name,
        walls=run.walls,
        path_mm=_path(stretch(run.xy_mm, at, part.start_mm, part.end_mm)),
        run_mm=run_mm,
        folds_mm=folds_mm,
        length_mm=length,
        height_mm=box.wall_height_mm,
        start=start,
        end=end,
        folds=folds,
        slots=slots,
        notches=notches,
        outline_mm=_outline(length, box.wall_height_mm, ends, slots, notches),
        tapers=_tapers(part, worked.tapers, flat, length),
    )


def _end(
    ending: Ending, parts: list[Part], thickness_mm: float, *, at_start: bool
) -> tuple[End, tuple[float, float]]:
    """Return the end as stated and what the centre line loses there (lower half, upper half)."""
    reach = bevel_reach_mm(ending.bevel_degrees, thickness_mm)
    loss = (ending.shoulder_mm - reach, ending.tip_mm - reach)
    # Going out at the start is going back along the strip: left and right change places.
    bevel = -ending.bevel_degrees if at_start else ending.bevel_degrees
    meets = "" if ending.meets is None else _name_at(ending.meets, parts, later=not at_start)
    end = End(kind=ending.kind, meets=meets, trim_mm=min(loss), bevel_degrees=bevel + 0.0)
    return end, loss


def _name_at(place: tuple[int, float], parts: list[Part], *, later: bool) -> str:
    """Return the number of the part at a place of a run; where two meet there, the later or the earlier."""
    run, at = place
    here = [p for p in parts if p.run == run and p.start_mm - 1e-6 <= at <= p.end_mm + 1e-6]
    here.sort(key=lambda p: p.start_mm)
    return here[-1 if later else 0].name


def _slots(
    part: Part, parts: list[Part], halvings: list[Halving], flat: _Flat, box: Box
) -> tuple[Slot, ...]:
    return tuple(
        Slot(
            at_mm=flat.at(h.at_mm),
            width_mm=h.width_mm,
            depth_mm=box.wall_height_mm / 2,
            from_top=h.from_top,
            meets=_name_at(h.meets, parts, later=True),
        )
        for h in sorted(halvings, key=lambda h: h.at_mm)
        if part.start_mm - 1e-6 <= h.at_mm <= part.end_mm + 1e-6
    )


def _tapers(
    part: Part, stretches: list[Stretch], flat: _Flat, length_mm: float
) -> tuple[Taper, ...]:
    found = []
    for low, high, side in stretches:
        a, b = max(low, part.start_mm), min(high, part.end_mm)
        if b - a > 1e-6:
            left, right = max(flat.at(a), 0.0), min(flat.at(b), length_mm)
            found.append(Taper(at_mm=(left + right) / 2, width_mm=right - left, side=side))
    return tuple(found)


def _notches(
    part: Part,
    openings: list[tuple[float, float, int]],
    flat: _Flat,
    length_mm: float,
    settings: CutSettings,
) -> tuple[Notch, ...]:
    found = []
    for low, high, row in openings:
        a, b = max(low, part.start_mm), min(high, part.end_mm)
        if b - a > 1e-6:
            left, right = max(flat.at(a), 0.0), min(flat.at(b), length_mm)
            # A narrower one cannot be cut cleanly.
            spare = max(_LEAST_NOTCH_MM - (right - left), 0) / 2
            left, right = max(left - spare, 0.0), min(right + spare, length_mm)
            found.append(
                Notch(
                    at_mm=(left + right) / 2,
                    width_mm=right - left,
                    height_mm=settings.notch_height_mm,
                    row=row,
                )
            )
    return tuple(found)


def _outline(
    length_mm: float,
    height_mm: float,
    ends: tuple[float, float, float, float],
    slots: tuple[Slot, ...],
    notches: tuple[Notch, ...],
) -> Path_mm:
    """Return the flat shape; `ends` are the steps back of start (lower, upper) and end (lower, upper) [mm]."""
    import shapely

    low_a, high_a, low_b, high_b = ends
    half = height_mm / 2
    shape = shapely.union(
        shapely.box(low_a, 0, length_mm - low_b, half),
        shapely.box(high_a, half, length_mm - high_b, height_mm),
    )
    # Cuts reach beyond the edge, so that no film is left on it.
    cuts = [
        shapely.box(
            s.at_mm - s.width_mm / 2,
            height_mm - s.depth_mm if s.from_top else -1.0,
            s.at_mm + s.width_mm / 2,
            height_mm + 1.0 if s.from_top else s.depth_mm,
        )
        for s in slots
    ]
    for n in notches:
        # A notch that all but reaches the end takes the end's foot with it.
        a = -1.0 if n.at_mm - n.width_mm / 2 < low_a + 0.5 else n.at_mm - n.width_mm / 2
        b = n.at_mm + n.width_mm / 2
        b = length_mm + 1.0 if b > length_mm - low_b - 0.5 else b
        cuts.append(shapely.box(a, -1.0, b, n.height_mm))
    if cuts:
        shape = shapely.difference(shape, shapely.union_all(cuts))
    largest = max(shapely.get_parts(shape), key=lambda p: p.area)
    ring = shapely.get_exterior_ring(shapely.normalize(shapely.simplify(largest, 0)))
    return _path(shapely.get_coordinates(ring)[::-1][:-1])


def _path(xy: Floats) -> Path_mm:
    return tuple((float(x), float(y)) for x, y in xy)
