"""Addresses laid out in chain order: places, LEDs, straight runs, and how single ones join without crossing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.box.board import shortened
from marquee.box.ground import Floats
from marquee.box.laid_order import short_order

Ints = NDArray[np.intp]
# Beyond this many addresses crossings are let be; for a single LED so many of the cheapest places are tried.
_MOST_UNCROSSED, _MOST_TRIED = 3000, 20
# A cut in a piece of strip, six joints, counts for so much wire [mm] (judgement).
_CUT_MM = 30.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """Addresses in data order: `xy_mm` (n, 2) their middles, `cell` they light (-1 none), `leds_mm` (n, group, 2)."""

    xy_mm: Floats
    cell: Ints
    leds_mm: Floats

    def taken(self, order: Ints) -> Laid:
        """Return the addresses at `order`."""
        return Laid(xy_mm=self.xy_mm[order], cell=self.cell[order], leds_mm=self.leds_mm[order])

    def runs(self, way: Floats, pitch_mm: float) -> NDArray[np.int64]:
        """Return (n,) numbers of straight runs: as long as steps are one pitch along the same line and LEDs lie along it.

        `way` is the rows' direction; nothing is one run in any other.
        """
        if not len(self.xy_mm):
            return np.zeros(0, np.int64)
        step = np.diff(self.xy_mm, axis=0)
        along, across = step @ way, step @ np.array([-way[1], way[0]])
        straight = (np.abs(across) < 1e-6) & (np.abs(np.abs(along) - pitch_mm) < 1e-6)
        # A run turns back nowhere: its second step decides.
        back = np.zeros(len(straight), bool)
        back[1:] = straight[1:] & straight[:-1] & (along[1:] * along[:-1] < 0)
        return np.concatenate([[0], np.cumsum(~straight | back)]).astype(np.int64)


def clear_of(pieces: list[Laid], others: list[Laid], package_mm: float) -> list[Laid]:
    """Return pieces of strip without the dark addresses in the way of others' LEDs; they are cut there.

    Packages may stand askew to each other: they keep clear by their diagonal.
    """
    if not others:
        return pieces
    taken = np.concatenate([one.leds_mm.reshape(-1, 2) for one in others])
    found = []
    for piece in pieces:
        off = np.hypot(*(piece.leds_mm[:, :, None] - taken).transpose(3, 0, 1, 2)).min(axis=(1, 2))
        out = (piece.cell < 0) & (off < package_mm * np.sqrt(2))
        for part in np.split(np.arange(len(out)), np.flatnonzero(np.diff(out)) + 1):
            lit = np.flatnonzero(piece.cell[part] >= 0)
            if len(lit):
                found.append(piece.taken(part[lit[0] : lit[-1] + 1]))
    return found


def joined(pieces: list[Laid]) -> Laid:
    """Return one chain of pieces of strip and single LEDs, in the order and turned the way that takes least wire.

    A single may also come between two LEDs of a piece, which is cut there, if that saves clearly more wire.
    """
    ends = np.array([piece.xy_mm[[0, -1]] for piece in pieces]).reshape(-1, 2, 2)
    order = short_order(ends)
    laid = together(
        [
            pieces[k].taken(np.arange(len(pieces[k].cell))[:: -1 if turned else 1])
            for k, turned in order
        ]
    )
    piece = np.repeat([k for k, _ in order], [len(pieces[k].cell) for k, _ in order])
    if len(piece) > _MOST_UNCROSSED:
        return laid
    for k in np.flatnonzero([len(one.cell) == 1 for one in pieces]).tolist():
        taken = _cut_in(laid.xy_mm, piece, int(np.flatnonzero(piece == k)[0]))
        laid, piece = laid.taken(taken), piece[taken]
    return laid


def _cut_in(xy_mm: Floats, piece: Ints, at: int) -> Ints:
    """Return the order with the single LED at this place moved to where it takes least wire, a cut counted as some."""
    rest = np.delete(np.arange(len(xy_mm)), at)
    xy, place = xy_mm[rest], xy_mm[at]
    to, link = np.hypot(*(xy - place).T), np.hypot(*np.diff(xy, axis=0).T)
    # Two neighbours of one piece with nothing between them are joined by the strip itself.
    strip = (piece[rest[1:]] == piece[rest[:-1]]) & (np.diff(rest) == 1)
    between = to[:-1] + to[1:] + np.where(strip, _CUT_MM, -link)
    cost = np.concatenate([to[:1], between, to[-1:]])
    for gap in np.argsort(cost, kind="stable")[:_MOST_TRIED].tolist():
        if gap == at or cost[gap] > cost[at] - 1e-6:
            break
        if not _crosses(xy, gap, place):
            return np.insert(rest, gap, at)
    return np.arange(len(xy_mm))


def together(pieces: list[Laid]) -> Laid:
    """Return the addresses of pieces, of one at least, one after the other."""
    return Laid(
        xy_mm=np.concatenate([piece.xy_mm for piece in pieces]),
        cell=np.concatenate([piece.cell for piece in pieces]),
        leds_mm=np.concatenate([piece.leds_mm for piece in pieces]),
    )


def uncrossed(laid: Laid) -> Laid:
    """Return the chain shortened until it crosses itself nowhere; as it is if it does not."""
    if len(laid.xy_mm) > _MOST_UNCROSSED or not _any_links_cross(laid.xy_mm):
        return laid
    return laid.taken(shortened(laid.xy_mm, np.arange(len(laid.xy_mm))))


def _any_links_cross(xy_mm: Floats) -> bool:
    starts, ends = xy_mm[:-1], xy_mm[1:]
    for k in range(len(starts) - 2):
        if _any_crossing(starts[k + 2 :], ends[k + 2 :], starts[k], ends[k]):
            return True
    return False


def _crosses(xy_mm: Floats, at: int, place: Floats) -> bool:
    """Return whether the links of a place put in before address `at` would cross others."""
    starts, ends = xy_mm[:-1], xy_mm[1:]
    keep = np.ones(len(starts), bool)
    if 0 < at < len(xy_mm):
        keep[at - 1] = False
    for neighbour in (at - 1, at):
        if not 0 <= neighbour < len(xy_mm):
            continue
        tip = xy_mm[neighbour]
        touching = (starts == tip).all(axis=1) | (ends == tip).all(axis=1)
        if _any_crossing(starts[keep & ~touching], ends[keep & ~touching], tip, place):
            return True
    return False


def _any_crossing(starts: Floats, ends: Floats, p: Floats, q: Floats) -> bool:
    def side(a: Floats, b: Floats, c: Floats) -> Floats:
        return np.asarray(
            (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1])
            - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0])
        )

    one, two = side(starts, ends, p[None]), side(starts, ends, q[None])
    three, four = side(p[None], q[None], starts), side(p[None], q[None], ends)
    return bool(((one * two < 0) & (three * four < 0)).any())
