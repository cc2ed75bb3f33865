"""The fit's own laws: exact data give the truth, slips are named, swapped columns refused."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from marquee.bench.fit import fit_rows, prior_of
from marquee.bench.matches import fit_pairs
from marquee.bench.model import bench_of, rows_of
from marquee.bench.values import MatchedPair
from marquee.colour.calibrated import shifted_xyz
from marquee.colour.parts import load_part
from marquee.colour.spaces import xyz_to_uv_prime
from marquee.colour.target import target_from_text
from marquee.errors import InputError
from tests.calibration.simulated import (
    led_xyz,
    linear_part,
    matched,
    random_targets,
    true_part,
    white_cd,
)

SEED = 77


def _pairs(count: int, outliers: float = 0.0, seed: int = SEED) -> list[MatchedPair]:
    rng = np.random.default_rng(seed)
    true = true_part(linear_part(), rng)
    return matched(true, random_targets(count, rng), rng, outliers)


@pytest.mark.parametrize("shift", [-6.0, 0.0, 4.0])
def test_shifted_spectra_match_colour_science(shift: float) -> None:
    # Ohno's LED integrated with colour-science's CIE 1931 table; both sum the same 1 nm grid: rounding only.
    from marquee.colour.emission import peak_for_dominant

    part = load_part("ws2812b")
    assert part.dominant_nm is not None
    assert part.fwhm_nm is not None
    ours = shifted_xyz(part, "cie-1931-2", np.full(3, shift))
    for c in range(3):
        peak = peak_for_dominant(part.dominant_nm[c], part.fwhm_nm[c]) + shift
        expected = led_xyz(peak, part.fwhm_nm[c])
        np.testing.assert_allclose(xyz_to_uv_prime(ours[c]), xyz_to_uv_prime(expected), atol=2e-6)


def test_the_bench_table_meets_the_integral_between_its_rows() -> None:
    part = load_part("ws2812b")
    bench = bench_of(part)
    for shift in (-3.21, 0.13, 7.77):
        theta = np.concatenate([np.zeros(3), np.full(3, shift), np.zeros(3)])
        direct = shifted_xyz(part, "cie-1931-2", np.full(3, shift))
        # The cubic's error over 0.5 nm: (0.5/σ)^4 of a curve whose σ is about 10 nm, 6e-6; ten times that here.
        np.testing.assert_allclose(bench.columns(theta), direct, rtol=1e-4, atol=1e-7)


def test_no_pairs_leave_the_data_sheet() -> None:
    bench = bench_of(linear_part())
    fitted = fit_rows(rows_of([], bench), bench, prior_of(bench)).posterior
    np.testing.assert_allclose(fitted.mean, 0.0, atol=1e-9)
    np.testing.assert_allclose(fitted.covariance, prior_of(bench).covariance, rtol=1e-9)


def test_each_pair_narrows_what_is_known() -> None:
    bench = bench_of(linear_part())
    pairs = _pairs(12)
    sizes = [
        np.linalg.slogdet(
            fit_rows(rows_of(pairs[:count], bench), bench, prior_of(bench)).posterior.covariance
        )[1]
        for count in range(0, 13, 3)
    ]
    assert all(later < earlier for earlier, later in pairwise(sizes))


@given(gains=st.tuples(*[st.floats(-0.4, 0.4)] * 3))
def test_exact_matches_give_back_the_gain_ratios(gains: tuple[float, float, float]) -> None:
    # Bytes of a part that differs in gains alone, matched without error but for rounding to whole bytes.
    part = linear_part()
    bench = bench_of(part)
    columns = bench.columns(np.array([*gains, *[0.0] * 6]))
    pairs: list[MatchedPair] = []
    for target in random_targets(24, np.random.default_rng(5)):
        drive = np.array(target.xyz) * 0.8 * white_cd(columns) @ np.linalg.inv(columns)
        if (drive > 0.02).all():
            codes = tuple(int(c) for c in np.rint(np.clip(drive, 0, 1) * 255))
            pairs.append(MatchedPair(target=target, codes=codes, place=f"pairs.csv:{len(pairs)}"))
    found = fit_rows(rows_of(pairs, bench), bench, prior_of(bench)).posterior
    to_ratios = np.array([[1, -1, 0], [0, -1, 1]])
    ratios, wanted = to_ratios @ found.mean[:3], to_ratios @ np.array(gains)
    sd = np.sqrt(np.diag(to_ratios @ found.covariance[:3, :3] @ to_ratios.T))
    # Peaks and exponents take up a little of what gains did; two of its own standard deviations, of which each is
    # less than half of what was open before (0.35).
    assert (sd < 0.15).all()
    assert (np.abs(ratios - wanted) < 2 * sd).all()


def test_a_slip_is_named_and_hardly_moves_the_others() -> None:
    bench = bench_of(linear_part())
    good = _pairs(10)
    slipped = replace(good[6], codes=(good[6].codes[0], 255 - good[6].codes[1] // 2, 3))
    bad = [*good[:6], slipped, *good[7:]]
    fit, clean = fit_pairs(bad, bench), fit_pairs([*good[:6], *good[7:]], bench)
    assert [finding.where for finding in fit.findings] == [good[6].place]
    assert "disagrees with the others by ΔE" in fit.findings[0].message
    # Within a fifth of a standard deviation of the fit without the slip.
    sd = np.sqrt(np.diag(clean.posterior.covariance))
    assert (np.abs(fit.posterior.mean - clean.posterior.mean) < 0.2 * sd).all()


def test_good_pairs_are_seldom_named() -> None:
    bench = bench_of(linear_part())
    named = sum(len(fit_pairs(_pairs(12, seed=s), bench).findings) for s in range(10))
    # Beyond 4 standard deviations lies one of 900 (chi squared, 3 degrees of freedom); of 120, more than 2 are odd.
    assert named <= 2


def test_two_bytes_of_one_row_swapped_are_recognised() -> None:
    bench = bench_of(linear_part())
    pairs = _pairs(12)
    rank = [abs(pair.codes[0] - pair.codes[1]) for pair in pairs]
    k = int(np.argmax(rank))
    red, green, blue = pairs[k].codes
    pairs[k] = replace(pairs[k], codes=(green, red, blue))
    findings = fit_pairs(pairs, bench).findings
    assert [finding.where for finding in findings] == [pairs[k].place]
    assert "g,r,b" in findings[0].message


@pytest.mark.parametrize("order", [(1, 0, 2), (2, 1, 0), (1, 2, 0)])
def test_swapped_columns_are_refused_with_their_right_heading(order: tuple[int, ...]) -> None:
    bench = bench_of(linear_part())
    turned = [replace(p, codes=tuple(p.codes[i] for i in order)) for p in _pairs(8)]
    heading = ",".join("rgb"[i] for i in order)
    with pytest.raises(InputError, match=f"head them {heading}"):
        fit_pairs(turned, bench)


@pytest.mark.parametrize("seed", range(8))
def test_an_odd_part_matched_on_white_and_tints_is_not_taken_for_swapped(seed: int) -> None:
    # Red weak and green strong by what sheets differ: bytes of white and tints then suit the two exchanged.
    rng = np.random.default_rng(seed)
    true = true_part(linear_part(), rng)
    odd = replace(true, columns=true.columns * np.array([[0.6], [1.7], [1.0]]))
    texts = ["#ffffff", "#a8e0e6", "#e6a8da", "#808080"]
    targets = [target_from_text(text, text, "test") for text in texts]
    fit = fit_pairs(matched(odd, targets, rng, outliers=0.0), bench_of(linear_part()))
    assert fit.posterior.mean[0] < fit.posterior.mean[1]


def test_a_single_pair_far_from_any_part_is_named() -> None:
    bench = bench_of(linear_part())
    white = replace(_pairs(1)[0], target=random_targets(1, np.random.default_rng(1))[0])
    odd = replace(white, codes=(255, 2, 2))
    fit = fit_pairs([odd], bench)
    assert len(fit.findings) == 1
    assert "the data sheet" in fit.findings[0].message
