"""Advice by trial: the tried box is the one that does it, and the trends are those of published closed forms."""

from __future__ import annotations

import pytest

from marquee.box.light_sweep import Setup, depth_for_evenness, try_depth, try_wall_gap
from tests.box.light_made import drive_of, settings, strip_box, strip_chain, strip_map


def _setup(depth_mm: float, *, pitch_mm: float = 22.0, gap_mm: float = 0.0) -> Setup:
    return Setup(
        zone_map=strip_map(2, 90, 45),
        box=strip_box(2, 90, 45, depth_mm=depth_mm, gap_mm=gap_mm),
        chain=strip_chain(2, 90, 45, pitch_mm=pitch_mm),
        settings=settings(depth_mm=depth_mm, wall_gap_mm=gap_mm),
        drive=drive_of([(0.9, 1.0, 1.1), (0.9, 1.0, 1.1)]),
    )


def test_a_deeper_box_is_more_even_while_the_pitch_is_wider_than_the_depth() -> None:
    # Ripple of a square grid falls with depth / pitch (Poisson summation, see test_light_direct): 0.25 at 0.4,
    # 0.62 at 0.6, 0.95 at 1.
    setup = _setup(10)
    found = [try_depth(setup, depth).worst_min_over_max for depth in (10, 14, 18)]
    assert found[0] < found[1] < found[2]


def test_the_advised_depth_is_the_first_step_that_is_even_enough() -> None:
    setup = _setup(10)
    trial = depth_for_evenness(setup, 0.5)
    assert trial is not None
    assert trial.worst_min_over_max >= 0.5
    assert try_depth(setup, trial.depth_mm / 1.1).worst_min_over_max < 0.5


def test_no_depth_is_advised_where_none_helps() -> None:
    # Even an infinitely deep, perfectly mixing box has corners that see less: 1 is out of reach.
    assert depth_for_evenness(_setup(30), 0.999, deepest_mm=40) is None


def test_a_wider_gap_bleeds_more_and_none_bleeds_nothing() -> None:
    setup = _setup(30)
    found = [try_wall_gap(setup, gap).worst_bleed for gap in (0.0, 1.0, 3.0)]
    assert found[0] == 0
    assert found[0] < found[1] < found[2]


def test_a_trial_of_the_same_box_gives_the_same_light() -> None:
    setup = _setup(20, gap_mm=1.0)
    assert try_depth(setup, 20.0).zones == try_wall_gap(setup, 1.0).zones
    assert try_depth(setup, 20.0).worst_bleed == pytest.approx(
        try_wall_gap(setup, 1.0).worst_bleed, abs=0
    )
