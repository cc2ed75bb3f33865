from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression

from marquee.outputs.pictures.callouts import spread
from marquee.outputs.pictures.style import plain, round_number, shorten, text_width

LABELS = st.lists(st.tuples(st.floats(0, 1000), st.floats(1, 90)), min_size=1, max_size=11).map(
    sorted
)


@given(LABELS)
def test_spread_labels_keep_their_order_and_do_not_overlap(
    labels: list[tuple[float, float]],
) -> None:
    wanted, sizes = zip(*labels, strict=True)
    centres = np.array(spread(wanted, sizes, 0.0, 1000.0))
    half = np.array(sizes) / 2
    # Tolerance: rounding of sums of a few hundred.
    assert ((centres - half)[1:] - (centres + half)[:-1] >= -1e-6).all()
    assert centres[0] - half[0] >= -1e-6
    assert centres[-1] + half[-1] <= 1000 + 1e-6


@given(LABELS)
def test_spread_labels_are_the_least_squares_places(labels: list[tuple[float, float]]) -> None:
    wanted, sizes = (np.array(v) for v in zip(*labels, strict=True))
    # Reference: scipy's isotonic regression of the starts less what stands before them.
    before = np.concatenate([[0.0], np.cumsum(sizes)[:-1]])
    fitted = isotonic_regression(wanted - sizes / 2 - before).x
    expected = fitted + before + sizes / 2
    assert spread(list(wanted), list(sizes), -1e6, 1e6) == pytest.approx(list(expected), abs=1e-6)


@given(st.text(max_size=400))
def test_any_name_becomes_one_drawable_line(name: str) -> None:
    line = plain(name)
    assert line.isprintable()
    assert text_width(shorten(line, 120, 14), 14) <= 120


@pytest.mark.parametrize(
    ("most_mm", "length_mm"), [(99.9, 50), (100, 100), (0.7, 0.5), (1999, 1000), (2000, 2000)]
)
def test_scale_bar_lengths_are_one_two_or_five_times_a_power_of_ten(
    most_mm: float, length_mm: float
) -> None:
    assert round_number(most_mm) == pytest.approx(length_mm)
