"""The order of pieces in the chain against all orders there are, and the laws of a path."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from marquee.box.laid_order import short_order

Floats = NDArray[np.float64]
PLACE = st.tuples(st.integers(0, 300), st.integers(0, 100))


def _wire_mm(ends_mm: Floats, order: list[tuple[int, bool]]) -> float:
    """Return the length of wire from the origin through all pieces."""
    at, total = np.zeros(2), 0.0
    for k, turned in order:
        first, last = ends_mm[k][::-1] if turned else ends_mm[k]
        total += float(np.hypot(*(first - at)))
        at = last
    return total


def _level(places: list[tuple[int, int]], lengths: list[int]) -> Floats:
    """Return level pieces on lines of their own, so that wires cross none but by going round."""
    return np.array(
        [
            [[x, 20.0 * k], [x + w, 20.0 * k]]
            for k, ((x, _), w) in enumerate(zip(places, lengths, strict=True))
        ]
    )


@given(places=st.lists(PLACE, min_size=1, max_size=5, unique=True))
def test_single_leds_are_joined_nearly_as_shortly_as_by_the_best_of_all_orders(
    places: list[tuple[int, int]],
) -> None:
    # All n! orders tried. Every path that no 2-opt and no or-opt move betters is within 10 % at so few places.
    ends = np.repeat(np.array(places, float)[:, None], 2, axis=1)
    best = min(
        _wire_mm(ends, [(k, False) for k in order])
        for order in itertools.permutations(range(len(places)))
    )
    assert _wire_mm(ends, short_order(ends)) <= 1.1 * best + 1e-6


@given(
    places=st.lists(PLACE, min_size=1, max_size=30),
    lengths=st.lists(st.integers(0, 90), min_size=30),
)
def test_every_piece_is_passed_once(places: list[tuple[int, int]], lengths: list[int]) -> None:
    order = short_order(_level(places, lengths[: len(places)]))
    assert sorted(k for k, _ in order) == list(range(len(places)))


def test_rows_are_passed_to_and_fro() -> None:
    # Of rows as long as wide apart the boustrophedon is the shortest way: each wire is as short as any between two rows.
    ends = np.array([[[10.0, 15 * k], [200.0, 15 * k]] for k in range(8)])
    assert short_order(ends) == [(k, bool(k % 2)) for k in range(8)]


@pytest.mark.parametrize("seed", range(5))
def test_pieces_given_in_disorder_come_in_order(seed: int) -> None:
    ends = np.array([[[10.0, 15 * k], [200.0, 15 * k]] for k in range(8)])
    mixed = np.random.default_rng(seed).permutation(8)
    order = short_order(ends[mixed])
    assert [int(mixed[k]) for k, _ in order] == list(range(8))


def test_no_wire_is_laid_across_a_piece_where_there_is_a_way_round() -> None:
    # A long row between two short ones: straight across it would be 20 mm, round its end is longer.
    ends = np.array([[[0.0, 0], [40.0, 0]], [[0.0, 10], [300.0, 10]], [[20.0, 20], [40.0, 20]]])
    shapely = pytest.importorskip("shapely")
    order = short_order(ends)
    at = None
    for k, turned in order:
        first, last = ends[k][::-1] if turned else ends[k]
        if at is not None:
            wire = shapely.LineString([at, first])
            assert not any(wire.crosses(shapely.LineString(piece)) for piece in ends)
        at = last
