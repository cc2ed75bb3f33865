"""Colours as makers write them: against coloraide, and refused with the nearest valid form."""

import coloraide
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from marquee.colour.target import (
    target_from_lab,
    target_from_srgb_8bit,
    target_from_text,
    target_from_xyY,
    target_from_xyz,
)
from marquee.errors import QuantityError

TEXTS = [
    "#d6402b",
    "#0af",
    "rgb(214 64 43)",
    "rgb(84%, 25%, 17%)",
    "hsl(7 67% 50%)",
    "hwb(7 17% 16%)",
    "oklab(58% 0.16 0.09)",
    "oklch(58% 0.19 30)",
    "color(srgb 0.2 0.4 0.6)",
    "color(srgb-linear 0.2 0.4 0.6)",
    "color(display-p3 0.78 0.29 0.21)",
    "color(a98-rgb 0.7 0.3 0.2)",
    "color(prophoto-rgb 0.5 0.3 0.2)",
    "color(rec2020 0.6 0.3 0.2)",
    "color(xyz-d50 0.3 0.25 0.1)",
    "color(xyz-d65 0.3 0.25 0.1)",
    "color(xyz 0.3 0.25 0.1)",
    "rebeccapurple",
    "LAB(48% 62 43)",
    "lab(48% 62 43)",
    "lch(48% 75 35deg)",
    "  #D6402B ",
]


@pytest.mark.parametrize("text", TEXTS)
def test_css_colour_has_coloraides_xyz(text: str) -> None:
    theirs = coloraide.Color(text.strip()).convert("xyz-d65").coords()
    # coloraide's D50 comes from the chromaticity CSS gives, ours from ICC: 2e-5 apart in lab() and lch().
    is_lab = text.strip().lower().startswith(("lab", "lch"))
    np.testing.assert_allclose(
        target_from_text(text, "n", "test").xyz, theirs, atol=3e-5 if is_lab else 1e-9
    )


def test_hex_and_pixels_give_the_same_target() -> None:
    one = target_from_text("#d6402b", "red", "test", origin="artwork")
    assert one == target_from_srgb_8bit([0xD6, 0x40, 0x2B], "red")
    assert (one.srgb, one.name, one.origin) == ("#d6402b", "red", "artwork")


def test_missing_components_count_as_zero() -> None:
    assert (
        target_from_text("oklch(58% 0.19 none)", "n", "t").xyz
        == target_from_text("oklch(58% 0.19 0)", "n", "t").xyz
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("d6402b", "did you mean #d6402b"),
        ("#d6402", "3 or 6 digits"),
        ("gren", "did you mean green"),
        ("lab(48,62,43)", r"write lab\(\) like lab\(48% 62 43\)"),
        ("labb(48% 62 43)", r"write lab\(\) like"),
        ("color(display-p4 1 0 0)", r"write color\(\) like"),
        ("", "write it like #d6402b"),
        ("lab(120% 0 0)", "outside 0 to 100"),
        ("lab(50% 200 0)", "outside -128 to 127"),
        ("lch(50% 300 20)", "outside -128 to 127"),
        ("rgb(300 0 0)", "0 to 255"),
        ("rgb(10 20 30 / 50%)", "transparent"),
        ("#d6402b80", "transparent"),
        ("oklch(60% 0.4 120)", "no light can have"),
        ("color(xyz-d65 2 2 2)", "brighter than white"),
        ("\x1b[31mred", "did you mean|write it like"),
    ],
)
def test_unusable_colour_is_refused_with_the_nearest_form(text: str, said: str) -> None:
    with pytest.raises(QuantityError, match=said) as caught:
        target_from_text(text, "n", "--palette row 3")
    assert "\n" not in str(caught.value)
    assert "\x1b" not in str(caught.value)
    assert caught.value.where == "--palette row 3"


@given(st.text(max_size=30))
def test_any_text_is_a_colour_or_a_one_line_refusal(text: str) -> None:
    try:
        target = target_from_text(text, "n", "test")
    except QuantityError as error:
        refusal = str(error)
        values: tuple[float, ...] = ()
    else:
        refusal = ""
        values = target.xyz
    assert "\n" not in refusal
    assert all(0 <= value <= 1.2 for value in values)
    assert refusal or len(values) == 3


def test_lab_under_d50_goes_to_d65_by_iccs_bradford_matrix() -> None:
    # ICC Technical Note 02-2003: the matrix for D65 95.04 100 108.89 and D50 96.42 100 82.49.
    matrix = np.array(
        [
            [1.04790738, 0.02293338, -0.05020163],
            [0.02960596, 0.99045604, -0.01707553],
            [-0.00924679, 0.01506268, 0.75179123],
        ]
    )
    target = target_from_lab([48, 62, 43], "D50", "n", "test")
    back = matrix @ np.array(target.xyz)
    f_y = (48 + 16) / 116
    wanted = np.array([0.9642 * (f_y + 62 / 500) ** 3, f_y**3, 0.8249 * (f_y - 43 / 200) ** 3])
    # The note's whites carry four digits: 1e-4.
    np.testing.assert_allclose(back, wanted, atol=1e-4)


def test_print_lab_read_as_d65_would_be_another_colour() -> None:
    d50 = target_from_lab([48, 62, 43], "D50", "n", "test")
    d65 = target_from_lab([48, 62, 43], "D65", "n", "test")
    assert d65.lab_d65 == pytest.approx((48, 62, 43), abs=1e-9)
    assert abs(d50.lab_d65[0] - 48) > 0.5


@pytest.mark.parametrize("white", ["D50", "D65", "A", "5000K", "0.31,0.33"])
def test_white_of_any_stated_white_becomes_d65(white: str) -> None:
    target = target_from_lab([100, 0, 0], white, "white", "test")
    assert target.lab_d65 == pytest.approx((100, 0, 0), abs=1e-9)
    assert target.srgb == "#ffffff"


def test_xyy_under_d65_is_taken_as_it_is() -> None:
    target = target_from_xyY([0.4, 0.35, 0.3], "D65", "n", "test")
    assert target.xyz == pytest.approx((0.4 / 0.35 * 0.3, 0.3, 0.25 / 0.35 * 0.3))
    assert target.xyz == pytest.approx(target_from_xyz(target.xyz, "D65", "n", "test").xyz)


@pytest.mark.parametrize(
    ("values", "white", "said"),
    [
        ([120, 0, 0], "D50", "outside 0 to 100"),
        ([50, 400, 0], "D50", "outside -128 to 127"),
        ([50, 0], "D50", "three numbers"),
        ([50, 0, float("nan")], "D50", "three numbers"),
        (["a", 0, 0], "D50", "three numbers"),
        ([50, 0, 0], "D51", "did you mean D"),
        ([10, -120, 0], "D50", "no light can have"),
    ],
)
def test_unusable_lab_is_refused(values: list[float], white: str, said: str) -> None:
    with pytest.raises(QuantityError, match=said):
        target_from_lab(values, white, "n", "palette row 2")


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ([0.4, 0.0, 0.3], "no chromaticity"),
        ([0.7, 0.5, 0.3], "no chromaticity"),
        ([0.4, 0.4, 1.5], "outside 0 to 1"),
        ([0.4, 0.4, -0.1], "outside 0 to 1"),
    ],
)
def test_unusable_xyy_is_refused(values: list[float], said: str) -> None:
    with pytest.raises(QuantityError, match=said):
        target_from_xyY(values, "D65", "n", "palette row 2")
