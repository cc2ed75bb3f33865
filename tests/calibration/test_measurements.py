"""What a maker's CSV files may hold, and how each mistake is told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from marquee.bench.measurements import read_currents, read_pairs, read_readings
from marquee.bench.template import bench_templates
from marquee.colour.parts import load_part
from marquee.errors import InputError

PART = load_part("ws2812b")
RGBW = load_part("sk6812-rgbw-nw")


def _file(folder: Path, text: str, name: str = "pairs.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_pairs_are_read_with_their_lines(tmp_path: Path) -> None:
    text = (
        "# my bench\nname,colour,r,g,b,brightness,date\n"
        "white,#ffffff,214,140,98,,2026-03-01\n\n"
        'teal,"rgb(20, 180, 160)",9,120,60,30%,2026-03-02\n'
        "later,#808080,,,,,\n"
    )
    pairs, source = read_pairs(_file(tmp_path, text), PART)
    assert [(p.target.name, p.codes, p.brightness, p.place) for p in pairs] == [
        ("white", (214, 140, 98), 1.0, "pairs.csv:3"),
        ("teal", (9, 120, 60), 0.3, "pairs.csv:5"),
    ]
    # sRGB white is D65 by IEC 61966-2-1: X, Y, Z = 0.9505, 1, 1.089 to the standard's digits.
    np.testing.assert_allclose(pairs[0].target.xyz, (0.9505, 1.0, 1.089), atol=5e-4)
    assert (source.rows, source.dates) == (2, ("2026-03-01", "2026-03-02"))


def test_a_row_that_begins_with_a_colour_is_no_remark(tmp_path: Path) -> None:
    pairs, _ = read_pairs(_file(tmp_path, "colour,r,g,b\n#18b8a8,9,120,60\n#fff,1,2,3\n"), PART)
    assert [p.target.srgb for p in pairs] == ["#18b8a8", "#ffffff"]


def test_semicolons_and_decimal_commas_are_read(tmp_path: Path) -> None:
    text = "r;g;b;x;y;Y\n0;0;0;;;0,01\n255;0;0;0,69;0,30;12,5\n0;255;0;0,17;0,69;30,5\n0;0;255;0,14;0,05;4,5\n"
    readings, _ = read_readings(_file(tmp_path, text, "readings.csv"), PART)
    assert len(readings) == 4
    # x = X / (X + Y + Z), CIE 15:2018 equation 7.1.
    X, Y, Z = readings[1].xyz  # noqa: N806
    assert pytest.approx(0.69) == X / (X + Y + Z)
    assert Y == 12.5


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("colour,r,g,b\n#ffffff,300,2,3\n", r"pairs\.csv:2: r is 300; r runs from 0 to 255"),
        ("colour,r,g,b\n#ffffff,-1,2,3\n", r"pairs\.csv:2: r is -1"),
        ("colour,r,g,b\n#ffffff,1.5,2,3\n", r"pairs\.csv:2: r is 1.5; a byte is a whole number"),
        ("colour,r,g,b\n#ffffff,nan,2,3\n", r"pairs\.csv:2: r is nan"),
        ("colour,r,g,b\n#ffffff,x,2,3\n", r"pairs\.csv:2: r is 'x', not a number"),
        ("colour,r,g,b\n#ffffff,9,2,\n", r"pairs\.csv:2: b is missing"),
        ("colour,r,g,b\nteel,9,2,3\n", r"pairs\.csv:2: "),
        ("colour,r,g,b\n,9,2,3\n", r"pairs\.csv:2: "),
        ("colour,r,g,b\n#000000,9,2,3\n", r"pairs\.csv:2: #000000 is black"),
        ("colour,r,g,b\n#ffffff,0,0,0\n", r"pairs\.csv:2: all bytes are 0"),
        ("colour,r,g,b\nrgb(1, 2, 3),9,2,3\n", r"pairs\.csv:2: has 6 fields under 4 columns"),
        ("colour,r,g,b,brigthness\n", r"unknown column 'brigthness'; did you mean 'brightness'"),
        ("color,r,g,b\n", r"unknown column 'color'; did you mean 'colour'"),
        ("colour,r,g\n", r"column 'b' is missing"),
        ("colour,r,g,b,r\n", r"column 'r' stands twice"),
        ("colour,r,g,b\n", r"no row has bytes yet"),
        ("", r"names no columns"),
        ("colour,r,g,b,brightness\n#ffffff,1,2,3,-30%\n", r"pairs\.csv:2: brightness is -30%"),
    ],
)
def test_a_bad_pair_is_told_with_its_line(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(InputError, match=told) as caught:
        read_pairs(_file(tmp_path, text), PART)
    assert "\n" not in str(caught.value)


def test_all_bad_rows_are_told_together(tmp_path: Path) -> None:
    text = "colour,r,g,b\n#ffffff,300,2,3\n#ffffff,1,2,3\n#808080,1,256,3\n"
    with pytest.raises(InputError, match=r"pairs\.csv:2: .*line 4: g is 256"):
        read_pairs(_file(tmp_path, text), PART)


def test_missing_states_are_named(tmp_path: Path) -> None:
    text = "r,g,b,x,y,Y\n255,0,0,0.69,0.30,12\n0,0,90,0.14,0.05,3\n"
    with pytest.raises(InputError, match=r"dark \(all bytes 0\), G alone at 255, B alone at 255"):
        read_readings(_file(tmp_path, text, "readings.csv"), PART)


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("255,0,0,0.69,0.45,12", "is no chromaticity"),
        ("255,0,0,1.2,0.3,12", "x is 1.2"),
        ("255,0,0,0.69,0,12", "is no chromaticity"),
        ("255,0,0,0.69,0.3,-2", "Y is -2"),
        ("255,0,0,0.69,,2", "y is missing"),
    ],
)
def test_a_bad_reading_is_told_with_its_line(tmp_path: Path, row: str, told: str) -> None:
    with pytest.raises(InputError, match=rf"readings\.csv:2: .*{told}"):
        read_readings(_file(tmp_path, f"r,g,b,x,y,Y\n{row}\n", "readings.csv"), PART)


def test_readings_need_one_form_of_colour(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="either x,y,Y or X,Y,Z"):
        read_readings(_file(tmp_path, "r,g,b,x,Y\n0,0,0,1,1\n", "readings.csv"), PART)
    with pytest.raises(InputError, match="has x,y,Y and X,Y,Z"):
        read_readings(_file(tmp_path, "r,g,b,x,y,Y,X,Z\n", "readings.csv"), PART)


def test_mains_power_becomes_supply_current(tmp_path: Path) -> None:
    text = "leds,r,g,b,current_a,power_w,volts,efficiency\n30,255,255,255,1.5,,,\n30,0,0,0,,2.5,5,80%\n"
    rows, _ = read_currents(_file(tmp_path, text, "currents.csv"), PART)
    # Power law: I = η P / U = 0.8 × 2.5 W / 5 V.
    assert [row.current_a for row in rows] == pytest.approx([1.5, 0.4])


@pytest.mark.parametrize("part", [PART, RGBW, load_part("apa102")], ids=lambda p: p.name)
def test_templates_filled_in_are_read(tmp_path: Path, part: object) -> None:
    assert isinstance(part, type(PART))
    texts = bench_templates(part)
    n = len(part.channels)
    for name, reader, told in (
        ("pairs.csv", read_pairs, "no row has bytes yet"),
        ("readings.csv", read_readings, "states are missing"),
        ("currents.csv", read_currents, "no row has a current yet"),
    ):
        path = _file(tmp_path, texts[name], name)
        with pytest.raises(InputError, match=told):
            reader(path, part)
    pairs = texts["pairs.csv"].replace("#ffffff" + "," * n, "#ffffff" + ",100" * n, 1)
    assert len(read_pairs(_file(tmp_path, pairs), part)[0]) == 1
    # A reading in each row of its template: fields follow the bytes.
    lines = texts["readings.csv"].splitlines()
    head = next(k for k, line in enumerate(lines) if not line.startswith("#"))
    for k in range(head + 1, len(lines)):
        cells = lines[k].split(",")
        cells[1 + n : 4 + n] = ["0.3", "0.3", "1"]
        lines[k] = ",".join(cells)
    readings, _ = read_readings(_file(tmp_path, "\n".join(lines), "readings.csv"), part)
    assert len(readings) == 2 + 6 * n
