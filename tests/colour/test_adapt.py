"""Whites and adaptation: CIE tables, the ICC's matrix, Little CMS, colour-science."""

import ctypes
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import PIL
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from marquee.colour.adapt import adaptation_matrix, observed_white_xyz, parse_white, white_xyz
from marquee.colour.constants import D65_XYZ, DAYLIGHT_XYZ
from marquee.colour.observer import colour_matching, wavelengths_nm
from marquee.errors import QuantityError


@pytest.mark.parametrize(
    ("text", "xy"),
    [("D65", (0.3127, 0.3290)), ("d50", (0.3457, 0.3585)), ("A", (0.4476, 0.4074))],
)
def test_named_white_has_the_chromaticity_of_cie_15(text: str, xy: tuple[float, float]) -> None:
    assert parse_white(text) == xy


@pytest.mark.parametrize("kelvin", [4000, 5003, 6504, 7000, 7001, 12000, 25000])
def test_daylight_temperature_lies_where_colour_science_puts_it(kelvin: int) -> None:
    colour = pytest.importorskip("colour")
    theirs = colour.temperature.CCT_to_xy_CIE_D(kelvin)
    np.testing.assert_allclose(parse_white(f"{kelvin}K"), theirs, atol=1e-9)


@pytest.mark.parametrize("kelvin", [1800, 2700, 3200, 3999])
def test_warm_temperature_lies_on_the_planckian_locus(kelvin: int) -> None:
    colour = pytest.importorskip("colour")
    body = colour.sd_blackbody(kelvin, colour.SpectralShape(360, 830, 1))
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    theirs = colour.XYZ_to_xy(colour.colorimetry.sd_to_XYZ_integration(body, cmfs))
    # The second radiation constant is taken with five or with eight digits.
    np.testing.assert_allclose(parse_white(f"{kelvin} K"), theirs, atol=2e-5)


@given(x=st.floats(0.15, 0.65), y=st.floats(0.2, 0.6))
def test_every_white_that_is_taken_is_a_light_to_every_observer(x: float, y: float) -> None:
    # Tristimulus values of a light are none of them negative (CIE 15:2018, 7.1), whatever its white's name.
    assume(x + y < 1)
    for observer in DAYLIGHT_XYZ:
        try:
            xyz = observed_white_xyz(f"{x:.4f},{y:.4f}", observer)
        except QuantityError:
            # No daylight is that far from daylight's own curve, CIE 15:2018 eq. 4.1 to 4.3.
            assert abs(y - (-3.000 * x**2 + 2.870 * x - 0.275)) > 0.05
            continue
        assert np.isfinite(xyz).all()
        assert xyz.min() >= 0
        assert xyz[1] == pytest.approx(1.0)


def test_pair_and_comma_forms_are_read() -> None:
    assert parse_white("0.31,0.33") == parse_white("0.31 0.33") == parse_white(" .31 ; .33 ")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("D66", "did you mean D65"),
        ("5000", "write 5000K"),
        ("500K", "outside 1000 to 25000"),
        ("0.9,0.2", "is not a white"),
        ("0.35,0.1858", "is not a white"),
        ("nan", "is not a known white"),
        ("", "is not a known white"),
    ],
)
def test_unknown_white_is_refused_with_the_nearest_form(text: str, said: str) -> None:
    with pytest.raises(QuantityError, match=said):
        parse_white(text, "--white")


def test_bradford_d65_to_d50_is_the_iccs_published_matrix() -> None:
    # ICC Technical Note 02-2003, with its own whites.
    ours = adaptation_matrix([0.9504, 1.0, 1.0889], [0.9642, 1.0, 0.8249])
    printed = [
        [1.04790738, 0.02293338, -0.05020163],
        [0.02960596, 0.99045604, -0.01707553],
        [-0.00924679, 0.01506268, 0.75179123],
    ]
    np.testing.assert_allclose(ours, printed, atol=1e-8)


