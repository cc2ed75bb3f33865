"""The parts list counts what the plan needs, and prices it as the maker does."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest

from marquee.box.cut_material import box_rows, sheet_rows
from marquee.errors import MarqueeError
from marquee.outputs.parts_list import parts_csv
from marquee.plan import Plan
from marquee.power.design import plan_power
from marquee.power.parts import PRICE_KEYS
from marquee.project import PowerSettings, Project, make_project
from tests.drawings.made import box, planned
from tests.pictures.factory import synthetic_plan
from tests.power.make import make_chain, make_part


def _plan(**settings_kw: object) -> Plan:
    plan = synthetic_plan()
    settings = PowerSettings.model_validate(settings_kw)
    return replace(plan, power=plan_power(plan.chain, make_part(), plan.drive, settings, plan.box))


def project(**sections: object) -> Project:
    return make_project(
        {"artwork": {"file": "sign.png", "width": "300mm"}, **sections}, "project.toml"
    )


def _rows(plan: Plan) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(parts_csv(plan))))


def test_list_covers_every_feed_both_conductors_and_all_leds() -> None:
    plan = _plan()
    power, rows = plan.power, {row["item"]: row for row in _rows(plan)}
    fuses = [row for item, row in rows.items() if item.startswith("blade fuse")]
    assert sum(int(row["quantity"]) for row in fuses) == len(power.feeds)
    assert int(rows["fuse holder for blade fuses"]["quantity"]) == len(power.feeds)
    red, black = (float(rows[f"wire {power.wire}, {c}"]["quantity"]) for c in ("red", "black"))
    assert red == black >= sum(feed.length_mm for feed in power.feeds) / 1000
    strip = next(row for item, row in rows.items() if item.startswith("LED strip"))
    assert float(strip["quantity"]) >= plan.chain.count * plan.chain.pitch_mm / 1000
    assert f"{plan.chain.count} LEDs in 5 pieces" in strip["note"]


def test_prices_are_multiplied_and_summed() -> None:
    prices = {"supply": 21.0, "fuse": 0.5, "wire_m": 0.8, "strip_m": 12.0}
    plan = _plan(prices=prices, currency="EUR")
    rows = _rows(plan)
    total = 0.0
    for row in rows[:-1]:
        if row["price"]:
            assert float(row["cost"]) == pytest.approx(
                float(row["quantity"]) * float(row["price"]), abs=0.005
            )
            total += float(row["quantity"]) * float(row["price"])
    assert total > 21
    assert float(rows[-1]["cost"]) == pytest.approx(total, abs=0.006)
    assert rows[-1]["unit"] == "EUR"
    assert "have no price" in rows[-1]["note"]


def test_list_without_prices_has_no_sum() -> None:
    plan = _plan()
    assert plan.power.parts_cost is None
    assert all(not row["cost"] for row in _rows(plan))


def test_supply_the_maker_owns_costs_nothing_more() -> None:
    plan = _plan(supply="5V/10A", prices={"supply": 21.0, "fuse": 0.5})
    supply = next(row for row in plan.power.parts if row.item.startswith("DC supply"))
    assert supply.cost is None
    assert supply.note == "yours"


def test_board_lists_packages_and_no_strip() -> None:
    power = plan_power(make_chain(40, board=True), make_part(), None, PowerSettings())
    assert power.parts[0].item == "LED test-rgb"
    assert power.parts[0].quantity == 40
    assert not any("strip" in row.item for row in power.parts)


def test_wires_are_counted_in_words_that_fit_their_number() -> None:
    board = plan_power(make_chain(40, board=True), make_part(), None, PowerSettings())
    strips = plan_power(make_chain(40, rows=2), make_part(), None, PowerSettings(feeds="start"))
    more = plan_power(make_chain(40, rows=4), make_part(), None, PowerSettings(feeds="start,end"))
    for power, wire, data in (
        (board, "1 feed, a tenth spare", "first LED"),
        (strips, "1 feed and 1 jumper, a tenth spare", "first LED and between rows"),
        (more, "2 feeds and 3 jumpers, a tenth spare", "first LED and between rows"),
    ):
        notes = {row.key: row.note for row in power.parts}
        assert notes["wire_m"] == wire
        assert notes["data_wire_m"].endswith(data)


def test_controller_beside_a_twelve_volt_rail_gets_five_volts_of_its_own() -> None:
    twelve = make_part(supply_v=12.0, supply_max_v=13.5, min_regulation_v=9.5)
    for part, wanted in ((twelve, True), (make_part(), False)):
        power = plan_power(make_chain(40), part, None, PowerSettings())
        assert any("to 5 V" in row.item for row in power.parts) == wanted


def test_unknown_price_names_the_nearest_one() -> None:
    with pytest.raises(MarqueeError, match="did you mean 'fuse'"):
        _plan(prices={"fuses": 1.0})
    with pytest.raises(MarqueeError, match="negative"):
        _plan(prices={"fuse": -1.0})


def test_every_price_key_prices_some_row() -> None:
    strip = _plan().power.parts
    board = plan_power(make_chain(10, board=True), make_part(), None, PowerSettings()).parts
    walled = box(((0, 60), (300, 60)))
    material = (*sheet_rows(planned(walled)), *box_rows(walled, project()))
    assert set(PRICE_KEYS) == {row.key for row in (*strip, *board, *material)}


def test_material_is_as_large_as_the_face_and_paint_covers_what_light_meets() -> None:
    walled = box(((0, 60), (300, 60)))
    stated = project(firmware={"controller": "rp2040"}, box={"diffuser": "opal-pmma-3mm"})
    rows = {row.key: row for row in box_rows(walled, stated)}
    size = f"{walled.width_mm:g} × {walled.height_mm:g} mm"
    assert all(size in rows[key].item for key in ("face", "diffuser", "back"))
    assert "opal-pmma-3mm" in rows["diffuser"].item
    assert "rp2040" in rows["controller"].item
    # A box 300 × 120 mm: its floor, its four sides, and both faces of a wall 300 mm long, each as high as the walls.
    floor = walled.width_mm * walled.height_mm
    sides = 2 * (walled.width_mm + walled.height_mm) * walled.depth_mm
    walls = 2 * 300 * walled.wall_height_mm
    assert rows["paint_m2"].quantity == pytest.approx((floor + sides + walls) / 1e6, abs=0.006)
