"""The uncertainty band: wider with the spread, zero without, steady from run to run."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from marquee.colour.band import colour_band, sample_columns
from marquee.colour.constants import D65_XYZ
from marquee.colour.difference import delta_e_2000
from marquee.colour.drive import drive_for
from marquee.colour.emission import emission as emission_of
from marquee.colour.solve import Emitters, emitters
from marquee.colour.spaces import xyz_to_lab, xyz_to_uv_prime
from marquee.project import ColourSettings
from marquee.values import ZoneDrive
from tests.colour.made import REFERENCES, SHEET, reference_part, targets_of

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


def as_emitters(name: str) -> Emitters:
    row = REFERENCES["parts"][name]
    return emitters(
        np.array(row["XYZ_full_columns"]) / 1000, np.ones(len(row["XYZ_full_columns"]))
    )


@pytest.mark.parametrize("name", ["rgb_linear", "rgbw_neutral"])
def test_part_that_is_brighter_all_over_looks_the_same(name: str) -> None:
    part = as_emitters(name)
    light = np.random.default_rng(3).uniform(0.05, 0.6, (4, part.count))
    samples = part.columns * np.array([0.5, 1.3, 2.0])[:, None, None]
    band = colour_band(light, np.full(4, 1.2), part, samples)
    assert band is not None
    np.testing.assert_allclose(band.as_bought, 0, atol=1e-9)
    np.testing.assert_allclose(band.white_matched, 0, atol=1e-9)


@pytest.mark.parametrize(("channel", "expected"), [(0, 10.6), (1, 12.9), (2, 7.4)])
def test_band_of_one_sample_is_its_difference_and_a_white_match_undoes_it(
    channel: int, expected: float
) -> None:
    # The same figures of colour-science, now through the band itself: white, one gain 15 % up.
    part = as_emitters("rgb_linear")
    white = D65_XYZ @ np.linalg.inv(part.columns)
    gains = np.ones(3)
    gains[channel] = 1.15
    band = colour_band(white[None], np.ones(1), part, (part.columns * gains[:, None])[None])
    assert band is not None
    assert band.as_bought[0] == pytest.approx(expected, abs=0.1)
    assert band.white_matched[0] == pytest.approx(0, abs=1e-9)


def test_white_die_is_matched_in_luminance_and_keeps_its_tint() -> None:
    part = as_emitters("rgbw_neutral")
    tinted = part.columns.copy()
    tinted[3] *= [1.05, 1.4, 0.9]
    light = np.array([[0.0, 0.0, 0.0, 0.5]])
    scale_cd = np.array([0.6])
    band = colour_band(light, scale_cd, part, tinted[None])
    assert band is not None
    # After the match the die gives its nominal luminance, in its own chromaticity.
    shown = tinted[3] / tinted[3, 1] * part.columns[3, 1]
    left = delta_e_2000(
        xyz_to_lab(0.5 * part.columns[3] / scale_cd), xyz_to_lab(0.5 * shown / scale_cd)
    )
    assert band.white_matched[0] == pytest.approx(float(left))


def test_wavelengths_are_drawn_over_the_whole_bin_and_no_further() -> None:
    part, emission = reference_part(
        "rgb_linear", **SHEET, intensity_spread=(1.0, 1.0), dominant_range_nm=BINS
    )
    samples = sample_columns(part, emission, np.eye(3))
    assert samples is not None
    for channel in range(3):
        ends = []
        for side in (0, 1):
            nm = tuple(span[side] for span in BINS)
            at_end = emission_of(replace(part, dominant_nm=nm))
            ends.append(xyz_to_uv_prime(np.array(at_end.xyz_cd[channel])))
        way = ends[1] - ends[0]
        along = (xyz_to_uv_prime(samples[:, channel]) - ends[0]) @ way / (way @ way)
        # 240 even draws reach within a tenth of either end; between the ends the way is nearly straight.
        assert -1e-6 <= along.min() < 0.1
        assert 0.9 < along.max() <= 1 + 1e-6
        assert 0.35 < float(np.median(along)) < 0.65


def test_dim_zone_whose_leds_share_codes_has_the_band_of_the_light_it_shows() -> None:
    part, emission = reference_part("rgb_linear", **SHEET, intensity_spread=(0.7, 1.4))
    navy = targets_of(["#0b1f3a"])
    dim, full = (
        drive_for(
            navy,
            part,
            emission,
            ColourSettings.model_validate({"brightness": share}),
            limited_by="white",
            led_counts=np.array([200]),
        ).zones[0]
        for share in (0.05, 1.0)
    )
    assert dim.codes == (0, 0, 0)
    assert dim.band_delta_e_2000 is not None
    # The same colour against a dimmer white: 200 LEDs leave less than a tenth of rounding in it.
    assert dim.band_delta_e_2000 == pytest.approx(full.band_delta_e_2000, rel=0.1)