@pytest.mark.parametrize(("method", "theirs"), [("bradford", "Bradford"), ("cat16", "CAT16")])
def test_adaptation_is_that_of_colour_science(method: str, theirs: str) -> None:
    colour = pytest.importorskip("colour")
    matrix = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        D65_XYZ, white_xyz("2700K"), transform=theirs
    )
    np.testing.assert_allclose(
        adaptation_matrix(D65_XYZ, white_xyz("2700K"), method), matrix, atol=1e-9
    )


def test_there_and_back_is_nothing() -> None:
    there = adaptation_matrix(D65_XYZ, white_xyz("A"), "cat16")
    np.testing.assert_allclose(
        there @ adaptation_matrix(white_xyz("A"), D65_XYZ, "cat16"), np.eye(3), atol=1e-12
    )


@pytest.mark.parametrize("observer", ["cie-1931-2", "cie-2015-2", "cie-2015-10"])
def test_daylight_components_integrate_to_the_packaged_constants(observer: str) -> None:
    pytest.importorskip("colour")
    from colour.colorimetry import SDS_BASIS_FUNCTIONS_CIE_ILLUMINANT_D_SERIES as COMPONENTS

    rows = []
    for name in ("S0", "S1", "S2"):
        table = COMPONENTS[name]
        power = np.interp(wavelengths_nm(), table.wavelengths, table.values)
        rows.append(power @ colour_matching(observer))
    # Seven digits were kept.
    np.testing.assert_allclose(DAYLIGHT_XYZ[observer], np.array(rows) / rows[0][1], atol=6e-8)


@pytest.mark.parametrize(
    ("observer", "theirs"),
    [
        ("cie-2015-2", "CIE 2015 2 Degree Standard Observer"),
        ("cie-2015-10", "CIE 2015 10 Degree Standard Observer"),
    ],
)
@pytest.mark.parametrize("white", ["D65", "A"])
def test_white_of_the_2015_observers_is_what_colour_science_integrates(
    observer: str, theirs: str, white: str
) -> None:
    colour = pytest.importorskip("colour")
    spectrum = colour.SDS_ILLUMINANTS[white].copy().align(colour.SpectralShape(390, 830, 1))
    xyz = colour.colorimetry.sd_to_XYZ_integration(spectrum, colour.MSDS_CMFS[theirs])
    # Table rows 5 nm apart, four-digit chromaticities, and McCamy's temperature of A: a few 1e-4.
    np.testing.assert_allclose(
        observed_white_xyz(white, observer), xyz / xyz[1], atol=1.5e-3 if white == "A" else 6e-4
    )


class _CmsXyz(ctypes.Structure):
    _fields_ = (("X", ctypes.c_double), ("Y", ctypes.c_double), ("Z", ctypes.c_double))


def little_cms() -> Any:
    found = sorted((Path(PIL.__file__).parent.parent / "pillow.libs").glob("liblcms2*"))
    if not found:
        pytest.skip("this Pillow brings no Little CMS of its own")
    return ctypes.CDLL(str(found[0]))


def test_little_cms_adapts_to_the_same_xyz() -> None:
    adapt: Callable[..., int] = little_cms().cmsAdaptToIlluminant
    d65, d50 = _CmsXyz(*D65_XYZ), _CmsXyz(0.9642, 1.0, 0.8249)
    rng = np.random.default_rng(3)
    matrix = adaptation_matrix(D65_XYZ, [0.9642, 1.0, 0.8249])
    for xyz in rng.uniform(0, 1, (50, 3)):
        result = _CmsXyz()
        value = _CmsXyz(*xyz)
        assert adapt(
            ctypes.byref(result), ctypes.byref(d65), ctypes.byref(d50), ctypes.byref(value)
        )
        theirs = [result.X, result.Y, result.Z]
        np.testing.assert_allclose(matrix @ xyz, theirs, atol=1e-12)
