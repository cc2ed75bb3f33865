"""The grid walls are found on, from maps held in full and held coarse."""

from __future__ import annotations

from unittest.mock import patch

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from marquee.box import working_grid as grid
from marquee.values_pixels import Enlarged
from tests.box.factory import zone_map


@given(
    st.integers(0, 2**32 - 1),
    st.tuples(st.integers(3, 50), st.integers(3, 50)),
    st.integers(1, 6),
    st.integers(40, 900),
)
def test_a_map_held_coarse_gives_the_grid_of_the_map_in_full(
    seed: int, shape: tuple[int, int], factor: int, finest_px: int
) -> None:
    drawn = np.random.default_rng(seed)
    height, width = shape
    coarse = drawn.integers(-1, 3, (-(-height // factor), -(-width // factor)), np.int16)
    coarse[0, 0] = 2
    place = np.unique(drawn.integers(1, height * width, int(drawn.integers(0, 30))))
    own = drawn.integers(-1, 3, len(place), np.int16)
    held = Enlarged(coarse=coarse, factor=factor, shape=shape, place=place, own=own)
    in_full = zone_map(held.in_full(), 0.4)
    compact = zone_map(held.in_full(), 0.4)
    object.__setattr__(compact, "zone_of_px", held)
    with patch.object(grid, "_FINEST_PX", finest_px):
        wanted, step_mm = grid.working_grid(in_full)
        found, found_step_mm = grid.working_grid(compact)
    assert found_step_mm == step_mm
    np.testing.assert_array_equal(found, wanted)


@given(st.integers(0, 2**32 - 1), st.integers(100, 900))
def test_a_coarser_grid_is_lit_exactly_where_any_of_its_pixels_is(
    seed: int, finest_px: int
) -> None:
    labels = np.random.default_rng(seed).integers(-1, 2, (40, 60), np.int16)
    labels[0, 0] = 1
    with patch.object(grid, "_FINEST_PX", finest_px):
        found, step_mm = grid.working_grid(zone_map(labels, 0.5))
    shrink = round(step_mm / 0.5)
    padded = np.pad(labels, ((0, -40 % shrink), (0, -60 % shrink)), constant_values=-1)
    blocks = padded.reshape(len(found), shrink, -1, shrink)
    np.testing.assert_array_equal(found >= 0, (blocks >= 0).any(axis=(1, 3)))
