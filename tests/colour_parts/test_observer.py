from __future__ import annotations

from importlib import resources

import numpy as np
import pytest

from marquee.colour.observer import (
    locus_xyz,
    mccamy_cct_k,
    observer_names,
    phosphor_ratio,
    planckian_xy,
)
from marquee.errors import QuantityError
from marquee.tables.generate_observers import observer_text
from tests.colour_parts.rows import rows


def test_packaged_tables_are_what_colour_science_gives() -> None:
    packaged = resources.files("marquee.tables").joinpath("observers.json")
    assert packaged.read_text(encoding="utf-8") == observer_text(), (
        "run python -m marquee.tables.generate_observers"
    )


@pytest.mark.parametrize("row", rows("locus_1931.tsv"), ids=lambda r: r["wavelength_nm"])
def test_spectral_locus_passes_the_published_points(row: dict[str, str]) -> None:
    xyz = locus_xyz(np.array(float(row["wavelength_nm"])), "cie-1931-2")
    # Half of the published fifth digit.
    assert xyz[0] / xyz.sum() == pytest.approx(float(row["x"]), abs=5.5e-6)
    assert xyz[1] / xyz.sum() == pytest.approx(float(row["y"]), abs=5.5e-6)


def test_locus_between_rows_agrees_with_colour_sciences_sprague_interpolation() -> None:
    import colour

    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
    cmfs.interpolate(colour.SpectralShape(360, 830, 0.1))
    wavelengths = np.arange(420.0, 680.0, 0.7)
    picked = cmfs.values[np.rint((wavelengths - 360) * 10).astype(int)]
    ours = locus_xyz(wavelengths, "cie-1931-2")
    xy, xy_ours = (v[:, :2] / v.sum(axis=1, keepdims=True) for v in (picked, ours))
    # Two interpolations of one table; what matters here is the 4th digit of xy.
    assert xy_ours == pytest.approx(xy, abs=1e-5)


def test_black_body_meets_illuminant_a() -> None:
    # CIE 15:2018: illuminant A is x 0.44758, y 0.40745; with today's c2 its temperature is 2855.5 K.
    assert planckian_xy(2855.5) == pytest.approx((0.44758, 0.40745), abs=2e-5)


@pytest.mark.parametrize("cct_k", [2850.0, 4250.0, 7000.0, 20000.0])
def test_black_body_agrees_with_colour_science(cct_k: float) -> None:
    import colour

    sd = colour.sd_blackbody(cct_k, colour.SpectralShape(360, 830, 1))
    xyz = colour.colorimetry.sd_to_XYZ_integration(
        sd, colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    )
    # colour-science's c2 differs in the fifth digit.
    assert planckian_xy(cct_k) == pytest.approx(tuple(colour.XYZ_to_xy(xyz)), abs=1e-5)


@pytest.mark.parametrize("cct_k", [999.0, 25001.0])
def test_black_body_outside_its_range_is_refused(cct_k: float) -> None:
    with pytest.raises(QuantityError, match="1000 K to 25000 K"):
        planckian_xy(cct_k)


@pytest.mark.parametrize(
    ("xy", "cct_k"),
    # CIE 15:2018 and ISO/CIE 11664-2: D50, D65, A; its LED illuminants B1, B3, B5.
    [
        ((0.34567, 0.35850), 5003),
        ((0.31272, 0.32903), 6504),
        ((0.44758, 0.40745), 2856),
        ((0.4560, 0.4078), 2733),
        ((0.3756, 0.3723), 4103),
        ((0.3118, 0.3236), 6598),
    ],
)
def test_correlated_temperature_meets_the_published_ones(
    xy: tuple[float, float], cct_k: float
) -> None:
    # McCamy's cubic is good to a few kelvin around daylight; 0.5 % is far below a phosphor bin.
    assert mccamy_cct_k(xy) == pytest.approx(cct_k, rel=0.005)


@pytest.mark.parametrize("observer", ["cie-2015-2", "cie-2015-10"])
@pytest.mark.parametrize(("kind", "cct_k"), [("LED-B1", 2733), ("LED-B3", 4103), ("LED-B5", 6598)])
def test_phosphor_whites_move_between_observers_as_their_spectra_say(
    observer: str, kind: str, cct_k: float
) -> None:
    import colour

    title = {"cie-2015-2": "CIE 2015 2 Degree", "cie-2015-10": "CIE 2015 10 Degree"}[observer]
    shape = colour.SpectralShape(390, 780, 5)
    sd = colour.SDS_ILLUMINANTS[kind].copy().align(shape)
    moved, base = (
        colour.colorimetry.sd_to_XYZ_integration(
            sd, colour.MSDS_CMFS[f"{t} Standard Observer"].copy().align(shape), k=1
        )
        for t in (title, "CIE 1931 2 Degree")
    )
    # With k = 1 nothing is normalised. 5 nm against 1 nm sums: 0.3 %.
    assert phosphor_ratio(cct_k, observer) == pytest.approx(np.asarray(moved / base), rel=3e-3)


def test_phosphor_ratio_is_one_for_the_1931_observer_and_stays_beyond_the_ends() -> None:
    assert phosphor_ratio(4000, "cie-1931-2") == pytest.approx([1, 1, 1], abs=0)
    assert (phosphor_ratio(1500, "cie-2015-10") == phosphor_ratio(2733, "cie-2015-10")).all()


def test_an_unknown_observer_is_refused_with_the_known_ones() -> None:
    with pytest.raises(QuantityError, match=", ".join(observer_names())):
        phosphor_ratio(4000, "cie-1932")
