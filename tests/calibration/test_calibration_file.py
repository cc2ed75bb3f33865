"""calibration.toml: what is written comes back, and what was edited is refused by key."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from marquee.bench.calibration import (
    Calibration,
    Labels,
    Measurements,
    Used,
    calibrate,
    calibrated_part,
)
from marquee.bench.calibration_file import calibration_text, read_calibration
from marquee.bench.measurements import Source
from marquee.bench.values import CurrentReading, Reading
from marquee.colour.drive import drive_for
from marquee.colour.emission import emission
from marquee.colour.parts import load_part
from marquee.errors import InputError
from marquee.project import ColourSettings
from marquee.values import Part
from tests.calibration.simulated import linear_part, matched, random_targets, true_part

PART = load_part("ws2812b")


def _made(name: str = "cabinet 2") -> Calibration:
    rng = np.random.default_rng(9)
    true = true_part(PART, rng)
    pairs = matched(true, random_targets(6, rng), rng, outliers=0.0)
    current = CurrentReading(codes=(255, 255, 255), leds=60, current_a=2.1, place="currents.csv:2")
    source = Source(name="pairs.csv", sha256="0f" * 32, rows=6, dates=("2026-03-01",))
    measured = Measurements(
        pairs=tuple(pairs), currents=(current,), used=(Used(kind="pairs", source=source),)
    )
    return calibrate(PART, measured, Labels(name=name, made_by="marquee test")).calibration


def _written(folder: Path, text: str) -> str:
    path = folder / "calibration.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


@pytest.mark.parametrize(
    "name", ["cabinet 2", 'a "quoted" \\ name', "Prüfstück №3", "line\nbreak\x7f"]
)
def test_a_calibration_comes_back_as_written(tmp_path: Path, name: str) -> None:
    made = _made(name)
    text = calibration_text(made)
    back = read_calibration(_written(tmp_path, text))
    assert calibration_text(back) == text
    # Written to 7 digits.
    np.testing.assert_allclose(back.posterior.mean, made.posterior.mean, atol=1e-6)
    np.testing.assert_allclose(
        back.posterior.covariance, made.posterior.covariance, rtol=1e-5, atol=1e-9
    )
    assert back.used == made.used


def _metered() -> tuple[Part, Calibration]:
    """Return a part taken for linear whose readings follow another curve, so that it gets measured tables."""
    part = linear_part()
    rng = np.random.default_rng(12)
    true = true_part(PART, rng)
    readings = []
    for c in (0, 1, 2):
        for code in (0, 8, 16, 32, 64, 128, 255) if c == 0 else (8, 16, 32, 64, 128, 255):
            codes = tuple(code if k == c else 0 for k in range(3))
            x, y, z = (float(v) for v in true.emits(np.array(codes)))
            readings.append(Reading(codes=codes, xyz=(x, y, z), place="readings.csv:2"))
    source = Source(name="readings.csv", sha256="0f" * 32, rows=19, dates=())
    measured = Measurements(readings=tuple(readings), used=(Used(kind="readings", source=source),))
    return part, calibrate(part, measured, Labels(name="metered", kind="reel")).calibration


def test_measured_tables_and_a_meters_factors_come_back_and_give_the_same_part(
    tmp_path: Path,
) -> None:
    part, made = _metered()
    assert all(points is not None for points in made.tables)
    text = calibration_text(made)
    back = read_calibration(_written(tmp_path, text))
    assert calibration_text(back) == text
    first, second = calibrated_part(part, made), calibrated_part(part, back)
    # Written to 7 digits.
    np.testing.assert_allclose(
        second.channel_response or (), first.channel_response or (), atol=1e-6
    )
    np.testing.assert_allclose(emission(second).xyz_cd, emission(first).xyz_cd, rtol=1e-5)
    assert second.response_measured


@pytest.mark.parametrize(
    ("key", "line", "told"),
    [
        ("[meter_factor]", "r = [1.0, 2.0]", "meter_factor: is not three numbers"),
        ("[meter_factor]", "r = [1.0, 2.0, true]", "meter_factor: is missing or no number"),
        ("[meter_factor]", "r = [1.0, -2.0, 1.0]", "meter_factor: is -2"),
        ("[response]", "r = [[0, 0.0], [255, 1.0], [128, 0.5]]", "response.r: codes run"),
        ("[response]", "r = [[0, 0.0], [128, 1.0], [255, 0.5]]", "response.r: light falls"),
        ("[response]", 'r = ["a"]', "response.r: is not pairs"),
        ("[response]", "r = 7", "response.r: "),
    ],
)
def test_an_impossible_table_is_refused(tmp_path: Path, key: str, line: str, told: str) -> None:
    lines = calibration_text(_metered()[1]).splitlines()
    section = next(k for k, text in enumerate(lines) if text.startswith(key))
    at = next(k for k in range(section + 1, len(lines)) if lines[k].startswith("r = "))
    lines[at] = line
    with pytest.raises(InputError, match=told):
        read_calibration(_written(tmp_path, "\n".join(lines)))


def test_the_file_says_where_it_comes_from_and_holds_no_date_of_its_own() -> None:
    raw = tomllib.loads(calibration_text(_made()))
    assert (raw["part"], raw["name"], raw["made_by"]) == ("ws2812b", "cabinet 2", "marquee test")
    assert raw["measured"] == [
        {
            "kind": "pairs",
            "file": "pairs.csv",
            "sha256": "0f" * 32,
            "rows": 6,
            "dates": ["2026-03-01"],
        }
    ]
    assert calibration_text(_made()) == calibration_text(_made())


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("schema = 1", "schema = 2", "schema is 2"),
        ("[gain]", "[gains]", "did you mean 'gain'"),
        ('kind = "cabinet"', 'kind = "box"', "kind: is not cabinet or reel"),
        ('channels = "RGB"', 'channels = "GRB"', "channels: is not one of RGB, RGBW"),
        ('observer = "cie-1931-2"', 'observer = "me"', "observer: is not one of"),
        ("covariance = [\n  [", "covariance = [\n  [1e9, ", "posterior.covariance: is not 9 rows"),
        ("[exponent]", "[exponent]\nx = 1.0", "unknown key 'x'"),
        ("dark = ", "dark = -", "current.dark: is -"),
        ("rows = 6", "rows = true", "measured.rows"),
        ("[[measured]]", "[[measured", "is not TOML"),
    ],
)
def test_an_edited_file_is_refused_by_key(tmp_path: Path, old: str, new: str, told: str) -> None:
    text = calibration_text(_made())
    assert old in text
    with pytest.raises(InputError, match=told):
        read_calibration(_written(tmp_path, text.replace(old, new, 1)))


@pytest.mark.parametrize("value", ["-1.0", "0.0", "nan", "1e9", "true", '"1"'])
def test_an_impossible_gain_is_refused(tmp_path: Path, value: str) -> None:
    lines = calibration_text(_made()).splitlines()
    at = next(k for k, line in enumerate(lines) if line.startswith("[gain]")) + 1
    lines[at] = f"r = {value}"
    with pytest.raises(InputError, match=r"gain\.r"):
        read_calibration(_written(tmp_path, "\n".join(lines)))


def test_a_missing_file_is_told() -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_calibration("nowhere.toml")


def test_another_parts_calibration_is_refused() -> None:
    with pytest.raises(InputError, match="measured on ws2812b, this plan has sk6812"):
        calibrated_part(load_part("sk6812"), _made())


def test_a_calibration_of_other_figures_is_refused() -> None:
    changed = replace(PART, fwhm_nm=(20.0, 32.0, 25.0))
    with pytest.raises(InputError, match="have changed since"):
        calibrated_part(changed, _made())


def test_the_calibrated_part_plans_with_a_narrower_band() -> None:
    known = calibrated_part(PART, _made())
    targets = random_targets(12, np.random.default_rng(1))
    before = drive_for(targets, PART, emission(PART), ColourSettings()).zones
    after = drive_for(targets, known, emission(known), ColourSettings()).zones
    for old, new in zip(before, after, strict=True):
        assert old.band_delta_e_2000 is not None
        assert new.band_delta_e_2000 is not None
        assert new.band_delta_e_2000 < old.band_delta_e_2000
    assert any(old.codes != new.codes for old, new in zip(before, after, strict=True))


def test_worst_case_currents_are_never_lowered_by_a_reading() -> None:
    known = calibrated_part(PART, _made())
    assert known.channel_current_max_a is not None
    assert PART.channel_current_max_a is not None
    pairs = zip(known.channel_current_max_a, PART.channel_current_max_a, strict=True)
    assert all(new >= old for new, old in pairs)
    assert known.channel_current_a != PART.channel_current_a


def test_currents_alone_leave_colours_and_their_band_as_they_are() -> None:
    current = CurrentReading(codes=(255, 255, 255), leds=60, current_a=2.1, place="currents.csv:2")
    source = Source(name="currents.csv", sha256="0f" * 32, rows=1, dates=())
    measured = Measurements(currents=(current,), used=(Used(kind="currents", source=source),))
    known = calibrated_part(PART, calibrate(PART, measured, Labels(name="x")).calibration)
    targets = random_targets(6, np.random.default_rng(1))
    before = drive_for(targets, PART, emission(PART), ColourSettings()).zones
    after = drive_for(targets, known, emission(known), ColourSettings()).zones
    assert [zone.codes for zone in after] == [zone.codes for zone in before]
    for old, new in zip(before, after, strict=True):
        assert new.band_delta_e_2000 == pytest.approx(old.band_delta_e_2000, rel=1e-9)


def test_nothing_measured_is_refused() -> None:
    with pytest.raises(InputError, match="nothing was measured"):
        calibrate(PART, Measurements(), Labels(name="x"))
