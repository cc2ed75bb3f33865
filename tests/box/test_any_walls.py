"""Laws of walls on scattered shapes: partition, clearance, mirror; by shapely's predicates."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tests.box.factory import blank, disc, rect
from tests.box.walled import (
    REACH_MM,
    assert_clear,
    assert_partition,
    build,
    pixel_places,
    shapes,
    wall_lines,
)

blobs = st.lists(
    st.tuples(
        st.integers(0, 3), st.floats(8, 112), st.floats(8, 52), st.floats(2, 9), st.booleans()
    ),
    min_size=2,
    max_size=9,
)


def drawn(
    spots: list[tuple[int, float, float, float, bool]], apart_mm: float = 6
) -> NDArray[np.int16]:
    """Return discs and bars of up to four zones, other zones that far apart or more, zones numbered from 0."""
    labels = blank(120, 60)
    for zone, x, y, r, round_ in spots:
        new = blank(120, 60)
        if round_:
            disc(new, 0, (x, y), r)
        else:
            rect(
                new,
                0,
                (max(x - 2 * r, 0), max(y - r / 2, 0), min(x + 2 * r, 120), min(y + r / 2, 60)),
            )
        near = blank(120, 60)
        disc(near, 0, (x, y), (r if round_ else 2.1 * r) + apart_mm)
        others = (labels >= 0) & (labels != zone)
        if not (others & (near >= 0)).any():
            labels[new >= 0] = zone
    _, labels_of = np.unique(labels[labels >= 0], return_inverse=True)
    labels[labels >= 0] = labels_of
    return labels


# Fewer examples than usual: each draws and walls a face of 0.1 megapixels.
@settings(max_examples=15)
@given(blobs)
def test_any_scatter_of_apertures_is_partitioned_with_clearance(
    spots: list[tuple[int, float, float, float, bool]],
) -> None:
    zones, box = build(drawn(spots))
    assert_partition(zones, box)
    if box.walls:
        assert_clear(zones, box)
    for cell, shape in zip(box.cells, shapes(box), strict=True):
        for zone in zones.zones:
            inside = shapely.contains_xy(shape, *pixel_places(zones, zone.id).T)
            assert not inside.any() or zone.id == cell.zone
    held = np.zeros(zones.zone_of_px.shape, bool)
    for cell, shape in zip(box.cells, shapes(box), strict=True):
        places = pixel_places(zones, cell.zone)
        own = np.asarray(shapely.contains_xy(shape, places[:, 0], places[:, 1]), bool)
        rows = (places[own] / zones.mm_per_px).astype(int)
        held[rows[:, 1], rows[:, 0]] = True
    assert (held == (zones.zone_of_px >= 0)).all(), (
        "every pixel of an aperture lies in a cell of its own zone"
    )


# Fewer examples than usual: each draws and walls a face of 0.1 megapixels.
@settings(max_examples=15)
@given(blobs)
def test_a_mirrored_face_has_walls_as_long(
    spots: list[tuple[int, float, float, float, bool]],
) -> None:
    labels = drawn(spots)
    _, box = build(labels.copy())
    _, mirrored = build(np.ascontiguousarray(labels[:, ::-1]))
    assert mirrored.total_length_mm == pytest.approx(box.total_length_mm, rel=0.02, abs=0.1)


# Fewer examples than usual: each draws and walls a face of 0.1 megapixels.
@settings(max_examples=12)
@given(blobs, st.sampled_from([0.5, 1.0, 2.0, 4.0]))
def test_any_scatter_of_colours_nearer_than_a_wall_is_partitioned(
    spots: list[tuple[int, float, float, float, bool]], apart_mm: float
) -> None:
    zones, box = build(drawn(spots, apart_mm))
    assert_partition(zones, box)
    # A wall runs between the colours, however near they come: never over more than a pixel of either.
    if box.walls:
        lines = wall_lines(box)
        for zone in zones.zones:
            off = shapely.distance(lines, shapely.points(pixel_places(zones, zone.id)))
            assert off.min() >= min(apart_mm / 2, REACH_MM) - zones.mm_per_px
