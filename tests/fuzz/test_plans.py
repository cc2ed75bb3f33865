"""Whole plans from any small artwork and any valid settings: made or refused in a line, and never at odds with themselves."""

from __future__ import annotations

import json
import math
import os
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw
from shapely import Point, Polygon

from marquee.colour.parts import load_part, part_names
from marquee.errors import MarqueeError
from marquee.outputs.constants_json import constants_json_text
from marquee.outputs.constants_py import constants_py_text
from marquee.outputs.drawings.files import drawing_files
from marquee.outputs.header import header_text
from marquee.outputs.plan_files import plan_files
from marquee.outputs.plan_json import plan_json
from marquee.outputs.power_text import plan_power_text
from marquee.outputs.summary import summary_text
from marquee.plan import Plan, make_plan
from marquee.project import make_project

COLOURS = (
    "#000000",
    "#ffffff",
    "#ff9a1e",
    "#12b0a4",
    "#d6402b",
    "#6a4c93",
    "#2e7d32",
    "#101014",
    "#ff9b1f",
)
# A plan takes a second: far fewer than of words.
EXAMPLES = 2000 if os.environ.get("HYPOTHESIS_PROFILE") == "deep" else 20


@st.composite
def artworks(draw: st.DrawFn) -> Image.Image:
    """Draw a face of up to 100 × 60 pixels with up to seven shapes, some of them hardly there."""
    size = (draw(st.integers(1, 100)), draw(st.integers(1, 60)))
    picture = Image.new("RGB", size, draw(st.sampled_from(COLOURS)))
    pen = ImageDraw.Draw(picture)
    for _ in range(draw(st.integers(0, 7))):
        x, y = draw(st.integers(0, size[0] - 1)), draw(st.integers(0, size[1] - 1))
        box = (x, y, x + draw(st.integers(0, 60)), y + draw(st.integers(0, 40)))
        colour = draw(st.sampled_from(COLOURS))
        shape = draw(st.sampled_from(["rectangle", "ellipse", "line", "stripes", "dots"]))
        if shape == "rectangle":
            pen.rectangle(box, fill=colour)
        elif shape == "ellipse":
            pen.ellipse(box, fill=colour, outline=draw(st.sampled_from(COLOURS)))
        elif shape == "line":
            pen.line(box, fill=colour, width=draw(st.integers(1, 4)))
        else:
            step = draw(st.integers(2, 5))
            for at in range(box[0], box[2], step):
                end = box[3] if shape == "stripes" else box[1]
                pen.line((at, box[1], at, end), fill=colour)
    return picture


def _mm(low: float, high: float) -> st.SearchStrategy[str]:
    return st.floats(low, high, allow_nan=False).map(lambda mm: f"{mm:.3f}mm")


_SETTINGS: dict[str, dict[str, st.SearchStrategy[Any]]] = {
    "zones": {
        "face": st.sampled_from(["auto", "#000000", "#ffffff"]),
        "min_area": st.sampled_from(["0mm2", "1mm2", "30mm2"]),
        "merge_delta_e": st.sampled_from([0, 1, 5, 50]),
    },
    "box": {
        "depth": _mm(2, 150),
        "wall_thickness": _mm(0.5, 12),
        "wall_gap": _mm(0, 5),
        "clearance": _mm(0, 5),
        "paint": st.sampled_from(["matt-white-paint", "matt-black-paint", "raw-plywood"]),
        "diffuser": st.sampled_from(["opal-pmma-3mm", "drafting-film"]),
        "transmittance": st.sampled_from(["1%", "55%", "100%"]),
        "reflectance": st.sampled_from(["1%", "80%", "99%"]),
    },
    "leds": {
        "part": st.sampled_from(part_names()),
        "pitch": _mm(5, 100),
        "arrangement": st.sampled_from(["strip", "board"]),
    },
    "cut": {
        "sheet_width": _mm(20, 2000),
        "sheet_height": _mm(20, 2000),
        "kerf": _mm(0, 3),
        "bridges": st.sampled_from(["propose", "cut"]),
        "most_fold_degrees": st.sampled_from([0, 65, 120]),
        "page": st.sampled_from(["A4", "Letter"]),
    },
    "colour": {
        "white": st.sampled_from(["D65", "D50", "2700K", "9000K", "0.31,0.33"]),
        "policy": st.sampled_from(["keep", "fill", "blend"]),
        "brightness": st.sampled_from(["0.1%", "1%", "30%", "100%"]),
        "luminance_cd_m2": st.sampled_from([0.01, 100, 100_000]),
        "adaptation": st.sampled_from(["bradford", "cat16"]),
        "observer": st.sampled_from(["cie-1931-2", "cie-2015-2", "cie-2015-10"]),
        "out_of_gamut": st.sampled_from(["hue", "nearest"]),
        "spread": st.booleans(),
        "cycle_steps": st.sampled_from([12, 64, 256]),
    },
    "power": {
        "supply": st.sampled_from(["5V/0.5A", "5V/40A", "12V/5A", "24V/1A"]),
        "feed_length": _mm(10, 20_000),
        "wire": st.sampled_from(["awg", "metric"]),
        "rail_ohm_per_m": st.sampled_from([0.01, 0.4, 10]),
        "extra_load_a": st.sampled_from(["0A", "5A", "100A"]),
        "feeds": st.sampled_from(["auto", "start", "end", "start,end", "start,middle,end"]),
        "margin_v": st.sampled_from([0, 0.2, 5]),
        "tariff_per_kwh": st.sampled_from([0, 0.3]),
        "hours_per_day": st.sampled_from([1, 24]),
    },
    "firmware": {
        "controller": st.sampled_from(["attiny85", "atmega328p", "rp2040"]),
        "prefix": st.sampled_from(["MARQUEE", "A"]),
    },
}  # fmt: skip


