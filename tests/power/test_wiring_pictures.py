"""wiring.png and voltage.png say what the plan says, where it says it."""

from __future__ import annotations

import io
import itertools
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image

from marquee.outputs.pictures.leds import panel_views
from marquee.outputs.pictures.voltage import draw_voltage, voltage_picture
from marquee.outputs.pictures.wiring import draw_wiring, feed_place, wiring_files
from marquee.outputs.pictures.wiring_diagram import PLUS
from marquee.outputs.pictures.wrap import wrap
from marquee.plan import Plan
from marquee.power.design import plan_power
from marquee.project import PowerSettings
from tests.pictures.factory import synthetic_plan
from tests.power.make import make_part

SVG = "{http://www.w3.org/2000/svg}"
SHAPES = {"wide": (600.0, 150.0), "tall": (300.0, 420.0), "large": (900.0, 500.0)}


def _plan(shape: str = "wide", **settings_kw: object) -> Plan:
    plan = synthetic_plan(size_mm=SHAPES[shape])
    settings = PowerSettings.model_validate(settings_kw)
    return replace(plan, power=plan_power(plan.chain, make_part(), plan.drive, settings, plan.box))


def _svg(plan: Plan) -> str:
    return wiring_files(plan)["wiring.svg"].decode("utf-8")


@pytest.mark.parametrize("shape", SHAPES)
def test_wiring_sheet_names_every_feed_with_its_wire_length_current_and_fuse(shape: str) -> None:
    plan = _plan(shape)
    texts = [box.text for box in draw_wiring(plan).texts]
    for number, feed in enumerate(plan.power.feeds, 1):
        assert texts.count(f"F{number}") == 3  # front view, back view, diagram
        assert f"{feed.fuse_a:g} A" in texts
        assert f"pads {feed.pad} LED {feed.at_led}" in texts
        assert any(feed.wire in t and f"{feed.current_a:.2f} A" in t and "1 m" in t for t in texts)
    assert {"FRONT VIEW", "BACK VIEW"} <= set(texts)
    assert any("common ground" in text for text in texts)
    assert texts.count("CUT PLUS") == 2 * len(plan.power.cuts)


@pytest.mark.parametrize("shape", SHAPES)
def test_feeds_are_marked_at_their_pads_in_both_views(shape: str) -> None:
    plan = _plan(shape)
    sheet = draw_wiring(plan)
    views = panel_views((plan.zone_map.width_mm, plan.zone_map.height_mm))
    for feed in plan.power.feeds:
        for view in views:
            x, y = feed_place(plan.chain, feed, view)
            led_x, led_y = view.at(
                float(plan.chain.x_mm[feed.at_led]), float(plan.chain.y_mm[feed.at_led])
            )
            # A strip is cut half a pitch from its LEDs; sheet pixels are whole.
            half_px = plan.chain.pitch_mm / 2 * view.px_per_mm
            assert np.hypot(x - led_x, y - led_y) == pytest.approx(half_px, abs=1e-6)
            assert tuple(sheet.pixels[int(y), int(x)]) == PLUS
        front, back = (feed_place(plan.chain, feed, view) for view in views)
        assert front[0] - views[0].x == pytest.approx(views[1].x + views[1].width_px - back[0])


def test_every_caution_stands_on_the_wiring_sheet() -> None:
    plan = _plan("large")
    shown = " ".join(box.text for box in draw_wiring(plan).texts)
    for caution in plan.power.cautions:
        assert caution.split(":")[0] + ":" in shown
        assert " ".join(caution.split()[-3:]) in shown


@pytest.mark.parametrize("shape", SHAPES)
def test_no_text_lies_on_other_text_in_the_diagram_and_the_chart(shape: str) -> None:
    plan = _plan(shape)
    for sheet in (draw_wiring(plan), draw_voltage(plan)):
        for one, other in itertools.combinations(sheet.texts, 2):
            assert not one.meets(other), (one.text, other.text)
        for box in sheet.texts:
            assert box.x0 >= 0
            assert box.x1 <= sheet.width_px
            assert box.size_px >= 12


def test_voltage_line_passes_through_the_lowest_led_at_its_height() -> None:
    plan = _plan("wide")
    sheet, power = draw_voltage(plan), plan.power
    # Scale from the two printed grid labels, independent of the drawing's own arithmetic.
    marks = {
        float(box.text[:-2]): (box.y0 + box.y1) / 2
        for box in sheet.texts
        if box.text.endswith(" V") and box.text[0].isdigit()
    }
    (v1, y1), (v2, y2) = sorted(marks.items())[:: len(marks) - 1]
    middle = int(np.argmax(power.led_v))
    labels = {box.text: (box.x0 + box.x1) / 2 for box in sheet.texts if box.text.isdigit()}
    x0, x100 = labels["0"], labels["100"]
    x = x0 + middle * (x100 - x0) / 100
    y = y1 + (float(power.led_v[middle]) - v1) * (y2 - y1) / (v2 - v1)
    patch = sheet.pixels[int(y) - 3 : int(y) + 4, int(x) - 2 : int(x) + 3].reshape(-1, 3)
    blue = (patch[:, 2].astype(int) - patch[:, 0]) > 60
    assert blue.any()


