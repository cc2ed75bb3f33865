"""The uncertainty band: wider with the spread, zero without, steady from run to run."""

from typing import Any

import numpy as np
import pytest

from marquee.colour.band import sample_columns
from marquee.colour.difference import delta_e_2000
from marquee.colour.drive import drive_for
from marquee.colour.spaces import xyz_to_lab, xyz_to_uv_prime
from marquee.project import ColourSettings
from marquee.values import ZoneDrive
from tests.colour.made import SHEET, reference_part, targets_of

BINS = ((620.0, 625.0), (520.0, 525.0), (465.0, 467.0))


def zones(texts: list[str], **changes: Any) -> tuple[ZoneDrive, ...]:
    part, emission = reference_part("rgb_linear", **(SHEET | changes))
    return drive_for(targets_of(texts), part, emission, ColourSettings()).zones


def test_part_without_stated_spread_has_no_band() -> None:
    assert [z.band_delta_e_2000 for z in zones(["#fff", "#d6402b"])] == [None, None]


def test_one_gain_off_by_15_percent_moves_white_as_colour_science_computes() -> None:
    # CIEDE2000 10.6, 12.9 and 7.4 for R, G and B: computed with colour-science for these emitters.
    _, emission = reference_part("rgb_linear")
    columns, drive = np.array(emission.xyz_cd), np.array(zones(["#ffffff"])[0].exact)
    for channel, expected in ((0, 10.6), (1, 12.9), (2, 7.4)):
        gains = np.ones(3)
        gains[channel] = 1.15
        made, nominal = (drive * gains) @ columns, drive @ columns
        shift = delta_e_2000(xyz_to_lab(made / made[1]), xyz_to_lab(nominal / nominal[1]))
        assert float(shift) == pytest.approx(expected, abs=0.1)
    band = zones(["#ffffff"], intensity_spread=(1.0, 1.0))[0].band_delta_e_2000
    assert band is not None
    # All three at once, red up and green down among them: more than the worst alone, less than their sum.
    assert 12.9 < band < 10.6 + 12.9


def test_white_of_random_packages_scatters_as_colour_science_simulates() -> None:
    # Tight bins, intensities ±15 %: Δu′v′ of white has median 0.012 and 95 % 0.022 (simulated with colour-science
    # over random packages; printed to two digits, and 240 draws scatter by a tenth).
    part, emission = reference_part(
        "rgb_linear", **SHEET, intensity_spread=(1.0, 1.0), dominant_range_nm=BINS
    )
    samples = sample_columns(part, emission, np.eye(3))
    assert samples is not None
    white = np.array(zones(["#ffffff"])[0].exact)
    made = white @ samples
    shift = np.linalg.norm(
        xyz_to_uv_prime(made) - xyz_to_uv_prime(white @ np.array(emission.xyz_cd)), axis=1
    )
    assert float(np.median(shift)) == pytest.approx(0.012, abs=0.002)
    assert float(np.percentile(shift, 95)) == pytest.approx(0.022, abs=0.003)


def test_wider_spread_and_bins_make_a_wider_band() -> None:
    texts = ["#ffffff", "#d6402b", "#1f7a8c"]
    narrow = zones(texts, intensity_spread=(1.0, 1.0), dominant_range_nm=BINS)
    wide = zones(texts, intensity_spread=(0.7, 1.4), dominant_range_nm=BINS)
    for one, other in zip(narrow, wide, strict=True):
        assert one.band_delta_e_2000 is not None
        assert other.band_delta_e_2000 is not None
        assert one.band_delta_e_2000 < other.band_delta_e_2000


def test_white_match_removes_the_gains_and_leaves_the_wavelengths() -> None:
    gains_only = zones(["#ffffff", "#d6402b"], intensity_spread=(0.7, 1.4))
    assert [z.band_matched_delta_e_2000 for z in gains_only] == pytest.approx([0, 0], abs=1e-9)
    bins = zones(["#ffffff", "#2040ff"], intensity_spread=(0.7, 1.4), dominant_range_nm=BINS)
    white, blue = bins
    # White itself is matched to within its own rounding; a blue keeps what its bin does to it.
    assert white.band_matched_delta_e_2000 is not None
    assert white.band_matched_delta_e_2000 < 0.3
    assert blue.band_matched_delta_e_2000 is not None
    assert blue.band_delta_e_2000 is not None
    assert 0.3 < blue.band_matched_delta_e_2000 < blue.band_delta_e_2000


def test_band_is_the_same_on_every_run() -> None:
    first = zones(["#1f7a8c"], intensity_spread=(0.7, 1.4), dominant_range_nm=BINS)
    again = zones(["#1f7a8c"], intensity_spread=(0.7, 1.4), dominant_range_nm=BINS)
    assert first == again
