from __future__ import annotations

import math
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from marquee.colour.emission import (
    emission,
    led_spectrum,
    missing_for_emission,
    peak_for_dominant,
)
from marquee.colour.observer import colour_matching, locus_xyz, observer_names, wavelengths_nm
from marquee.colour.parts import load_part, part_names
from marquee.errors import QuantityError, TableError
from marquee.values import Part
from tests.colour_parts.rows import rows

TITLES = {
    "cie-1931-2": "CIE 1931 2 Degree Standard Observer",
    "cie-2015-2": "CIE 2015 2 Degree Standard Observer",
    "cie-2015-10": "CIE 2015 10 Degree Standard Observer",
}


def model_part(dominant_nm: tuple[float, ...], intensity_cd: tuple[float, ...]) -> Part:
    return replace(load_part("ws2812b"), dominant_nm=dominant_nm, intensity_cd=intensity_cd)


def test_led_has_the_stated_width_at_half_maximum() -> None:
    peak, fwhm = 523.0, 35.0
    inside = led_spectrum(peak, fwhm)[int(peak) - 360]
    assert inside == pytest.approx(1, abs=1e-12)
    # The grid is 1 nm; half maximum lies half the width from the peak, here on 505.5 and 540.5.
    at = np.interp([505.5, 540.5], wavelengths_nm(), led_spectrum(peak, fwhm))
    assert at == pytest.approx([0.5, 0.5], abs=1e-3)  # linear between two rows


@pytest.mark.parametrize("peak_nm", [463.1, 523.1, 629.7])
def test_spectrum_is_colour_sciences_ohno_led(peak_nm: float) -> None:
    import colour

    sd = colour.colorimetry.sd_single_led_Ohno2005(
        peak_nm, 25 / 0.9218231, shape=colour.SpectralShape(360, 830, 1)
    )
    assert led_spectrum(peak_nm, 25) == pytest.approx(sd.values, abs=1e-12)


@pytest.mark.parametrize(
    ("dominant_nm", "fwhm_nm", "peak_nm"),
    [
        # Solved with colour-science on 0.1 nm tables, then with a separate numpy script.
        (622.5, 20, 629.70),
        (523.5, 35, 523.07),
        (466.0, 25, 463.10),
        (622.0, 20, 629.129),
        (523.0, 35, 522.714),
    ],
)
def test_peak_is_solved_for_the_dominant_wavelength(
    dominant_nm: float, fwhm_nm: float, peak_nm: float
) -> None:
    # Half of the last digit given (0.05 where the first route gave one decimal).
    assert peak_for_dominant(dominant_nm, fwhm_nm) == pytest.approx(peak_nm, abs=0.05)


@pytest.mark.parametrize("dominant_nm", [450.0, 466.0, 480.0, 500.0, 523.5, 560.0, 590.0, 622.5])
@pytest.mark.parametrize("fwhm_nm", [15.0, 25.0, 40.0])
def test_colour_science_finds_the_same_dominant_wavelength(
    dominant_nm: float, fwhm_nm: float
) -> None:
    import colour

    xyz = led_spectrum(peak_for_dominant(dominant_nm, fwhm_nm), fwhm_nm) @ colour_matching(
        "cie-1931-2"
    )
    found, *_ = colour.dominant_wavelength(xyz[:2] / xyz.sum(), (1 / 3, 1 / 3))
    # colour-science answers in whole nanometres.
    assert abs(float(found) - dominant_nm) <= 1.0


@given(st.floats(452, 632), st.floats(12, 40))
def test_dominant_wavelength_lies_in_the_direction_of_the_chromaticity(
    dominant_nm: float, fwhm_nm: float
) -> None:
    xyz = led_spectrum(peak_for_dominant(dominant_nm, fwhm_nm), fwhm_nm) @ colour_matching(
        "cie-1931-2"
    )
    locus = locus_xyz(np.array(dominant_nm), "cie-1931-2")
    seen, pure = (v[:2] / v.sum() - 1 / 3 for v in (xyz, locus))
    angle = math.atan2(seen[0] * pure[1] - seen[1] * pure[0], float(seen @ pure))
    assert abs(angle) < 1e-6
    # Inside the locus, whose published table is not quite convex in the violet (1e-5 at 440 nm).
    assert np.hypot(*seen) <= np.hypot(*pure) + 1e-4


def test_red_of_a_real_package_peaks_where_the_model_says() -> None:
    # Broadcom's table gives dominant and peak of one package. Only its red has the symmetrical shape; real
    # green and blue have a long-wave tail and peak 7 nm and 4 nm shorter than the model.
    red, green, blue = rows("broadcom_qtb4.tsv")
    for row, fwhm_nm, off_nm in ((red, 20, 1.0), (green, 35, 8.0), (blue, 26, 5.0)):
        peak_nm = peak_for_dominant(float(row["dominant_nm"]), fwhm_nm)
        assert abs(peak_nm - float(row["peak_nm"])) <= off_nm