@st.composite
def raw_projects(draw: st.DrawFn) -> dict[str, Any]:
    """Draw a width and up to eight settings, each valid by itself."""
    raw: dict[str, Any] = {"artwork": {"file": "sign.png", "width": draw(_mm(5, 900))}}
    places = [(section, key) for section, keys in _SETTINGS.items() for key in keys]
    for section, key in draw(st.lists(st.sampled_from(places), max_size=8, unique=True)):
        raw.setdefault(section, {})[key] = draw(_SETTINGS[section][key])
    return raw


def _refuse_constant(text: str) -> float:
    raise AssertionError(text)


def _check_currents(plan: Plan) -> None:
    power = plan.power
    low = 1 - 1e-9
    assert 0 <= power.dark_a * low <= power.planned_a
    assert power.planned_a * low <= power.peak_a
    assert power.peak_a * low <= power.worst_case_a
    assert 0 < power.brightness_cap <= 1
    assert np.isfinite(power.led_v).all()
    assert len(power.led_v) == plan.chain.count
    assert plan.constants.planned_ma <= plan.constants.worst_case_ma
    assert plan.constants.current_limit_ma <= plan.constants.worst_case_ma


def _check_bytes(plan: Plan) -> None:
    rows = [zone.codes for zone in plan.drive.zones]
    rows += list(plan.drive.hue_cycle.codes) if plan.drive.hue_cycle else []
    for codes in rows:
        assert len(codes) == len(plan.part.channels)
        assert all(0 <= code <= 255 and code == int(code) for code in codes)
    assert all(math.isfinite(x) for zone in plan.drive.zones for x in zone.predicted_xyz)


def _check_leds(plan: Plan) -> None:
    """Every lit LED stands in a cell of its own zone; floats of millimetres agree to a micrometre."""
    cells: dict[int, list[Polygon]] = {}
    for cell in plan.box.cells:
        cells.setdefault(cell.zone, []).append(Polygon(cell.outline_mm, cell.holes_mm))
    chain = plan.chain
    for x, y, zone in zip(chain.x_mm, chain.y_mm, chain.zone, strict=True):
        if zone >= 0:
            assert min(cell.distance(Point(x, y)) for cell in cells[int(zone)]) < 1e-3
    assert (
        np.abs(chain.x_mm - plan.artwork.width_mm / 2) <= plan.artwork.width_mm / 2 + 1e-6
    ).all()
    runs = [run for zone in plan.constants.zones for run in zone.runs]
    told = [led for first, count in runs for led in range(first, first + count)]
    assert len(told) == len(set(told))
    assert set(told) == set(np.flatnonzero(chain.zone >= 0).tolist())


@pytest.mark.slow
@given(picture=artworks(), raw=raw_projects(), every_file=st.integers(0, 4).map(lambda n: n == 0))
@settings(max_examples=EXAMPLES, suppress_health_check=list(HealthCheck))
def test_any_sign_is_planned_or_refused(
    tmp_path_factory: pytest.TempPathFactory,
    picture: Image.Image,
    raw: dict[str, Any],
    every_file: bool,
) -> None:
    folder = tmp_path_factory.getbasetemp()
    raw["artwork"]["file"] = str(folder / "sign.png")
    picture.save(folder / "sign.png")
    refused: MarqueeError | None = None
    plan: Plan | None = None
    try:
        plan = make_plan(make_project(raw, "sign.toml"))
    except MarqueeError as error:
        refused = error
    if plan is None:
        assert refused is not None
        assert str(refused).isprintable()
        assert refused.mend
        return
    told = json.loads(plan_json(plan), parse_constant=_refuse_constant)
    assert told["schema"] == 1
    _check_currents(plan)
    _check_bytes(plan)
    _check_leds(plan)
    assert all(f.code and f.where and f.message for f in plan.findings)
    for text in (
        header_text,
        constants_json_text,
        constants_py_text,
        plan_power_text,
        summary_text,
    ):
        assert text(plan)
    files = plan_files(plan) if every_file else drawing_files(plan)
    assert all(files.values())


def test_every_packaged_part_is_among_those_tried() -> None:
    assert {load_part(name).name for name in part_names()} == set(part_names())
