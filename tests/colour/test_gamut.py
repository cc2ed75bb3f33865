"""Colours the part cannot make: hue kept, or least difference."""

import numpy as np
from scipy.optimize import minimize

from marquee.colour.constants import D65_XYZ
from marquee.colour.difference import delta_e_2000
from marquee.colour.gamut import bring_in, lower_chroma
from marquee.colour.solve import can_make, emitters
from marquee.colour.spaces import lab_to_xyz, xyz_to_lab, xyz_to_oklab
from tests.colour.made import REFERENCES

PART = emitters(np.array(REFERENCES["parts"]["rgb_linear"]["XYZ_full_columns"]) / 1036, np.ones(3))


def outside(count: int) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    rng = np.random.default_rng(8)
    labs = rng.uniform([30, -110, -110], [90, 110, 110], (40 * count, 3))
    xyz = lab_to_xyz(labs, D65_XYZ)
    chosen = xyz[(xyz.min(axis=1) > 0) & ~can_make(xyz, PART, any_brightness=True)]
    assert len(chosen) >= count
    return np.asarray(chosen[:count], float)


def test_lower_chroma_keeps_oklab_lightness_and_hue_and_ends_on_the_edge() -> None:
    xyz = outside(30)
    made = lower_chroma(xyz, PART)
    before, after = xyz_to_oklab(xyz), xyz_to_oklab(made)
    np.testing.assert_allclose(after[:, 0], before[:, 0], atol=1e-9)
    cross = before[:, 1] * after[:, 2] - before[:, 2] * after[:, 1]
    np.testing.assert_allclose(cross, 0, atol=1e-9)
    assert can_make(made, PART, any_brightness=True).all()
    more = lower_chroma(xyz, PART)
    # A thousandth more chroma leaves the gamut again.
    oklab = xyz_to_oklab(more) * np.array([1, 1.001, 1.001])
    from marquee.colour.spaces import oklab_to_xyz

    assert not can_make(oklab_to_xyz(oklab), PART, any_brightness=True).any()


def test_nearest_is_as_near_as_scipy_finds() -> None:
    xyz = outside(12)
    made = bring_in(xyz, PART, "nearest")
    wanted = xyz_to_lab(xyz)
    ours = delta_e_2000(wanted, xyz_to_lab(made))
    assert can_make(made, PART, any_brightness=True).all()
    for row in range(len(xyz)):

        def error(
            drive: np.ndarray[tuple[int, ...], np.dtype[np.float64]], at: int = row
        ) -> float:
            return float(delta_e_2000(wanted[at], xyz_to_lab(np.abs(drive) @ PART.columns)))

        first = np.linalg.solve(PART.columns.T, made[row])
        starts = np.array([first, [0.3, 0.3, 0.1], [0.1, 0.5, 0.3]])
        best = min(
            float(
                minimize(
                    error, s, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-7}
                ).fun
            )
            for s in starts
        )
        assert ours[row] <= best + 1e-3


def test_colours_in_gamut_are_left_alone() -> None:
    xyz = np.array([D65_XYZ * 0.5, D65_XYZ])
    np.testing.assert_array_equal(bring_in(xyz, PART, "hue"), xyz)