@pytest.mark.parametrize("observer", TITLES)
def test_primaries_meet_the_computed_table(observer: str) -> None:
    part = model_part((622.5, 523.5, 466.0), (1.0, 1.0, 1.0))
    wanted = [row for row in rows("led_model_xy.tsv") if row["observer"] == observer]
    for xyz, row in zip(emission(part, observer).xyz_cd, wanted, strict=True):
        # Half of the last digit of the table, and its own route's last digit.
        assert xyz[0] / sum(xyz) == pytest.approx(float(row["x"]), abs=1e-4)
        assert xyz[1] / sum(xyz) == pytest.approx(float(row["y"]), abs=1e-4)
        assert xyz[1] == pytest.approx(float(row["y_over_1931"]), abs=1e-3)


def test_columns_meet_an_independent_computation() -> None:
    part = model_part((622.0, 523.0, 466.0), (400.0, 690.0, 190.0))
    for xyz, row in zip(emission(part).xyz_cd, rows("led_columns_1931.tsv"), strict=True):
        # Both solve the peak on interpolations of their own; 2e-5 of X, and the printed digits of small Z.
        assert xyz == pytest.approx([float(row[k]) for k in "XYZ"], rel=2e-5, abs=2e-5)


@pytest.mark.parametrize("name", [n for n in part_names() if n not in {"apa102", "sk9822"}])
@pytest.mark.parametrize("observer", TITLES)
def test_packaged_emission_is_colour_sciences(name: str, observer: str) -> None:
    import colour

    part = load_part(name)
    assert part.dominant_nm is not None
    assert part.fwhm_nm is not None
    assert part.intensity_cd is not None
    shape = colour.SpectralShape(390, 830, 1)  # where every observer has a table
    cmfs, cmfs_1931 = (
        colour.MSDS_CMFS[TITLES[o]].copy().align(shape) for o in (observer, "cie-1931-2")
    )
    found = emission(part, observer).xyz_cd
    for number, dominant_nm in enumerate(part.dominant_nm):
        width = part.fwhm_nm[number]
        sd = colour.colorimetry.sd_single_led_Ohno2005(
            peak_for_dominant(dominant_nm, width), width / 0.9218231, shape=shape
        )
        xyz = sd.values @ cmfs.values / (sd.values @ cmfs_1931.values[:, 1])
        # The tables are the same to 8 digits; what differs is the light below 390 nm.
        assert found[number] == pytest.approx(xyz * part.intensity_cd[number], rel=1e-5, abs=1e-7)


@pytest.mark.parametrize(
    ("name", "xy"),
    # Black bodies of 2850 K, 4250 K and 7000 K, the middles of the sheet's white bins (colour-science).
    [
        ("sk6812-rgbw-ww", (0.4480, 0.4076)),
        ("sk6812-rgbw-nw", (0.3700, 0.3700)),
        ("sk6812-rgbw-cw", (0.3064, 0.3165)),
    ],
)
def test_white_die_has_the_chromaticity_of_its_temperature(
    name: str, xy: tuple[float, float]
) -> None:
    white = emission(load_part(name)).xyz_cd[3]
    assert (white[0] / sum(white), white[1] / sum(white)) == pytest.approx(xy, abs=1e-4)


def test_white_die_looks_different_to_another_observer() -> None:
    part = load_part("sk6812-rgbw-nw")
    base, moved = (np.array(emission(part, o).xyz_cd[3]) for o in ("cie-1931-2", "cie-2015-10"))
    # As CIE 15:2018's LED-B3 (4103 K) moves: X ×1.108, Y ×1.076, Z ×1.094.
    assert moved / base == pytest.approx([1.108, 1.076, 1.094], abs=5e-3)


def test_luminous_intensity_is_what_the_part_states() -> None:
    for name in part_names():
        part = load_part(name)
        if part.intensity_cd is None:
            continue
        got = [row[1] for row in emission(part).xyz_cd]
        assert got == pytest.approx(part.intensity_cd, rel=1e-12)


def test_a_part_without_intensities_says_which_keys_are_missing() -> None:
    part = load_part("apa102")
    assert missing_for_emission(part) == (
        "intensity_r_mcd",
        "dominant_r_nm",
        "intensity_g_mcd",
        "dominant_g_nm",
        "intensity_b_mcd",
        "dominant_b_nm",
    )
    with pytest.raises(TableError, match=r'apa102: has no intensity_r_mcd.*based_on = "apa102"'):
        emission(part)


def test_a_white_die_without_chromaticity_is_named() -> None:
    assert missing_for_emission(replace(load_part("sk6812-rgbw-nw"), white_xy=None)) == (
        "white_xy",
    )


@pytest.mark.parametrize("dominant_nm", [402.0, 700.0])
def test_a_wavelength_no_led_can_have_is_refused(dominant_nm: float) -> None:
    with pytest.raises(TableError, match=f"dominant wavelength {dominant_nm:g} nm"):
        peak_for_dominant(dominant_nm, 120.0)


def test_an_unknown_observer_is_refused() -> None:
    with pytest.raises(QuantityError, match=", ".join(observer_names())):
        emission(load_part("ws2812b"), "1931")


def test_emission_needs_no_heavy_package() -> None:
    code = (
        "import sys\n"
        "from marquee.colour.emission import emission\n"
        "from marquee.colour.parts import load_part\n"
        "emission(load_part('sk6812-rgbw-nw'), 'cie-2015-10')\n"
        "print(sorted({'colour', 'scipy', 'matplotlib', 'PIL', 'cv2', 'shapely'} & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
