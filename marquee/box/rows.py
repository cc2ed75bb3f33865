"""Strip: straight rows of LEDs at the strip's pitch, laid over the box and cut where they light nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.box.chambers import Chambers
from marquee.box.ground import Floats
from marquee.box.quick_light import QuickLight

Ints = NDArray[np.intp]
# A dark stretch this long is cut out of the strip and bridged by a jumper, for less it stays
# (common practice, no source: a jumper is three wires with six joints).
_CUT_OUT_LEDS = 4
# Shifts of each row tried, along in parts of the pitch and across in parts of the room; fewer where LEDs are many.
_SHIFTS = ((8, 9), (6, 7), (4, 5), (2, 3))
_MOST_PLACES = 20_000
# Two rows lie no nearer to each other than strips are wide, nor half as near to the rim (10 mm, common practice, no
# source).
_STRIP_MM = 10.0
# What choices are worth, in evenness (judgement): a cell without any LED, one LED more, a millimetre off the middle across
# and along; and the least gain for which one row departs from the others.
_MISSED, _PER_LED, _PER_MM_ACROSS, _PER_MM_ALONG = 0.5, 0.002, 0.001, 0.0005
_LEAST_GAIN = 0.01
# Evenness above these counts for less: other zones need it more (judgement; the estimate is some 0.05 above the model).
_EVEN, _WORTH = (0.0, 0.7, 0.85, 1.0), (0.0, 0.7, 0.78, 0.8)
_MOST_ROUNDS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """How LEDs sit on the strip: `group` LEDs to an address, `pitch_mm` between single LEDs, `half_mm` of a package."""

    pitch_mm: float
    group: int
    half_mm: float

    @property
    def address_mm(self) -> float:
        """Spacing of addresses, where the strip can be cut between them."""
        return self.pitch_mm * self.group

    @property
    def half_length_mm(self) -> float:
        """From an address's middle to the far side of its last package."""
        return self.half_mm + (self.group - 1) / 2 * self.pitch_mm

    def members(self, middle: Floats, way: Floats) -> Floats:
        """Return (n, group, 2) the places of the LEDs of addresses at `middle` (n, 2) along `way` (2,)."""
        along = (np.arange(self.group) - (self.group - 1) / 2) * self.pitch_mm
        return middle[:, None, :] + along[:, None] * way


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """Addresses row by row: places, row numbers, which cell lights each (-1 none), and how far rows were moved.

    `holding` is the cell each stands in wholly, `way` (2,) the rows' direction, `across_mm` the most any row lies off
    even spacing about the face's middle, `along_mm` the most one was shifted along itself.
    """

    xy_mm: Floats
    row: Ints
    cell: Ints
    holding: Ints
    way: Floats
    across_mm: float
    along_mm: float

    @property
    def on_wall(self) -> int:
        """Places that meet a wall."""
        return int((self.holding < 0).sum())


def lay_rows(chambers: Chambers, pattern: Pattern, quick: QuickLight) -> Rows:
    """Return the rows of strip that light the apertures most evenly by the instant estimate.

    Rows run along the longer side of the face, spaced near the pitch about its middle; they are shifted, spread
    outwards or, one by one, moved off even spacing where that makes zones more even or lights more cells.

    Parameters
    ----------
    chambers : Chambers
    pattern : Pattern
    quick : QuickLight
    """
    grid = _Candidates(chambers, pattern, quick)
    chosen = grid.refined(grid.best_alike())
    return grid.rows(chosen)


