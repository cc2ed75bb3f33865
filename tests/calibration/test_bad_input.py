"""Whatever stands in a measurement or calibration file, the answer is a value or one line."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from marquee.bench.calibration import Labels, Measurements, calibrate, calibrated_part
from marquee.bench.calibration_file import calibration_text, read_calibration
from marquee.bench.measurements import read_currents, read_pairs, read_readings
from marquee.bench.values import MatchedPair
from marquee.colour.calibrated import response_tables
from marquee.colour.emission import emission
from marquee.colour.parts import load_part
from marquee.errors import MarqueeError
from marquee.values import Part
from tests.calibration.simulated import matched, random_targets, true_part

PART = load_part("ws2812b")
READERS: tuple[Callable[[Path, Part], object], ...] = (read_pairs, read_readings, read_currents)
HEADS = ("colour,r,g,b,brightness", "r,g,b,x,y,Y", "leds,r,g,b,current_a,power_w,volts,efficiency")
CELLS = st.one_of(
    st.sampled_from(
        [
            "",
            "0",
            "255",
            "256",
            "-1",
            "1e400",
            "nan",
            "inf",
            "#fff",
            "0.3",
            '"',
            "''",
            "30%",
            "%",
            "0,5",
            "\x00",
            "١٢",
        ]
    ),
    st.integers(-5, 300).map(str),
    st.text(max_size=6),
)


def _written(content: bytes) -> Path:
    with tempfile.NamedTemporaryFile(suffix=".csv", delete=False) as stream:
        stream.write(content)
    return Path(stream.name)


def _one_line_or_value(reader: Callable[[Path, Part], object], content: bytes) -> None:
    path = _written(content)
    try:
        reader(path, PART)
    except MarqueeError as error:
        assert "\n" not in str(error)  # noqa: PT017 -- either outcome is right
    finally:
        path.unlink()


@given(kind=st.integers(0, 2), rows=st.lists(st.lists(CELLS, max_size=9), max_size=6))
def test_any_cells_under_right_headings_are_read_or_told(kind: int, rows: list[list[str]]) -> None:
    text = "\n".join([HEADS[kind], *(",".join(row) for row in rows)])
    _one_line_or_value(READERS[kind], text.encode("utf-8", "surrogatepass"))


@given(kind=st.integers(0, 2), content=st.binary(max_size=200))
def test_any_bytes_are_read_or_told(kind: int, content: bytes) -> None:
    _one_line_or_value(READERS[kind], content)


def _pairs(part: Part, count: int) -> list[MatchedPair]:
    rng = np.random.default_rng(3)
    return matched(true_part(part, rng), random_targets(count, rng), rng, outliers=0.0)


TEXT = calibration_text(
    calibrate(PART, Measurements(pairs=tuple(_pairs(PART, 3))), Labels(name="x")).calibration
)


@given(at=st.integers(0, len(TEXT) - 1), instead=st.text(max_size=4), gone=st.integers(0, 40))
def test_a_damaged_calibration_is_read_or_told(at: int, instead: str, gone: int) -> None:
    damaged = TEXT[:at] + instead + TEXT[at + gone :]
    path = _written(damaged.encode("utf-8", "surrogatepass"))
    try:
        part = calibrated_part(PART, read_calibration(str(path)))
        assert np.isfinite(emission(part).xyz_cd).all()
    except MarqueeError as error:
        assert "\n" not in str(error)  # noqa: PT017 -- either outcome is right
    finally:
        path.unlink()


def test_a_folder_or_a_missing_file_is_told(tmp_path: Path) -> None:
    for reader in READERS:
        for path in (tmp_path, tmp_path / "none.csv"):
            with pytest.raises(MarqueeError):
                reader(path, PART)


def test_a_white_die_is_calibrated_with_the_rest() -> None:
    # Pure W reads 30 % more luminance than the data sheet relative to RGB: matched beside RGB white.
    part = load_part("sk6812-rgbw-nw")
    columns = np.array(emission(part).xyz_cd)
    columns[3] *= 1.3
    light = response_tables(part)
    found: list[MatchedPair] = []
    for target in random_targets(12, np.random.default_rng(2)):
        # What W leaves over is made by R, G and B: a part of the target from each.
        xyz = np.array(target.xyz) * 0.3
        white = 0.7 * min(xyz / columns[3])
        drive = np.clip((xyz - white * columns[3]) @ np.linalg.inv(columns[:3]), 0, 1)
        wanted = [*drive, white]
        codes = tuple(int(np.abs(light[c] - wanted[c]).argmin()) for c in range(4))
        found.append(MatchedPair(target=target, codes=codes, place=f"pairs.csv:{len(found) + 2}"))
    outcome = calibrate(part, Measurements(pairs=tuple(found)), Labels(name="x"))
    mean, covariance = outcome.calibration.posterior.mean, outcome.calibration.posterior.covariance
    to_ratio = np.array([-1 / 3, -1 / 3, -1 / 3, 1])
    ratio, sd = to_ratio @ mean[:4], np.sqrt(to_ratio @ covariance[:4, :4] @ to_ratio)
    # Well under what the data sheet leaves open (0.25 · √(1 + 1/3) = 0.29), and the truth within two of that.
    assert sd < 0.2
    assert abs(ratio - np.log(1.3)) < 2 * sd
