"""Curves through many paths at once: laws, and distances measured by shapely."""

from __future__ import annotations

from unittest.mock import patch

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from marquee.box import cut_fit
from marquee.box.cut_fit import chords, fit_paths

Floats = NDArray[np.float64]


def _wavy(seed: int, count: int, *, closed: bool) -> Floats:
    """Return points along a curve with a little noise, as contours of pixels have."""
    drawn = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi if closed else 2.5, count)
    radius = 20 + 3 * np.cos(3 * turn + drawn.uniform(0, 6)) + drawn.normal(0, 0.01, count)
    xy = np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1)
    if closed:
        xy[-1] = xy[0]
    return xy


PATHS = st.lists(
    st.tuples(st.integers(0, 10_000), st.integers(2, 300), st.booleans()), min_size=1, max_size=5
)


@given(PATHS, st.sampled_from([50, 400, 10_000]))
def test_paths_fitted_together_get_the_curves_they_get_alone(
    drawn: list[tuple[int, int, bool]], most_points: int
) -> None:
    paths = [_wavy(seed, count, closed=closed) for seed, count, closed in drawn]
    smooth = [closed for _, _, closed in drawn]
    with patch.object(cut_fit, "_MOST_POINTS", most_points):
        together = fit_paths(paths, smooth, 0.03)
    for path, one, curves in zip(paths, smooth, together, strict=True):
        (alone,) = fit_paths([path], [one], 0.03)
        assert alone.shape == curves.shape
        # Sums of points run over other neighbours: the last digits of doubles.
        np.testing.assert_allclose(curves, alone, atol=1e-6)


@given(PATHS, st.sampled_from([0.01, 0.03, 0.1]))
def test_curves_pass_every_point_within_the_tolerance_and_join_without_gaps(
    drawn: list[tuple[int, int, bool]], within_mm: float
) -> None:
    paths = [_wavy(seed, count, closed=closed) for seed, count, closed in drawn]
    for path, curves in zip(
        paths, fit_paths(paths, [closed for _, _, closed in drawn], within_mm), strict=True
    ):
        np.testing.assert_array_equal(curves[1:, 0], curves[:-1, 3])
        np.testing.assert_allclose(curves[[0, -1], [0, 3]], path[[0, -1]], atol=1e-12)
        flat = np.vstack([chords(curves, 1e-4), curves[-1:, 3]])
        if len(path) < 3 or len(np.unique(path, axis=0)) < 3:
            continue
        off = shapely.distance(shapely.LineString(flat), shapely.points(path))
        # Chords leave the curves by up to 1e-4 mm.
        assert off.max() <= within_mm + 1e-4
