"""Colour spaces against colour-science, coloraide, Little CMS and published figures."""

import subprocess
import sys
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, ImageCms

from marquee.colour import constants, spaces

GRID = np.stack(np.meshgrid(*[np.arange(0, 256, 15)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)


@pytest.fixture(scope="module")
def colour() -> Any:
    return pytest.importorskip("colour")


def test_srgb_matrix_is_colour_sciences_derived_one(colour: Any) -> None:
    space = colour.models.RGB_COLOURSPACE_sRGB.copy()
    space.use_derived_transformation_matrices(True)
    np.testing.assert_allclose(constants.SRGB_TO_XYZ, space.matrix_RGB_to_XYZ, atol=1e-12)
    # IEC 61966-2-1:1999 prints four digits, with its own 4-digit white: half a digit and a bit.
    printed = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    np.testing.assert_allclose(constants.SRGB_TO_XYZ, printed, atol=0.6e-4)


def test_whites_are_those_of_cie_15(colour: Any) -> None:
    table = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    for name, xy in constants.WHITES_XY.items():
        # colour-science gives A and C with five digits more in some prints; four digits are published.
        np.testing.assert_allclose(xy, table[name], atol=0.6e-4, err_msg=name)


def test_adaptation_matrices_are_those_of_colour_science(colour: Any) -> None:
    table = colour.CHROMATIC_ADAPTATION_TRANSFORMS
    np.testing.assert_array_equal(constants.BRADFORD, table["Bradford"])
    np.testing.assert_array_equal(constants.CAT16, table["CAT16"])


def test_oklab_agrees_with_colour_science_and_returns(colour: Any) -> None:
    xyz = spaces.srgb_8bit_to_xyz_d65(GRID)
    np.testing.assert_allclose(spaces.xyz_to_oklab(xyz), colour.XYZ_to_Oklab(xyz), atol=1e-9)
    np.testing.assert_allclose(spaces.oklab_to_xyz(spaces.xyz_to_oklab(xyz)), xyz, atol=1e-12)


def test_oklab_matches_the_authors_example_pairs() -> None:
    # Ottosson, A perceptual color space for image processing, 2020: table of XYZ and Lab pairs, 3 digits.
    xyz = np.array([[0.950, 1.0, 1.089], [1.0, 0, 0], [0.0, 1, 0], [0.0, 0, 1]])
    lab = np.array(
        [[1.0, 0, 0], [0.450, 1.236, -0.019], [0.922, -0.671, 0.263], [0.153, -1.415, -0.449]]
    )
    np.testing.assert_allclose(spaces.xyz_to_oklab(xyz), lab, atol=1.5e-3)


def test_lab_agrees_with_colour_science_under_d50_and_d65(colour: Any) -> None:
    xyz = spaces.srgb_8bit_to_xyz_d65(GRID)
    for white in (constants.D65_XYZ, constants.D50_ICC_XYZ):
        theirs = colour.XYZ_to_Lab(xyz, illuminant=colour.XYZ_to_xy(white))
        # colour-science goes through xy and back.
        np.testing.assert_allclose(spaces.xyz_to_lab(xyz, white), theirs, atol=1e-9)


def test_srgb_to_lab_agrees_with_coloraide() -> None:
    import coloraide

    for rgb in GRID[::37]:
        theirs = coloraide.Color("srgb", [float(c) / 255 for c in rgb]).convert("lab-d65").coords()
        ours = spaces.srgb_8bit_to_lab_d65(rgb)
        # coloraide's D65 and matrices carry 16 digits of the same definitions.
        np.testing.assert_allclose(ours, theirs, atol=1e-6)


def test_srgb_to_lab_agrees_with_little_cms() -> None:
    picture = Image.fromarray(GRID.astype(np.uint8)[None], "RGB")
    srgb, lab = ImageCms.createProfile("sRGB"), ImageCms.createProfile("LAB")
    move = ImageCms.buildTransform(
        srgb, lab, "RGB", "LAB", renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC
    )
    assert move is not None
    made = ImageCms.applyTransform(picture, move)
    assert made is not None
    raw = np.asarray(made)[0].astype(float)
    theirs = np.stack(
        [raw[:, 0] * 100 / 255, (raw[:, 1] + 128) % 256 - 128, (raw[:, 2] + 128) % 256 - 128], -1
    )
    from marquee.colour.adapt import adaptation_matrix

    d50 = adaptation_matrix(constants.D65_XYZ, constants.D50_ICC_XYZ)
    ours = spaces.xyz_to_lab(spaces.srgb_8bit_to_xyz_d65(GRID) @ d50.T, constants.D50_ICC_XYZ)
    # Little CMS answers in bytes: half a step of L* is 0.2, of a* and b* 0.5; its own 8-bit path adds one
    # step on saturated colours.
    assert np.abs(theirs - ours)[:, 0].max() < 0.4
    assert np.abs(theirs - ours)[:, 1:].max() < 1.1
    assert np.abs(theirs - ours).mean() < 0.3


@given(st.tuples(*[st.integers(0, 255)] * 3))
def test_every_srgb_byte_triple_returns_from_xyz_and_lab(rgb: tuple[int, int, int]) -> None:
    xyz = spaces.srgb_8bit_to_xyz_d65(rgb)
    assert tuple(spaces.xyz_to_srgb_8bit(xyz)) == rgb
    lab = spaces.xyz_to_lab(xyz, constants.D65_XYZ)
    np.testing.assert_allclose(spaces.lab_to_xyz(lab, constants.D65_XYZ), xyz, atol=1e-12)


def test_greys_have_no_chroma_and_white_is_lab_100() -> None:
    lab = spaces.srgb_8bit_to_lab_d65(np.repeat(np.arange(256), 3).reshape(-1, 3))
    # Float64 rounding times 500.
    assert np.abs(lab[:, 1:]).max() < 1e-10
    assert lab[255] == pytest.approx([100, 0, 0], abs=1e-10)


def test_uv_prime_and_xyy_agree_with_colour_science(colour: Any) -> None:
    xyz = spaces.srgb_8bit_to_xyz_d65(GRID[1:])
    theirs = colour.Luv_to_uv(colour.XYZ_to_Luv(xyz))
    # Through L* and back: 1e-9.
    np.testing.assert_allclose(spaces.xyz_to_uv_prime(xyz), theirs, atol=1e-9)
    np.testing.assert_allclose(spaces.xyz_to_xyy(xyz), colour.XYZ_to_xyY(xyz), atol=1e-12)
    np.testing.assert_allclose(spaces.xyy_to_xyz(spaces.xyz_to_xyy(xyz)), xyz, atol=1e-12)


@pytest.mark.parametrize("convert", [spaces.xyz_to_xyy, spaces.xyz_to_uv_prime])
def test_black_gets_the_whites_chromaticity(
    convert: Callable[[NDArray[np.float64]], NDArray[np.float64]],
) -> None:
    black, white = convert(np.zeros(3)), convert(constants.D65_XYZ)
    np.testing.assert_allclose(black[:2], white[:2], atol=1e-15)


def test_published_colorchecker_red_comes_back_from_its_lab() -> None:
    # ColorChecker after November 2014, X-Rite: patch 15 (red), Lab D50 42.43 51.05 28.62; white patch
    # 95.19 -1.03 2.93. sRGB values computed by coloraide from that Lab.
    import coloraide

    from marquee.colour.target import target_from_lab

    for lab in ([42.43, 51.05, 28.62], [95.19, -1.03, 2.93]):
        theirs = coloraide.Color("lab", lab).convert("srgb").coords()
        ours = target_from_lab(lab, "D50", "patch", "test").srgb
        expected = [round(255 * c) for c in theirs]
        got = [int(ours[i : i + 2], 16) for i in (1, 3, 5)]
        # ICC's D50 and the chromaticity's differ in the fourth digit: at most one byte.
        assert np.abs(np.subtract(expected, got)).max() <= 1


def test_helpers_import_nothing_heavy() -> None:
    code = (
        "import sys, marquee.colour.difference, marquee.colour.spaces, marquee.colour.target;"
        "print([m for m in ('colour', 'scipy', 'matplotlib', 'coloraide', 'cv2') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
