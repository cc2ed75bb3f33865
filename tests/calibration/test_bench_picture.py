"""The bench's picture: text never on text, points where the colours lie."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from marquee.bench.calibration import Labels, Measurements, Outcome, calibrate
from marquee.colour.parts import load_part
from marquee.outputs.pictures.bench import draw_bench
from tests.calibration.simulated import matched, random_targets, true_part

PART = load_part("ws2812b")


def _outcome(count: int, name: str = "cabinet") -> Outcome:
    rng = np.random.default_rng(count)
    pairs = matched(true_part(PART, rng), random_targets(count, rng), rng)
    return calibrate(PART, Measurements(pairs=tuple(pairs)), Labels(name=name))


@pytest.mark.parametrize("count", [1, 12, 60])
def test_no_text_lies_on_text_or_off_the_sheet(count: int) -> None:
    sheet = draw_bench(_outcome(count, "a very long name of a cabinet " * 4), PART)
    for a, b in combinations(sheet.texts, 2):
        assert not a.meets(b), (a.text, b.text)
    for box in sheet.texts:
        assert box.x0 >= 0
        assert box.x1 <= sheet.width_px
        assert box.y1 <= sheet.height_px
