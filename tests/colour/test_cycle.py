"""The hue cycle: even steps, one luminance, inside the gamut, and never a flash."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from marquee.colour.cycle import check_period, count_flashes, hue_circle, solve_cycle
from marquee.colour.difference import delta_e_2000
from marquee.colour.drive import solve_drive
from marquee.colour.emission import emission
from marquee.colour.parts import load_part
from marquee.colour.seen import seen_part
from marquee.colour.solve import can_make
from marquee.colour.spaces import xyz_to_lab, xyz_to_uv_prime
from marquee.errors import QuantityError
from marquee.project import ColourSettings
from tests.colour.made import (
    PART_NAMES,
    SHEET,
    reference_part,
    targets_of,
    transfer_of,
    zone_map_of,
)


@pytest.mark.parametrize("steps", [48, 64])
@pytest.mark.parametrize("part_name", PART_NAMES)
def test_cycle_steps_are_even_within_a_fifth_by_colour_sciences_ciede2000(
    part_name: str, steps: int
) -> None:
    colour = pytest.importorskip("colour")
    part, emission = reference_part(part_name)
    chosen = ColourSettings.model_validate({"cycle_steps": steps})
    seen = seen_part(part, emission, chosen)
    cycle, _ = solve_cycle(seen, seen.white_cd, chosen)
    shown = np.array(cycle.xyz_cd) / seen.white_cd
    labs = colour.XYZ_to_Lab(shown, illuminant=np.array([0.3127, 0.3290]))
    lengths = colour.difference.delta_E_CIE2000(labs, np.roll(labs, -1, axis=0))
    assert len(lengths) == steps
    assert np.abs(lengths / lengths.mean() - 1).max() < 0.2


@pytest.mark.parametrize("brightness", [1.0, 0.3])
@pytest.mark.parametrize(
    "name", ["ws2812b", "sk6812", "ws2815", "sk6812-rgbw-ww", "sk6812-rgbw-nw", "sk6812-rgbw-cw"]
)
def test_cycle_of_packaged_parts_is_even_within_a_fifth_also_dimmed(
    name: str, brightness: float
) -> None:
    part = load_part(name)
    chosen = ColourSettings.model_validate({"brightness": brightness})
    seen = seen_part(part, emission(part), chosen)
    _, look = solve_cycle(seen, seen.white_cd * brightness, chosen)
    labs = xyz_to_lab(look)
    lengths = delta_e_2000(labs, np.roll(labs, -1, axis=0))
    assert np.abs(lengths / lengths.mean() - 1).max() < 0.2


@pytest.mark.parametrize("part_name", PART_NAMES)
def test_cycle_keeps_one_luminance_as_coded(part_name: str) -> None:
    part, emission = reference_part(part_name)
    seen = seen_part(part, emission, ColourSettings())
    cycle, _ = solve_cycle(seen, seen.white_cd, ColourSettings())
    luminance = np.array(cycle.xyz_cd)[:, 1]
    # A code is 0.4 % of full; three channels rounded against each other leave a few percent.
    assert np.abs(luminance / luminance.mean() - 1).max() < 0.03


@pytest.mark.parametrize("part_name", PART_NAMES)
def test_exact_circle_turns_once_through_all_hues_in_gamut(part_name: str) -> None:
    part, emission = reference_part(part_name)
    seen = seen_part(part, emission, ColourSettings())
    circle, intensity_cd = hue_circle(seen.emitters, 64)
    np.testing.assert_allclose(circle[:, 1], 1, rtol=1e-12)
    assert can_make(circle * intensity_cd, seen.emitters).all()
    assert not can_make(circle * intensity_cd * 1.001, seen.emitters).all()
    from_white = xyz_to_uv_prime(circle) - [0.19783, 0.46833]  # D65, CIE 15
    turn = np.diff(np.unwrap(np.arctan2(from_white[:, 1], from_white[:, 0])))
    assert (turn > 0).all()
    assert turn.sum() == pytest.approx(2 * np.pi, abs=0.5)


@given(period=st.floats(0.001, 10.0))
@settings(max_examples=40, deadline=None)
def test_periods_of_more_than_three_turns_a_second_are_refused(period: float) -> None:
    # WCAG 2.2, 2.3.1: one turn goes to saturated red and back, a flash; three a second are the most.
    part, emission = reference_part("rgb_linear")
    chosen = ColourSettings.model_validate({"cycle_period_s": period})
    seen = seen_part(part, emission, chosen)
    if period < 1 / 3 - 1e-6:
        with pytest.raises(QuantityError, match="seizures"):
            solve_cycle(seen, seen.white_cd, chosen)
    elif period > 1 / 3 + 1e-6:
        assert solve_cycle(seen, seen.white_cd, chosen)[0].period_s == period


def greys(luminances: list[float]) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return np.asarray(np.outer(luminances, [0.95, 1.0, 1.09]), float)


@pytest.mark.parametrize(
    ("luminances", "flashes"),
    [
        ([0.2] * 8, 0),
        ([0.2, 0.7] * 3, 3),
        # Changes below a tenth of the maximum, and pairs whose darker state is 0.8 or more, are no flash.
        ([0.20, 0.29] * 4, 0),
        ([0.85, 1.0] * 4, 0),
        ([0.75, 1.0] * 4, 4),
        # A slow rise and fall is one pair of opposing changes.
        ([0.1, 0.3, 0.5, 0.7, 0.9, 0.7, 0.5, 0.3], 1),
    ],
    ids=["still", "three", "faint", "bright", "just-flashing", "slow"],
)
def test_general_flashes_are_counted_as_wcag_defines_them(
    luminances: list[float], flashes: int
) -> None:
    assert count_flashes(greys(luminances)) == flashes


def test_saturated_red_coming_and_going_counts_as_red_flash() -> None:
    red, blue = [0.0413, 0.0213, 0.0019], [0.0541, 0.0217, 0.285]
    assert count_flashes(np.array([red, blue, red, blue])) == 2
    assert count_flashes(np.array([red, red, red])) == 0
    with pytest.raises(QuantityError, match=r"2\.3\.1"):
        check_period(0.5, np.array([red, blue, red, blue]), "test")


def test_dim_cycle_says_it_is_uneven_and_a_bright_one_does_not() -> None:
    part, _ = reference_part("rgb_linear", **SHEET)
    targets = targets_of(["#ffffff", "#d6402b"])
    found = {}
    for brightness in (1.0, 0.05):
        drive = solve_drive(
            zone_map_of(targets, cycling=(1,)),
            part,
            transfer_of([100.0, 100.0]),
            ColourSettings.model_validate({"brightness": brightness}),
        )
        found[brightness] = {f.code: f.message for f in drive.findings}
    assert "colour.cycle-uneven" not in found[1.0]
    assert "cycle_steps" in found[0.05]["colour.cycle-uneven"]


def test_cycle_is_no_brighter_than_the_signs_white() -> None:
    part, emission = reference_part("rgb_linear")
    seen = seen_part(part, emission, ColourSettings())
    cycle, _ = solve_cycle(seen, 0.05, ColourSettings())
    assert np.array(cycle.xyz_cd)[:, 1].mean() == pytest.approx(0.05, rel=0.05)
