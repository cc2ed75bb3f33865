"""In which order and which way round the chain passes pieces of strip, so that little wire joins them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.box.ground import Floats

Ints = NDArray[np.intp]
# A wire across a piece of strip counts for so much more length [mm]: none is laid where there is another way (judgement).
_ACROSS_MM = 1000.0
# Wires longer than to so many nearest ends are not asked what they cross: they count as if they crossed one piece.
_NEAREST = 40
# Blocks of up to so many pieces are tried elsewhere.
_LONGEST_BLOCK = 3
_MOST_ROUNDS = 30
# More pieces than these are passed as they come: time grows as the square (measured: 1 s).
_MOST_PIECES = 400


def short_order(ends_mm: Floats) -> list[tuple[int, bool]]:
    """Return pieces in chain order, each with whether it is passed from its second end to its first.

    An open path through all pieces that starts near the face's origin, where no turning of a stretch and no moving of a
    few pieces shortens the wires (2-opt: Croes, Operations Research 6, 1958; or-opt: Or, thesis, Northwestern University,
    1976). The wire from the origin to the first piece counts as well.

    Parameters
    ----------
    ends_mm : (pieces, 2, 2)
        First and second end of each piece, alike for single LEDs; in an order good to start from.
    """
    best = _as_given(ends_mm)
    if 0 < len(best) <= _MOST_PIECES:
        wire = _wires(ends_mm)
        tried = [_improved(start, wire) for start in (best, _nearest_next(wire))]
        best = min(tried, key=lambda path: _length(path, wire))
    return [(int(end) // 2, bool(end % 2)) for end in best]


# A path is a list of the ends at which its pieces are entered: 2 k for the first end of piece k, 2 k + 1 for the second.
# `wire[a, b]` is what the wire from end a to end b costs; its last row and column are the face's origin.


def _wires(ends_mm: Floats) -> Floats:
    place = np.vstack([ends_mm.reshape(-1, 2), np.zeros((1, 2))])
    wire = np.hypot(*(place[:, None] - place).transpose(2, 0, 1))
    ends = len(place) - 1
    near = np.argsort(wire[:ends, :ends], axis=1, kind="stable")[:, : 2 * _NEAREST]
    asked = np.zeros((ends, ends), bool)
    np.put_along_axis(asked, near, values=True, axis=1)
    a, b = np.nonzero(np.triu(asked | asked.T, 1))
    across = np.ones((ends, ends))
    across[a, b] = across[b, a] = _crossings(place, a, b, ends_mm)
    np.fill_diagonal(across, 0)
    wire[:ends, :ends] += across * _ACROSS_MM
    return np.asarray(wire, float)


def _crossings(place: Floats, a: Ints, b: Ints, ends_mm: Floats) -> Ints:
    """Return how many pieces each wire crosses, those it joins not counted."""
    p, q = place[a], place[b]
    count = np.zeros(len(a), np.intp)
    for k, (start, end) in enumerate(ends_mm):
        if (start == end).all():
            continue
        apart = _side(p, q, start) * _side(p, q, end) < 0
        apart &= _side(start, end, p) * _side(start, end, q) < 0
        count += apart & (a // 2 != k) & (b // 2 != k)
    return count


def _side(a: Floats, b: Floats, c: Floats) -> Floats:
    u, v = b - a, c - a
    return np.asarray(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0])


def _as_given(ends_mm: Floats) -> Ints:
    """Return the pieces as they come, each entered at the end nearer to where the one before stopped."""
    last, path = np.zeros(2), []
    for k, piece in enumerate(ends_mm):
        turned = int(np.hypot(*(piece[1] - last)) < np.hypot(*(piece[0] - last)))
        path.append(2 * k + turned)
        last = piece[1 - turned]
    return np.array(path, np.intp)


def _nearest_next(wire: Floats) -> Ints:
    """Return the path that always goes on to the nearest end left."""
    left = np.ones(len(wire), bool)
    left[-1] = False
    at, path = len(wire) - 1, []
    while left.any():
        entered = int(np.argmin(np.where(left, wire[at], np.inf)))
        path.append(entered)
        left[[entered, entered ^ 1]] = False
        at = entered ^ 1
    return np.array(path, np.intp)


def _length(path: Ints, wire: Floats) -> float:
    left = np.concatenate([[len(wire) - 1], path[:-1] ^ 1])
    return float(wire[left, path].sum())


def _improved(path: Ints, wire: Floats) -> Ints:
    """Return a path that no turning of a stretch and no moving of a few pieces shortens."""
    path = path.copy()
    for _ in range(_MOST_ROUNDS):
        before = _length(path, wire)
        for at in range(len(path)):
            _turn_from(path, at, wire)
        for size in range(1, min(_LONGEST_BLOCK, len(path) - 1) + 1):
            for at in range(len(path) - size + 1):
                _move(path, slice(at, at + size), wire)
        if _length(path, wire) > before - 1e-6:
            break
    return path


def _turn_from(path: Ints, at: int, wire: Floats) -> None:
    """Turn that stretch round which begins at this place and gains most, if any does."""
    entered, left = path[at:], path[at:] ^ 1
    before = path[at - 1] ^ 1 if at else len(wire) - 1
    gain = wire[before, entered[0]] - wire[before, left]
    gain[:-1] += wire[left[:-1], entered[1:]] - wire[entered[0], entered[1:]]
    best = int(np.argmax(gain))
    if gain[best] > 1e-6:
        path[at : at + best + 1] = left[: best + 1][::-1].copy()


def _move(path: Ints, block: slice, wire: Floats) -> None:
    """Move a few pieces to where they take least wire, either way round, if that gains."""
    taken = path[block].copy()
    rest = np.delete(path, block)
    left = np.concatenate([[len(wire) - 1], rest ^ 1])
    link = np.append(wire[left[:-1], rest], 0.0)
    here = block.start
    onward = wire[taken[-1] ^ 1, rest[here]] if here < len(rest) else 0.0
    best, gap, found = wire[left[here], taken[0]] + onward - link[here] - 1e-6, here, taken
    for one in (taken, (taken ^ 1)[::-1]):
        # What it takes in each gap of the rest, the last one being the end.
        cost = wire[left, one[0]] - link
        cost[:-1] += wire[one[-1] ^ 1, rest]
        least = int(np.argmin(cost))
        if cost[least] < best:
            best, gap, found = cost[least], least, one
    path[:] = np.concatenate([rest[:gap], found, rest[gap:]])
