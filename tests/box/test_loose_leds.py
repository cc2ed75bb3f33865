"""Narrow cells, such as letters walled off from a lit ground: lit by LEDs off the rows."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from marquee.box.light import transfer_light
from marquee.project import BoxSettings
from marquee.values import Box, Chain, ZoneMap
from tests.box.factory import blank, rect
from tests.box.test_leds import (
    assert_each_lit_led_is_in_one_cell,
    crossings,
    narrow_ring,
    placed,
    small_islands,
)

# Letters as strokes in a field 30 × 40.
STROKES = {
    "E": [(0, 0, 11, 40), (0, 0, 30, 11), (0, 15, 26, 25), (0, 29, 30, 40)],
    "F": [(0, 0, 11, 40), (0, 0, 30, 11), (0, 15, 26, 25)],
    "L": [(0, 0, 11, 40), (0, 29, 30, 40)],
    "I": [(9, 0, 20, 40)],
}


def word(letters: str, top_mm: float, scale: float) -> NDArray[np.int16]:
    """Return letters of zone 0, 4 mm of face round each, on a field of zone 1."""
    labels = blank(20 + 42 * len(letters), 80)
    rect(labels, 1, (3, 3, 17 + 42 * len(letters), 77))
    for face in (True, False):
        for k, letter in enumerate(letters):
            grow = 4.0 if face else 0.0
            for stroke in STROKES[letter]:
                x0, y0, x1, y1 = (v * scale for v in stroke)
                left = 16 + 42 * k
                box = (left + x0 - grow, top_mm + y0 - grow, left + x1 + grow, top_mm + y1 + grow)
                rect(labels, -1 if face else 0, box)
    return labels


def evenness(zones: ZoneMap, box: Box, chain: Chain) -> float:
    """Return darkest over brightest of the letters by the light model (path-traced cases in test_light_cases)."""
    transfer = transfer_light(zones, box, chain, BoxSettings())
    lux = transfer.lux_per_cd[0][transfer.zone_of_element == 0]
    return float(lux.min() / lux.max())


@pytest.mark.parametrize("scale", [1.0, 0.8, 0.65])
@pytest.mark.parametrize(
    ("letters", "top_mm"), [("FELL", 19.0), ("FELL", 22.0), ("LIFE", 26.0), ("FILE", 22.0)]
)
def test_no_letter_of_a_word_is_left_dark(letters: str, top_mm: float, scale: float) -> None:
    zones, box, chain = placed(word(letters, top_mm, scale))
    assert_each_lit_led_is_in_one_cell(box, chain)
    assert crossings(chain) == 0
    # Rows alone leave these words between 0.13 and 0.64, with one dark letter in some.
    assert evenness(zones, box, chain) > 0.4


@pytest.mark.parametrize("scale", [1.0, 0.65])
def test_packages_lie_clear_of_each_other(scale: float) -> None:
    # Squares of 5 mm overlap, however turned, if their middles are nearer than that; shapely finds the nearest pair.
    for labels in (word("FELL", 22.0, scale), narrow_ring(), small_islands()):
        chain = placed(labels)[2]
        at = [shapely.Point(x, y) for x, y in zip(chain.x_mm, chain.y_mm, strict=True)]
        off = shapely.STRtree(at).query_nearest(at, exclusive=True, return_distance=True)[1]
        assert min(off) >= 5.0


def test_leds_are_cut_off_one_by_one_only_where_that_is_wanted() -> None:
    labels = word("FELL", 26.0, 0.65)
    zones, box, rows = placed(labels, singles="never")
    assert "leds.singles" not in {f.code for f in rows.findings}
    chain = placed(labels)[2]
    assert "leds.singles" in {f.code for f in chain.findings}
    # 0.58 to 0.50 by the model.
    assert evenness(zones, box, chain) > evenness(zones, box, rows) + 0.05


def test_a_zones_leds_off_the_rows_are_told_of_once() -> None:
    chain = placed(word("FELL", 22.0, 1.0))[2]
    told = [
        (f.code, f.where) for f in chain.findings if f.code in {"leds.singles", "leds.own-piece"}
    ]
    assert told
    assert len(told) == len(set(told))
