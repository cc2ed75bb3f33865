"""What is measured of pixels, against plain numpy and scipy that ask every pixel."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from scipy.spatial import distance

from marquee.artwork.adjacency import _least_distance
from marquee.artwork.edges import UNKNOWN, _two_sides
from marquee.artwork.flat import _percentile
from marquee.artwork.runs import find_runs, pixels_of, present

SIZES = st.tuples(st.integers(1, 12), st.integers(1, 12))


@given(arrays(np.uint8, SIZES), st.data())
def test_percentile_of_counted_codes_is_numpy_s(
    codes: NDArray[np.uint8], data: st.DataObject
) -> None:
    mask = data.draw(arrays(np.uint8, codes.shape, elements=st.integers(0, 1)))
    assume(mask.any())
    percent = data.draw(st.floats(0, 100))
    expected = np.percentile(codes[mask == 1], percent)
    assert _percentile(codes, mask, percent) == pytest.approx(expected, abs=1e-6)


@given(arrays(np.int32, SIZES, elements=st.integers(-1, 4)), st.data())
def test_pixels_and_presence_by_runs_are_those_of_the_map(
    ids: NDArray[np.int32], data: st.DataObject
) -> None:
    chosen = data.draw(arrays(bool, 6))
    chosen[0] = False
    runs = find_runs(ids + 1)
    expected = np.flatnonzero(chosen[ids + 1])
    assert pixels_of(runs, chosen, ids.shape[1]).tolist() == expected.tolist()
    where = data.draw(arrays(bool, ids.shape))
    assert present(ids, where, 5).tolist() == [bool((ids[where] == k).any()) for k in range(5)]


@given(
    arrays(np.uint8, SIZES, elements=st.sampled_from([0, 1, 2, UNKNOWN, UNKNOWN])),
    st.integers(3, 6),
)
def test_the_two_sides_of_an_edge_pixel_are_the_nearest_of_each_label(
    label: NDArray[np.uint8], reach: int
) -> None:
    index = np.flatnonzero(label.ravel() == UNKNOWN)
    near, far = _two_sides(label, index, reach)
    flat, width = label.ravel(), label.shape[1]
    known = np.flatnonzero(flat != UNKNOWN)
    for place, one, other in zip(index.tolist(), near.tolist(), far.tolist(), strict=True):
        off = np.hypot(known // width - place // width, known % width - place % width)
        inside = known[off <= reach]
        if not inside.size:
            assert (one, other) == (-1, -1)
            continue
        least = off.min()
        assert np.hypot(one // width - place // width, one % width - place % width) == least
        rest = (off <= reach) & (flat[known] != flat[one])
        if not rest.any():
            assert other == -1
            continue
        assert flat[other] not in {flat[one], UNKNOWN}
        to_other = np.hypot(other // width - place // width, other % width - place % width)
        assert to_other == off[rest].min()


@pytest.mark.parametrize("seed", range(6))
def test_least_distance_between_outlines_is_scipy_s(seed: int) -> None:
    rng = np.random.default_rng(seed)
    turn = np.sort(rng.uniform(0, 2 * np.pi, (2, 900)), axis=1)
    radius = np.array([[60.0], [60.0 + 3 * seed + 0.4]]) + rng.uniform(0, 0.3, (2, 900))
    first, second = (
        np.stack([100 + r * np.cos(t), 100 + r * np.sin(t)], axis=1)
        for r, t in zip(radius, turn, strict=True)
    )
    expected = float(distance.cdist(first, second).min())
    # Never more than known beforehand, as from the nearest map.
    assert _least_distance(first, second, expected * 1.04 + 4) == pytest.approx(expected, abs=1e-9)
