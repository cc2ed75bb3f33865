"""How far unseen colours land on a made-up true part when planned with a fitted one, by colour-science."""

from __future__ import annotations

import os

import numpy as np
from numpy.typing import NDArray

from marquee.bench.advice import next_colours
from marquee.bench.calibration import Labels, Measurements, calibrate, calibrated_part
from marquee.bench.fit import fit_rows, prior_of
from marquee.bench.model import bench_of, rows_of
from marquee.bench.values import MatchedPair
from marquee.colour.drive import drive_for
from marquee.colour.emission import emission
from marquee.colour.target import target_from_text
from marquee.project import ColourSettings
from marquee.values import Part, TargetColour
from tests.calibration.simulated import TruePart, matched, random_targets, true_part

Array = NDArray[np.float64]
UNSEEN, MOST = 24, 24


def planned_codes(part: Part, targets: list[TargetColour]) -> Array:
    """Return the bytes (m, 3) the drive stage gives the colours, as on one sign."""
    solved = drive_for(targets, part, emission(part), ColourSettings(brightness=0.8))
    return np.array([zone.codes for zone in solved.zones])


def mean_difference(codes: Array, true: TruePart, targets: list[TargetColour]) -> float:
    """Return the mean CIEDE2000 of what the true part shows, in the overall lightness that suits it best."""
    os.environ["COLOUR_SCIENCE__FILTER_USAGE_WARNINGS"] = "1"
    import colour

    wanted = np.array([target.xyz for target in targets])
    shown = true.emits(codes)
    white = np.array([0.3127, 0.3290])
    lab = colour.XYZ_to_Lab(wanted, white)
    level = np.median(np.log(np.maximum(shown[:, 1], 1e-9) / wanted[:, 1]))
    tried = [
        colour.difference.delta_E_CIE2000(lab, colour.XYZ_to_Lab(shown / np.exp(level + d), white))
        for d in np.linspace(-0.3, 0.3, 25)
    ]
    return float(min(np.mean(one) for one in tried))


def score(
    nominal: Part, pairs: list[MatchedPair], true: TruePart, unseen: list[TargetColour]
) -> float:
    """Return the mean difference of unseen colours planned with a calibration; none for no pairs."""
    part = nominal
    if pairs:
        outcome = calibrate(nominal, Measurements(pairs=tuple(pairs)), Labels(name="simulated"))
        part = calibrated_part(nominal, outcome.calibration)
    return mean_difference(planned_codes(part, unseen), true, unseen)


def advised_scores(nominal: Part, seed: int, counts: tuple[int, ...]) -> list[float]:
    """Return the same where each next colour is the one the fit so far asks for, no colour twice, slips included."""
    rng = np.random.default_rng(seed)
    true = true_part(nominal, rng)
    unseen = random_targets(UNSEEN, rng)
    bench = bench_of(nominal)
    posterior, pairs = prior_of(bench), list[MatchedPair]()
    found = []
    for count in range(max(counts) + 1):
        if count in counts:
            found.append(score(nominal, pairs, true, unseen))
        done = {pair.target.name for pair in pairs}
        advised = next_colours(posterior, bench, count=40)
        one = next((a for a in advised if a.name not in done), advised[0])
        pairs += matched(true, [target_from_text(one.colour, one.name, "test")], rng)
        posterior = fit_rows(rows_of(pairs, bench), bench, prior_of(bench)).posterior
    return found


def scores(nominal: Part, seed: int, counts: tuple[int, ...]) -> list[float]:
    """Return one simulated bench's mean difference after each number of pairs of random colours, slips included."""
    rng = np.random.default_rng(seed)
    true = true_part(nominal, rng)
    unseen = random_targets(UNSEEN, rng)
    pairs = matched(true, random_targets(MOST, rng), rng)
    return [score(nominal, pairs[:count], true, unseen) for count in counts]
