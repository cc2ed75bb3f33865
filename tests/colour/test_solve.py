"""Which lights emitters can make, and with the least current: against scipy's linear programme."""

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import linprog

from marquee.colour.solve import Emitters, brightest, can_make, emitters, least_current
from marquee.errors import MarqueeError
from tests.colour.made import REFERENCES

Rows = NDArray[np.float64]


def reference_emitters(name: str, **options: Any) -> Emitters:
    row = REFERENCES["parts"][name]
    return emitters(np.array(row["XYZ_full_columns"]), np.array(row["current"], float), **options)


def six_emitters() -> Emitters:
    # The four of the reference part with an amber and a lime one between red and green.
    columns = [*REFERENCES["parts"]["rgbw_neutral"]["XYZ_full_columns"]]
    columns += [[420.0, 300.0, 1.0], [520.0, 800.0, 10.0]]
    return emitters(np.array(columns), np.array([1, 1, 1, 1.2, 0.9, 1.1]))


def programme(xyz: Rows, part: Emitters) -> tuple[bool, float]:
    found = linprog(part.current, A_eq=part.columns.T, b_eq=xyz, bounds=(0, 1), method="highs")
    return found.status == 0, np.inf if found.fun is None else float(found.fun)


def random_lights(part: Emitters, count: int, seed: int) -> Rows:
    drives = np.random.default_rng(seed).uniform(0, 1, (count, part.count)) ** 2
    return np.asarray(drives @ part.columns, float)


def with_fourth(xyz: list[float], current: float) -> Emitters:
    columns = [*REFERENCES["parts"]["rgb_linear"]["XYZ_full_columns"], xyz]
    return emitters(np.array(columns), np.array([1, 1, 1, current]))


FOUR = {
    "neutral": reference_emitters("rgbw_neutral"),
    "cool, at double current": reference_emitters("rgbw_cool_double"),
    # A white so hungry that as little of it as can be is best, and an amber and a cyan outside the triangle.
    "hungry white": with_fourth([1035.0, 1035.0, 727.0], 9.0),
    "amber": with_fourth([420.0, 300.0, 0.1], 0.8),
    "hungry amber": with_fourth([420.0, 300.0, 0.1], 5.0),
    "cyan": with_fourth([40.0, 300.0, 420.0], 0.4),
}


@pytest.mark.parametrize("name", FOUR)
def test_four_emitters_draw_no_more_than_the_linear_programme(name: str) -> None:
    part = FOUR[name]
    xyz = random_lights(part, 60, 1)
    drives = least_current(xyz, part)
    np.testing.assert_allclose(drives @ part.columns, xyz, rtol=1e-9)
    assert drives.min() >= 0
    assert drives.max() <= 1
    for light, drive in zip(xyz, drives, strict=True):
        assert drive @ part.current == pytest.approx(programme(light, part)[1], abs=1e-7)


def test_six_emitters_make_their_lights_within_range() -> None:
    part = six_emitters()
    xyz = random_lights(part, 12, 2)
    drives = least_current(xyz, part)
    np.testing.assert_allclose(drives @ part.columns, xyz, rtol=1e-6)
    assert drives.min() >= 0
    assert drives.max() <= 1


def test_light_a_hair_outside_comes_out_as_near_as_can_be() -> None:
    part = six_emitters()
    edge = part.columns.sum(axis=0)
    drive = least_current(edge[None] * (1 + 1e-6), part)[0]
    np.testing.assert_allclose(drive, 1.0, atol=1e-4)


def test_part_drawing_its_largest_channel_is_solved_for_the_smallest_largest() -> None:
    part = reference_emitters("rgbw_neutral", largest=True)
    xyz = random_lights(part, 8, 3)
    drives = least_current(xyz, part)
    np.testing.assert_allclose(drives @ part.columns, xyz, rtol=1e-6)
    # Along the line of solutions no point has a smaller largest channel: scanned in 2,000 steps.
    null = np.linalg.svd(part.columns.T)[2][-1]
    for drive in drives:
        moves = drive + np.linspace(-1, 1, 2001)[:, None] * null
        allowed = moves[(moves >= -1e-9).all(axis=1) & (moves <= 1 + 1e-9).all(axis=1)]
        assert (drive * part.current).max() <= (allowed * part.current).max(axis=1).min() + 1e-5


@pytest.mark.parametrize("which", ["rgb_linear", "rgbw_neutral", "six"])
def test_what_can_be_made_is_what_the_linear_programme_finds_feasible(which: str) -> None:
    part = six_emitters() if which == "six" else reference_emitters(which)
    rng = np.random.default_rng(4)
    # Half well inside, half stretched so that about as many lie outside.
    lights = random_lights(part, 80, 5) * rng.uniform(0.5, 1.8, (80, 1))
    lights[:, 2] *= rng.uniform(0.6, 1.4, 80)
    feasible = [programme(light, part)[0] for light in lights]
    assert 10 < sum(feasible) < 70
    assert can_make(lights, part).tolist() == feasible


@pytest.mark.parametrize("which", ["rgb_linear", "rgbw_cool_double", "six"])
def test_brightest_is_the_largest_scale_of_the_linear_programme(which: str) -> None:
    part = six_emitters() if which == "six" else reference_emitters(which)
    lights = random_lights(part, 20, 6)
    factors = brightest(lights, part)
    for light, factor in zip(lights, factors, strict=True):
        # Unknowns: drives and the factor; drives make factor × light; the factor is made large.
        equal = np.hstack([part.columns.T, -light[:, None]])
        bounds = [(0.0, 1.0)] * part.count + [(0.0, None)]
        cost = np.append(np.zeros(part.count), -1.0)
        found = linprog(cost, A_eq=equal, b_eq=np.zeros(3), bounds=bounds, method="highs")
        assert found.fun is not None
        assert factor == pytest.approx(-found.fun, rel=1e-6)


def test_three_emitters_that_lie_on_one_line_are_refused() -> None:
    columns = np.array(REFERENCES["parts"]["rgb_linear"]["XYZ_full_columns"])
    columns[2] = 0.3 * columns[0] + 0.7 * columns[1]
    with pytest.raises(MarqueeError, match="cannot mix"):
        emitters(columns, np.ones(3))


def test_black_scales_without_limit_and_an_outside_chromaticity_not_at_all() -> None:
    part = reference_emitters("rgb_linear")
    purer_green = part.columns[1] - 0.05 * part.columns[0]
    assert brightest(np.zeros((1, 3)), part)[0] == np.inf
    assert brightest(purer_green[None], part)[0] == 0
    assert not can_make(purer_green[None] * 0.1, part, any_brightness=True)[0]
