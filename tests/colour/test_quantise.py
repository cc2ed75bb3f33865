"""Whole codes: against trying every code, and never worse than rounding."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from marquee.colour.constants import D65_XYZ
from marquee.colour.difference import delta_e_2000
from marquee.colour.quantise import Wanted, choose_codes, code_of_light, error_of, nearest_code
from marquee.colour.solve import emitters, least_current
from marquee.colour.spaces import xyz_to_lab
from tests.colour.made import REFERENCES, response

RGB = emitters(np.array(REFERENCES["parts"]["rgb_linear"]["XYZ_full_columns"]), np.ones(3))
RGBW = emitters(np.array(REFERENCES["parts"]["rgbw_neutral"]["XYZ_full_columns"]), np.ones(4))


def wanted_for(relative: np.ndarray[tuple[int, ...], np.dtype[np.float64]], cd: float) -> Wanted:
    part = RGB
    return Wanted(
        lab=xyz_to_lab(relative),
        scale_cd=np.full(len(relative), cd),
        drive=least_current(relative * cd, part),
    )


@given(
    drive=st.lists(st.tuples(*[st.floats(0, 1)] * 3), min_size=1, max_size=5),
    cd=st.floats(20, 1000),
    curve=st.sampled_from(["linear", "ws2812b"]),
)
@settings(max_examples=60, deadline=None)
def test_chosen_codes_are_never_worse_than_rounding(
    drive: list[tuple[float, float, float]], cd: float, curve: str
) -> None:
    table = response(curve)
    relative = np.array(drive) @ RGB.columns / 2000
    wanted = wanted_for(relative, cd)
    chosen = choose_codes(wanted, RGB, table)
    for rounding in (
        np.rint(code_of_light(wanted.drive, table)),
        nearest_code(wanted.drive, table),
    ):
        light = table[rounding.astype(int)]
        assert (chosen.delta_e_2000 <= error_of(light, wanted, RGB) + 1e-6).all()


def test_dim_colours_get_the_best_of_all_codes() -> None:
    # At 3 % of 1,036 mcd no code above 24 can matter: every triple up to there is tried.
    table = response("linear")
    rng = np.random.default_rng(9)
    relative = (rng.uniform(0, 1, (12, 3)) ** 2 @ RGB.columns) / 2000
    wanted = wanted_for(relative, 31.0)
    assert wanted.drive.max() < 20 / 255
    every = np.stack(np.meshgrid(*[np.arange(25)] * 3, indexing="ij"), -1).reshape(-1, 3)
    labs = xyz_to_lab(table[every] @ RGB.columns / 31.0, D65_XYZ)
    best = delta_e_2000(wanted.lab[:, None], labs[None]).min(axis=1)
    np.testing.assert_allclose(choose_codes(wanted, RGB, table).delta_e_2000, best, atol=1e-6)


def test_fourth_emitters_codes_are_the_best_of_a_wide_search() -> None:
    # Every W code with ±3 codes of R, G and B around what is left, as far as the light can be made.
    table = response("linear")
    rng = np.random.default_rng(10)
    drives = rng.uniform(0, 0.12, (6, 4))
    xyz = drives @ RGBW.columns
    wanted = Wanted(
        lab=xyz_to_lab(xyz / 300), scale_cd=np.full(6, 300.0), drive=least_current(xyz, RGBW)
    )
    chosen = choose_codes(wanted, RGBW, table)
    offsets = np.stack(np.meshgrid(*[np.arange(-3, 4)] * 3, indexing="ij"), -1).reshape(-1, 3)
    inverse = np.linalg.inv(RGBW.columns[:3])
    for row in range(6):
        rest = (xyz[row] - table[:, None] * RGBW.columns[3]) @ inverse
        possible = np.flatnonzero((rest > -0.03).all(axis=1))
        around = np.clip(np.rint(rest[possible] * 255), 0, 255).astype(int)[:, None] + offsets
        around = np.clip(around, 0, 255)
        light = table[around] @ RGBW.columns[:3]
        light += (table[possible, None] * RGBW.columns[3])[:, None]
        best = delta_e_2000(wanted.lab[row], xyz_to_lab(light / 300)).min()
        assert chosen.delta_e_2000[row] <= best + 0.01


@pytest.mark.parametrize("curve", ["linear", "ws2812b"])
def test_code_of_light_inverts_the_response(curve: str) -> None:
    table = response(curve)
    np.testing.assert_allclose(code_of_light(table, table), np.arange(256), atol=1e-9)
    np.testing.assert_array_equal(nearest_code(table, table), np.arange(256))
    # A third of the way between two rows the lower code is nearer.
    between = table[:-1] + (table[1:] - table[:-1]) / 3
    np.testing.assert_array_equal(nearest_code(between, table), np.arange(255))
