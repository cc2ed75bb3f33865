"""A phone's red, green and blue beside a calibrated sign's: what cancels, and what is gained.

Cameras are the two whose measured sensitivities come with colour-science; they are taken by place, not by name.
"""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from marquee.bench.calibration import Labels, Measurements, Used, calibrate, calibrated_part
from marquee.bench.fit import prior_of
from marquee.bench.measurements import Source
from marquee.bench.model import bench_of
from marquee.bench.signals import Signals, balance_against, read_signals, with_balance
from marquee.bench.values import Posterior
from marquee.colour.emission import peak_for_dominant
from marquee.colour.parts import load_part
from marquee.errors import InputError
from tests.calibration.scored import mean_difference, planned_codes
from tests.calibration.simulated import (
    GAIN_SD,
    PEAK_SD_NM,
    Array,
    TruePart,
    led_xyz,
    linear_part,
    random_targets,
)


@cache
def _cameras() -> tuple[Array, ...]:
    os.environ["COLOUR_SCIENCE__FILTER_USAGE_WARNINGS"] = "1"
    import colour

    shape = colour.SpectralShape(400, 700, 1)
    every = colour.MSDS_CAMERA_SENSITIVITIES
    return tuple(
        np.asarray(every[name].copy().align(shape).values, float) for name in sorted(every)
    )


def _part(rng: np.random.Generator, camera: int) -> tuple[TruePart, Array, Array]:
    """Return a part as one may get it, its log gains, and what a camera sees of each channel: its strongest channel."""
    part = linear_part()
    assert part.dominant_nm is not None
    assert part.fwhm_nm is not None
    assert part.intensity_cd is not None
    wavelength = np.arange(400, 701)
    gains, columns, seen = rng.normal(0, GAIN_SD, 3), np.empty((3, 3)), np.empty(3)
    for c in range(3):
        peak = peak_for_dominant(part.dominant_nm[c], part.fwhm_nm[c]) + rng.normal(
            0, PEAK_SD_NM[c]
        )
        shape = np.exp(-(((wavelength - peak) / (part.fwhm_nm[c] / 0.92182)) ** 2))
        spectrum = (shape + 2 * shape**5) / 3
        xyz = led_xyz(peak, part.fwhm_nm[c])
        columns[c] = xyz * part.intensity_cd[c] * np.exp(gains[c])
        # Watts of a given luminance fall with the observer's sensitivity: 1/Y of the spectrum, by its own XYZ.
        bar = np.interp(wavelength, wavelength, spectrum)
        luminance = bar @ _luminosity()
        seen[c] = (bar @ _cameras()[camera]).max() / luminance * columns[c, 1]
    light = np.array(part.response)[None].repeat(3, axis=0)
    return TruePart(columns=columns, light=light), gains, seen


@cache
def _luminosity() -> Array:
    import colour

    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
    return np.asarray(cmfs.align(colour.SpectralShape(400, 700, 1)).values[:, 1], float)


def _signals(seen: Array, rng: np.random.Generator) -> Signals:
    noisy = seen * np.exp(rng.normal(0, 0.02, 3))
    return Signals(
        rgb=(noisy[0], noisy[1], noisy[2]), code=255, stored="coded", place="signals.csv:4"
    )


@pytest.mark.slow
@pytest.mark.parametrize("camera", [0, 1])
def test_unseen_colours_land_nearer_with_a_known_signs_photographs(camera: int) -> None:
    part = linear_part()
    before, after = [], []
    for seed in range(30):
        rng = np.random.default_rng(5000 + seed)
        _, gains, seen = _part(rng, camera)
        known = Posterior(
            mean=np.r_[gains, np.zeros(6)],
            covariance=np.diag([0.02**2] * 3 + [1.0] * 3 + [0.02**2] * 3),
        )
        true, _, here = _part(rng, camera)
        balance = balance_against(_signals(here, rng), _signals(seen, rng), known, None)
        outcome = calibrate(part, Measurements(balance=balance), Labels(name="test"))
        unseen = random_targets(24, rng)
        before.append(mean_difference(planned_codes(part, unseen), true, unseen))
        fitted = calibrated_part(part, outcome.calibration)
        after.append(mean_difference(planned_codes(fitted, unseen), true, unseen))
    # The study of such ratios has 2.1 as the median of its units and 4.5 for its 90th percentile.
    assert np.median(before) > 4.5
    assert np.median(after) < 3.0
    assert np.quantile(after, 0.9) < 5.0


def test_a_balance_says_nothing_of_overall_light() -> None:
    prior = prior_of(bench_of(linear_part()))
    known = Posterior(mean=np.zeros(9), covariance=np.diag([1e-4] * 9))
    one = Signals(rgb=(1.0, 1.0, 1.0), code=255, stored="raw", place="a")
    thrice = Signals(rgb=(3.0, 3.0, 3.0), code=255, stored="raw", place="b")
    found = with_balance(prior, balance_against(thrice, one, known, None))
    assert found.mean == pytest.approx(np.zeros(9), abs=1e-12)
    mean = np.full(3, 1 / 3)
    assert mean @ found.covariance[:3, :3] @ mean == pytest.approx(
        mean @ prior.covariance[:3, :3] @ mean
    )
    assert (np.diag(found.covariance) <= np.diag(prior.covariance) + 1e-12).all()


def test_signals_of_another_part_or_code_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "signals.csv"
    path.write_text("part,code,file,r,g,b\nsk6812,255,coded,1,2,3\n", encoding="utf-8")
    with pytest.raises(InputError, match="was photographed with sk6812, this is ws2812b"):
        read_signals(path, load_part("ws2812b"))
    found, source = read_signals(path, load_part("sk6812"))
    assert (found.rgb, source.rows) == ((1.0, 2.0, 3.0), 1)
    other = Signals(rgb=(1.0, 2.0, 3.0), code=128, stored="coded", place="x")
    with pytest.raises(InputError, match="shows code 255, the known sign code 128"):
        balance_against(found, other, prior_of(bench_of(linear_part())), None)


def test_a_reels_calibration_widens_the_bands_for_other_lengths_of_it() -> None:
    from dataclasses import replace

    from marquee.bench.advice import typical_band
    from marquee.project import ColourSettings

    part = linear_part()
    known = Posterior(mean=np.zeros(9), covariance=np.diag([1e-4] * 9))
    one = Signals(rgb=(1.0, 1.0, 1.0), code=255, stored="raw", place="a")
    source = Source(name="signals.csv", sha256="", rows=1, dates=())
    used = (Used(kind="signals", source=source),)
    measured = Measurements(balance=balance_against(one, one, known, None), used=used)
    cabinet = calibrate(part, measured, Labels(name="one")).calibration
    reel = replace(cabinet, kind="reel")
    bands = [typical_band(calibrated_part(part, c), ColourSettings()) for c in (cabinet, reel)]
    assert bands[0] is not None
    assert bands[1] is not None
    assert bands[1] > bands[0]
