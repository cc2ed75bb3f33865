"""Large pictures are looked at by a sample and coarser; what is told of a region is what was drawn."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from marquee.artwork.flat import find_flat
from marquee.artwork.scatter import random_numbers, scattered
from marquee.artwork.zones import find_zones
from marquee.colour.difference import delta_e_2000
from marquee.colour.spaces import srgb_8bit_to_lab_d65
from marquee.project import ZoneSettings
from marquee.values import Artwork
from tests.artwork.drawing import as_artwork

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


def test_numbers_for_scattering_are_those_published() -> None:
    # The first numbers of SplitMix64 after the seed 1234567, as implementations are checked by (from memory).
    expected = [6457827717110365317, 3203168211198807973, 9817491932198370423]
    assert random_numbers(1234567, 3).tolist() == expected


@example(
    width_px=2780, band_px=24, step=86, slope=-1
)  # in step with multiples of the golden ratio
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


def striped(stripe_px: int, px_per_mm: float, size_px: tuple[int, int]) -> Artwork:
    """Return a black picture with a striped field that holds all its colours, and nothing else."""
    width, height = size_px
    picture = np.zeros((height, width, 3), np.uint8)
    left = width // 10 // stripe_px * stripe_px
    across = COLOURS[np.arange(width // 2 // stripe_px * stripe_px) // stripe_px % 3]
    picture[height // 4 : height // 4 * 3, left : left + len(across)] = across
    return as_artwork(picture, width / px_per_mm)


@pytest.mark.parametrize(
    ("stripe_px", "px_per_mm", "size_px", "most_delta_e"),
    [
        # The whole picture consists of blocks as wide as the stripes.
        (8, 4.0, (480, 160), 1.0),
        (12, 6.0, (720, 240), 1.0),
        (10, 5.0, (600, 200), 1.0),
        # Stripes of one to three of the pixels, 0.3 mm, that a large picture is worked on with; of the narrowest
        # hardly a pixel is filled.
        (4, 10.0, (4001, 2001), 15.0),
        (6, 10.0, (4001, 2001), 3.0),
        (8, 10.0, (4001, 2001), 3.0),
        (10, 10.0, (4001, 2001), 3.0),
    ],
)
def test_colours_that_only_narrow_stripes_have_are_lit(
    stripe_px: int, px_per_mm: float, size_px: tuple[int, int], most_delta_e: float
) -> None:
    artwork = striped(stripe_px, px_per_mm, size_px)
    zones = find_zones(artwork, ZoneSettings(), (), 3.0)
    drawn_mm2 = float((artwork.srgb_8bit.max(axis=2) > 0).sum()) * artwork.mm_per_px**2
    # Of stripes little wider than a working pixel, blends that look like the face are lost: one in twenty.
    assert sum(z.area_mm2 for z in zones.zones) == pytest.approx(drawn_mm2, rel=0.06)
    assert [z.kind for z in zones.zones] == ["mixed"]
    wanted = srgb_8bit_to_lab_d65(COLOURS.astype(float))
    found = np.array([zones.colours[c].lab_d65 for c in zones.zones[0].colours])
    assert delta_e_2000(wanted[:, None], found[None]).min(axis=1).max() < most_delta_e
