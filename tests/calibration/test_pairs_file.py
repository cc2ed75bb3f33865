"""A pairs file grows row by row, keeps what it held, and is read back by the fit's own reader."""

from __future__ import annotations

from pathlib import Path

import pytest

from marquee.bench.measurements import read_pairs
from marquee.bench.template import bench_templates
from marquee.cli.pairs_file import PairsFile
from marquee.colour.parts import load_part
from marquee.errors import InputError, OutputError

PART = load_part("ws2812b")


def _row(name: str, brightness: str = "1.25") -> dict[str, object]:
    return {"name": name, "colour": "#18b8a8", "r": 9, "g": 120, "b": 60, "brightness": brightness}


@pytest.mark.parametrize("name", ["plain", "#1, left", 'a "quoted" name', "two\nlines", ";", ""])
def test_rows_come_back_as_kept_whatever_the_zone_is_called(tmp_path: Path, name: str) -> None:
    kept = PairsFile(tmp_path / "pairs.csv", PART)
    kept.keep(_row(name))
    kept.remark("not kept: zone 1\nline two")
    kept.keep(_row("after"))
    pairs, _ = read_pairs(tmp_path / "pairs.csv", PART)
    assert [pair.codes for pair in pairs] == [(9, 120, 60)] * 2
    assert [pair.brightness for pair in pairs] == [1.25, 1.25]
    assert pairs[1].target.name == "after"


def test_a_template_is_continued(tmp_path: Path) -> None:
    path = tmp_path / "pairs.csv"
    path.write_text(bench_templates(PART)["pairs.csv"], encoding="utf-8")
    before = path.read_text(encoding="utf-8")
    PairsFile(path, PART).keep(_row("zone"))
    assert path.read_text(encoding="utf-8").startswith(before)
    assert [pair.target.name for pair in read_pairs(path, PART)[0]] == ["zone"]


def test_a_file_with_semicolons_is_continued_in_its_own_form(tmp_path: Path) -> None:
    path = tmp_path / "pairs.csv"
    path.write_text("colour;r;g;b;brightness\n#ffffff;1;2;3;0,5", encoding="utf-8")
    PairsFile(path, PART).keep(_row("zone"))
    pairs, _ = read_pairs(path, PART)
    assert [pair.brightness for pair in pairs] == [0.5, 1.25]


def test_a_file_of_something_else_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "shopping.csv"
    path.write_text("item,price\nbulb,3\n", encoding="utf-8")
    with pytest.raises(InputError, match="unknown column 'item'"):
        PairsFile(path, PART)
    assert path.read_text(encoding="utf-8") == "item,price\nbulb,3\n"


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        PairsFile(tmp_path / "nowhere" / "pairs.csv", PART)
