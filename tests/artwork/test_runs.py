"""Runs and the nearest map against scipy's own measurements and distances."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from scipy import ndimage

from marquee.artwork.nearest import find_nearest
from marquee.artwork.runs import boxes, find_runs, first_px, whole_px

MAPS = arrays(
    np.int32, st.tuples(st.integers(1, 9), st.integers(1, 9)), elements=st.integers(0, 4)
)


@given(MAPS)
def test_areas_boxes_and_centres_are_scipy_s(ids: NDArray[np.int32]) -> None:
    runs = find_runs(ids)
    box, centre = boxes(runs, 5)
    whole, first = whole_px(runs, 5), first_px(runs, 5, ids.shape[1])
    for k in range(1, 5):
        place = next(iter(ndimage.find_objects((ids == k).astype(int))), None)
        if place is None:
            assert whole[k] == 0
            continue
        rows, columns = place
        assert box[k].tolist() == [columns.start, rows.start, columns.stop, rows.stop]
        assert whole[k] == ndimage.sum_labels(ids == k)
        y, x = ndimage.center_of_mass(ids == k)
        assert centre[k] == pytest.approx((x + 0.5, y + 0.5))
        assert first[k] == np.flatnonzero(ids == k)[0]


def test_nearest_owner_is_no_farther_than_scipy_s() -> None:
    ids = np.full((120, 160), -1, np.int32)
    place = np.random.default_rng(7).integers(0, 120, (40, 2))
    ids[place[:, 0], place[:, 1]] = np.arange(40)
    nearest = find_nearest(ids, 1.0)
    exact = ndimage.distance_transform_edt(ids < 0)
    # OpenCV's 5 × 5 steps: within 2 % (Borgefors 1986), and never below by more.
    assert nearest.off_mm == pytest.approx(exact, rel=0.022)
    y, x = np.mgrid[:120, :160]
    owner_y, owner_x = (np.full(40, -1) for _ in range(2))
    for k in range(40):
        found = np.argwhere(ids == k)
        if len(found):
            owner_y[k], owner_x[k] = found[0]
    off = np.hypot(y - owner_y[nearest.owner], x - owner_x[nearest.owner])
    assert (off <= exact * 1.045 + 1e-6).all()