class _Candidates:
    """Every row at every shift, with the light it would give; a choice is one (along, across) pair of steps a row."""

    def __init__(self, chambers: Chambers, pattern: Pattern, quick: QuickLight) -> None:
        self.chambers, self.pattern, self.quick = chambers, pattern, quick
        upright = chambers.height_mm > chambers.width_mm
        sides = (chambers.height_mm, chambers.width_mm)
        along_mm, across_mm = sides if upright else sides[::-1]
        self.way = np.array([0.0, 1.0]) if upright else np.array([1.0, 0.0])
        self.count = max(1, round(across_mm / pattern.pitch_mm))
        self.spacing = across_mm / self.count
        each = along_mm / pattern.address_mm * self.count
        steps = next((s for s in _SHIFTS if s[0] * s[1] * each <= _MOST_PLACES), _SHIFTS[-1])
        phases, self.half = steps[0], steps[1] // 2
        self.along_mm = (np.arange(phases) - phases // 2) / phases * pattern.address_mm
        room = max(0.0, self.spacing / 2 - pattern.half_mm)
        self.across_mm = np.arange(-self.half, self.half + 1) / max(self.half, 1) * room
        self.middle_mm = (np.arange(self.count) + 0.5) * self.spacing
        self.rims_mm = np.array([0.0, across_mm])
        self._lay(along_mm)
        self._light()

    def _lay(self, length_mm: float) -> None:
        """Place every candidate's addresses; `owner` numbers candidates row by row, phase by phase, step by step."""
        pattern = self.pattern
        lines = [_along(length_mm, pattern, shift) for shift in self.along_mm]
        across = self.middle_mm[:, None] + self.across_mm
        shape = (self.count, len(lines), len(self.across_mm))
        number = np.arange(self.count * len(lines) * len(self.across_mm)).reshape(shape)
        a, c, owner = [], [], []
        for phase, line in enumerate(lines):
            grid = np.broadcast_to(across[..., None], (*across.shape, len(line)))
            c.append(grid.ravel())
            a.append(np.broadcast_to(line, grid.shape).ravel())
            owner.append(np.repeat(number[:, phase].ravel(), len(line)))
        order = np.argsort(np.concatenate(owner), kind="stable")
        both = np.stack([np.concatenate(a), np.concatenate(c)], axis=1)[order]
        self.xy = both[:, ::-1] if self.way[1] else both
        self.owner = np.concatenate(owner)[order]
        members = pattern.members(self.xy, self.way)
        self.holding = held_wholly(self.chambers, members)
        self.cell = self.chambers.cell_for(self.xy, self.holding)
        self.shape = shape

    def _light(self) -> None:
        total = int(np.prod(self.shape))
        self.lux = np.zeros((total, self.quick.count), np.float32)
        cells = sorted(self.quick.cells)
        self.lit = np.zeros((total, len(cells)), np.int32)
        for k, cell in enumerate(cells):
            own = np.flatnonzero(self.cell == cell)
            if not len(own):
                continue
            members = self.pattern.members(self.xy[own], self.way)
            lux = self.quick.lux(cell, members.reshape(-1, 2))
            owner, starts = np.unique(self.owner[own], return_index=True)
            first = self.quick.cells[cell].first
            self.lux[owner, first : first + lux.shape[1]] = np.add.reduceat(
                lux, starts * self.pattern.group, axis=0
            )
            self.lit[:, k] = np.bincount(self.owner[own], minlength=total)
        self.number = np.arange(total).reshape(self.shape)
        # What no candidate reaches is asked of no choice.
        reached = self.lux.any(axis=0)
        self.lux[:, ~reached] = np.nan

    def worth(self, lux: NDArray[np.float32], lit: NDArray[np.int32]) -> Floats:
        """Return (choices,) what light (choices, asked) and LEDs in cells (choices, cells) are worth."""
        seen = np.where(lux > 0, lux, np.nan)
        low = np.fmin.reduceat(seen, self.quick.starts, axis=1)
        high = np.fmax.reduceat(seen, self.quick.starts, axis=1)
        evenness = np.nan_to_num(low / high)
        worth = np.interp(evenness, _EVEN, _WORTH).sum(axis=1)
        missed = (lit[:, self.lit.any(axis=0)] == 0).sum(axis=1)
        return np.asarray(worth - _MISSED * missed + _PER_LED * lit.sum(axis=1), float)

    def moved(self, phase: Ints, step: Ints) -> Floats:
        """Return what shifts of (…, rows) cost."""
        across, along = np.abs(self.across_mm[step]), np.abs(self.along_mm[phase])
        moved = ((across > 0) | (along > 0)).mean(axis=-1) * _LEAST_GAIN
        moved += across.mean(axis=-1) * _PER_MM_ACROSS + along.mean(axis=-1) * _PER_MM_ALONG
        return np.asarray(moved + (along > 0).mean(axis=-1) * _LEAST_GAIN, float)

    def best_alike(self) -> tuple[Ints, Ints]:
        """Return the best choice of all rows shifted alike and spread evenly, (rows,) phases and steps across."""
        phases, steps = len(self.along_mm), len(self.across_mm)
        reach = np.linspace(-1, 1, self.count) if self.count > 1 else np.zeros(1)
        choices: list[tuple[Ints, Ints]] = []
        for spread in range(self.half + 1):
            outwards = np.rint(spread * reach).astype(np.intp)
            for shift in range(-self.half, self.half + 1):
                step = self.half + shift + outwards
                if step.min() < 0 or step.max() >= steps or not self._apart(step):
                    continue
                choices += [(np.full(self.count, p), step) for p in range(phases)]
        worth = np.array(
            [
                self.worth(self.lux[n].sum(axis=0)[None], self.lit[n].sum(axis=0)[None])[0]
                for n in (self.number[np.arange(self.count), p, s] for p, s in choices)
            ]
        )
        phase, step = np.array([c[0] for c in choices]), np.array([c[1] for c in choices])
        return choices[int(np.argmax(worth - self.moved(phase, step)))]

    def _apart(self, step: Ints) -> bool:
        across = self.middle_mm + self.across_mm[step]
        least = min(_STRIP_MM, self.spacing) - 1e-9
        inside = np.abs(across[:, None] - self.rims_mm).min() >= least / 2
        return bool(inside and (np.diff(across) >= least).all())

    def refined(self, start: tuple[Ints, Ints]) -> tuple[Ints, Ints]:
        """Return a choice no single row's other shift would better by enough."""
        phase, step = start[0].copy(), start[1].copy()
        at = self.number[np.arange(self.count), phase, step]
        lux, lit = self.lux[at].sum(axis=0), self.lit[at].sum(axis=0)
        for _ in range(_MOST_ROUNDS):
            changed = False
            for row in range(self.count):
                now = self.number[row, phase[row], step[row]]
                others = self.number[row].ravel()
                worth = self.worth(
                    lux - self.lux[now] + self.lux[others], lit - self.lit[now] + self.lit[others]
                )
                p, s = np.divmod(np.arange(len(others)), len(self.across_mm))
                worth -= self.moved(p[:, None], s[:, None]) / self.count
                here = int(np.flatnonzero(others == now)[0])
                worth[~self._free(row, step)[s]] = -np.inf
                best = int(np.argmax(worth))
                if worth[best] > worth[here] + _LEAST_GAIN:
                    lux = lux - self.lux[now] + self.lux[others[best]]
                    lit = lit - self.lit[now] + self.lit[others[best]]
                    phase[row], step[row] = p[best], s[best]
                    changed = True
            if not changed:
                break
        return phase, step

    def _free(self, row: int, step: Ints) -> NDArray[np.bool_]:
        """Return (steps,) which steps keep a row clear of its neighbours."""
        across = self.middle_mm[row] + self.across_mm
        least = min(_STRIP_MM, self.spacing) - 1e-9
        free = np.abs(across[:, None] - self.rims_mm).min(axis=1) >= least / 2
        for other in (row - 1, row + 1):
            if 0 <= other < self.count:
                there = self.middle_mm[other] + self.across_mm[step[other]]
                free &= np.abs(across - there) >= least
        free[step[row]] = True
        return np.asarray(free, bool)

    def rows(self, chosen: tuple[Ints, Ints]) -> Rows:
        phase, step = chosen
        numbers = self.number[np.arange(self.count), phase, step]
        picked = np.isin(self.owner, numbers)
        return Rows(
            xy_mm=self.xy[picked],
            row=np.searchsorted(numbers, self.owner[picked]),
            cell=self.cell[picked],
            holding=self.holding[picked],
            way=self.way,
            across_mm=float(np.abs(self.across_mm[step]).max()),
            along_mm=float(np.abs(self.along_mm[phase]).max()),
        )


def held_wholly(chambers: Chambers, members: Floats) -> Ints:
    """Return the cell that holds all LEDs of each address (n, group, 2), -1 where they meet a wall or lie in two."""
    each = chambers.holding(members.reshape(-1, 2)).reshape(members.shape[:2])
    return np.where((each == each[:, :1]).all(axis=1), each[:, 0], -1)


def _along(length_mm: float, pattern: Pattern, shift_mm: float) -> Floats:
    """Return the places of a row: centred, then shifted, as many as fit between the rims."""
    half, pitch = pattern.half_length_mm, pattern.address_mm
    middle = length_mm / 2 + shift_mm
    count = int(np.floor((length_mm - 2 * half) / pitch + 1e-9)) + 1
    first = middle - (count - 1) / 2 * pitch
    places = first + pitch * np.arange(-1, count + 1)
    return np.asarray(places[(places >= half - 1e-9) & (places <= length_mm - half + 1e-9)])


def cut_rows(rows: Rows, emptied: Ints) -> list[NDArray[np.intp]]:
    """Return the pieces of strip in chain order, as indices into the rows: dark ends and long dark stretches cut away.

    Each row starts at the end nearer to where the row before it stopped, so that wires between them stay
    short and cross nothing. Addresses that stand in an `emptied` cell are left out, and the strip is cut there.
    """
    found: list[NDArray[np.intp]] = []
    last = np.zeros(2)
    for row in np.unique(rows.row):
        ids = np.flatnonzero(rows.row == row)
        pieces = [
            piece
            for stretch in _stretches(ids, np.isin(rows.holding[ids], emptied))
            for piece in _pieces(stretch, rows.cell[stretch] >= 0)
        ]
        if not pieces:
            continue
        ends = rows.xy_mm[[pieces[0][0], pieces[-1][-1]]]
        if np.hypot(*(ends[0] - last)) > np.hypot(*(ends[1] - last)):
            pieces = [piece[::-1] for piece in reversed(pieces)]
        last = rows.xy_mm[pieces[-1][-1]]
        found += pieces
    return found


def _stretches(ids: Ints, out: NDArray[np.bool_]) -> list[Ints]:
    """Return what lies between addresses left out."""
    breaks = np.flatnonzero(out[1:] != out[:-1]) + 1
    return [
        part
        for part, gone in zip(np.split(ids, breaks), np.split(out, breaks), strict=True)
        if not gone[0]
    ]


def _pieces(ids: Ints, lit: NDArray[np.bool_]) -> list[Ints]:
    """Return the stretches of a row to keep."""
    on = np.flatnonzero(lit)
    if not len(on):
        return []
    breaks = np.flatnonzero(np.diff(on) > _CUT_OUT_LEDS) + 1
    return [ids[group[0] : group[-1] + 1] for group in np.split(on, breaks)]
