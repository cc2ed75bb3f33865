"""Reflectance spectra: the ColorChecker's published average and a perfect white."""

import numpy as np
import pytest

from marquee.colour.difference import delta_e_2000
from marquee.colour.reflectance import target_from_reflectance
from marquee.colour.target import target_from_xyY
from marquee.errors import QuantityError

RANGE = np.arange(380.0, 731.0, 10.0)


def test_colorchecker_spectra_give_their_published_xyy() -> None:
    # BabelColor's averages of 30 ColorChecker charts: spectra and, separately published, xyY under D50.
    colour = pytest.importorskip("colour")
    spectra = colour.SDS_COLOURCHECKERS["babel_average"]
    published = colour.CCS_COLOURCHECKERS["BabelColor Average"].data
    assert len(published) == 24
    for name, values in published.items():
        spectrum = spectra[name]
        ours = target_from_reflectance(spectrum.wavelengths, spectrum.values, name, "test")
        theirs = target_from_xyY(values, "D50", name, "test")
        # Four digits of xyY are 0.1 in Lab of dark patches; 10 nm spectra held linear in between add as much.
        assert float(delta_e_2000(ours.lab_d65, theirs.lab_d65)) < 0.3, name


@pytest.mark.parametrize("illuminant", ["D50", "D65"])
def test_perfect_white_is_white_under_either_illuminant(illuminant: str) -> None:
    target = target_from_reflectance(RANGE, np.ones(36), "white", "test", illuminant=illuminant)
    assert target.lab_d65 == pytest.approx((100, 0, 0), abs=1e-5)


@pytest.mark.parametrize(
    ("wavelengths", "values", "said"),
    [
        (RANGE, np.ones(35), "one reflectance for each"),
        (RANGE[::-1], np.ones(36), "do not rise"),
        (np.arange(380.0, 740.0, 40), np.ones(9), "20 nm or less"),
        (np.arange(450.0, 731.0, 10), np.ones(29), "leaves out visible light"),
        (RANGE, np.full(36, 55.0), "not percent"),
        (RANGE, np.full(36, np.nan), "0 to 1"),
    ],
)
def test_unusable_spectrum_is_refused(
    wavelengths: list[float], values: list[float], said: str
) -> None:
    with pytest.raises(QuantityError, match=said):
        target_from_reflectance(wavelengths, values, "n", "palette row 4")


def test_unknown_illuminant_is_refused() -> None:
    with pytest.raises(QuantityError, match="D50 or D65"):
        target_from_reflectance(RANGE, np.ones(36), "n", "t", illuminant="F2")