def test_svg_carries_the_same_words_and_marks_as_the_picture() -> None:
    # Read back by the standard library's XML parser; counts compared with the plan.
    plan = _plan("large")
    root = ET.fromstring(_svg(plan))  # noqa: S314 -- our own text
    words = [element.text for element in root.iter(SVG + "text")]
    assert words == [box.text for box in draw_wiring(plan).texts]
    red = [
        e for e in root.iter(SVG + "circle") if e.get("fill") == "#c4261e" and e.get("r") == "5"
    ]
    assert len(red) >= 2 * len(plan.power.feeds)
    assert len(list(root.iter(SVG + "image"))) == 2
    assert _svg(plan) == _svg(plan)


def test_svg_of_a_hostile_file_name_is_still_well_formed() -> None:
    plan = _plan("wide")
    artwork = replace(plan.artwork, file='<script>&"\x1b]8;;x\x07.png')
    root = ET.fromstring(_svg(replace(plan, artwork=artwork)))  # noqa: S314 -- our own text
    assert not list(root.iter(SVG + "script"))
    assert any("<script>&" in (element.text or "") for element in root.iter(SVG + "text"))


@pytest.mark.native
@pytest.mark.skipif(shutil.which("rsvg-convert") is None, reason="rsvg-convert is not installed")
def test_svg_drawn_by_another_program_looks_like_the_picture(tmp_path: Path) -> None:
    plan = _plan("wide")
    source = tmp_path / "wiring.svg"
    source.write_text(_svg(plan), encoding="utf-8")
    target = tmp_path / "wiring.png"
    subprocess.run(["rsvg-convert", "-o", str(target), str(source)], check=True, timeout=60)
    with (
        Image.open(target) as drawn,
        Image.open(io.BytesIO(wiring_files(plan)["wiring.png"])) as ours,
    ):
        assert drawn.size == ours.size
        one, two = (np.asarray(i.convert("RGB").reduce(4), dtype=float) for i in (drawn, ours))
    # Same shapes; line widths and letters are smoothed differently. Found 2.9 of 255 on average, and 28
    # against the same sheet upside down.
    apart = float(np.abs(one - two).mean())
    assert apart < 4.0
    assert float(np.abs(one - two[::-1]).mean()) > 3 * apart


def test_chart_shows_limit_floor_and_lowest_led() -> None:
    plan = _plan("wide")
    texts = [box.text for box in draw_voltage(plan).texts]
    assert "below 3.50 V colours shift: blue and green fade first" in texts
    assert "designed to 3.70 V" in texts
    assert f"LED {plan.power.worst_led}: {plan.power.min_led_v:.2f} V" in texts


def test_pictures_are_the_same_bytes_twice_and_1200_wide() -> None:
    plan = _plan("wide")
    for draw in (lambda p: wiring_files(p)["wiring.png"], voltage_picture):
        one, two = draw(plan), draw(plan)
        assert one == two
        with Image.open(io.BytesIO(one)) as image:
            assert image.width == 1200
            assert not image.info


def test_plan_without_known_regulation_draws_only_the_designed_limit() -> None:
    plan = synthetic_plan()
    part = make_part(min_regulation_v=None, logic_high_v=None)
    power = plan_power(plan.chain, part, plan.drive, PowerSettings())
    texts = [box.text for box in draw_voltage(replace(plan, power=power)).texts]
    assert not any("colours shift" in text for text in texts)
    assert "designed to 4.50 V" in texts
    wiring = [box.text for box in draw_wiring(replace(plan, power=power)).texts]
    assert "data: see the part's input level" in wiring


def test_parts_cover_every_feed_and_both_conductors() -> None:
    power = _plan("tall").power
    found = {row.item: row for row in power.parts}
    fuses = [row for row in power.parts if row.item.startswith("blade fuse")]
    assert sum(row.quantity for row in fuses) == len(power.feeds)
    red, black = (found[f"wire {power.wire}, {colour}"] for colour in ("red", "black"))
    assert red.quantity == black.quantity
    assert red.quantity >= sum(feed.length_mm for feed in power.feeds) / 1000
    assert any("buffer" in item for item in found)


def test_lines_of_wrapped_text_keep_every_word_in_order() -> None:
    text = "one two three four five six seven eight nine ten"
    lines = wrap(text, 120, 14)
    assert " ".join(lines) == text
    assert len(lines) > 1


def test_loads_beside_the_leds_stand_on_the_sheet_with_the_controllers_voltage() -> None:
    plan = _plan(extra_loads={"shelf lamps": "0.5A"})
    texts = " ".join(box.text for box in draw_wiring(plan).texts)
    assert "shelf lamps 0.5 A" in texts
    assert "0.1 A, on the supply" in texts
    twelve = make_part(supply_v=12.0, supply_max_v=13.5, min_regulation_v=9.5)
    power = plan_power(plan.chain, twelve, plan.drive, PowerSettings(), plan.box)
    texts = " ".join(box.text for box in draw_wiring(replace(plan, power=power)).texts)
    assert "0.1 A, from 5 V of its own" in texts
