"""Large pictures are looked at by a sample; what the sample tells of a region is what was drawn."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from marquee.artwork.flat import find_flat
from marquee.artwork.scatter import scattered

COLOURS = np.array([[226, 64, 58], [242, 194, 48], [47, 143, 208]], np.uint8)


@pytest.mark.parametrize("upright", [True, False], ids=["upright", "level"])
@pytest.mark.parametrize("stripe_px", [5, 6, 7, 8, 10, 20])
@pytest.mark.parametrize("width_px", [1500, 1600, 1601, 1800])
def test_every_stripe_of_a_large_picture_keeps_its_drawn_colour(
    upright: bool, stripe_px: int, width_px: int
) -> None:
    width_px -= width_px % stripe_px
    across = COLOURS[np.arange(width_px) // stripe_px % 3]
    picture = np.broadcast_to(across, (900, width_px, 3))
    if not upright:
        picture = picture.transpose(1, 0, 2)
    flat = find_flat(np.ascontiguousarray(picture))
    off = np.abs(flat.mean[1:, None] - COLOURS[None]).max(axis=2).min(axis=1)
    assert len(flat.count) - 1 == width_px // stripe_px
    # Every pixel of a region has one of the three colours, so that its mean is exact.
    assert off.max() < 1e-6


@given(
    count=st.integers(0, 200_000),
    step=st.integers(0, 300),
)
def test_sampled_places_are_in_order_and_one_in_each_run(count: int, step: int) -> None:
    places = scattered(count, step)
    runs = places // max(step, 1)
    assert (np.diff(runs) == 1).all()
    assert len(places) >= count // max(step, 1)
    assert not len(places) or (places[0] >= 0 and places[-1] < count)


@given(
    width_px=st.integers(64, 5000),
    band_px=st.integers(1, 40),
    step=st.integers(2, 160),
    slope=st.integers(-3, 3),
)
def test_no_band_is_passed_over_whatever_its_slope(
    width_px: int, band_px: int, step: int, slope: int
) -> None:
    rows = max(64 * step // band_px, 64)
    places = scattered(width_px * rows, step)
    y, x = np.divmod(places, width_px)
    seen = np.count_nonzero((x - slope * y) % width_px < min(band_px, width_px))
    # Of a band of at least 64 × step pixels about 64 are due; a quarter of that tells its colour.
    assert seen >= 16
