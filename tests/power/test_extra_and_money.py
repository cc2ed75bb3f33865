"""Loads beside the LEDs, what a capped sign takes, other ways and their cost: sums done by hand."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from marquee.errors import MarqueeError
from marquee.outputs.clean import clean
from marquee.outputs.power_json import power_dict
from marquee.outputs.power_text import power_text
from marquee.outputs.summary import summary_text
from marquee.power.design import plan_power
from marquee.power.load import find_load
from marquee.project import PowerSettings
from marquee.values import Box, Power
from tests.pictures.factory import synthetic_plan
from tests.power.make import make_chain, make_drive, make_part, zone_drive


def _plan(count: int, **stated: object) -> Power:
    return plan_power(
        make_chain(count), make_part(), None, PowerSettings.model_validate(stated), None
    )


def test_named_loads_count_with_the_controller_in_every_current() -> None:
    loads = {"shelf lamps": "0.5A", "fan": "150mA"}
    without, with_them = _plan(60), _plan(60, extra_loads=loads)
    assert with_them.extra_a == pytest.approx(0.1 + 0.5 + 0.15)
    for name in ("worst_case_a", "planned_a", "peak_a", "dark_a"):
        assert getattr(with_them, name) - getattr(without, name) == pytest.approx(0.65)
    assert with_them.extra_loads[1:] == (("shelf lamps", 0.5), ("fan", 0.15))
    assert "0.1 A controller and shifter + 0.5 A shelf lamps + 0.15 A fan" in with_them.notes[0]


def test_a_named_load_gets_a_fuse_and_wire_of_its_own() -> None:
    # 2 A / 0.75 = 2.67 A: a 3 A blade, and the thinnest wire of 3 A is 22 AWG (NFPA 79 row).
    text = "\n".join(_plan(60, extra_loads={"shelf lamps": 2.0}).notes)
    assert "shelf lamps, 2 A: a 3 A fuse of its own at the supply, and 22 AWG" in text
    # 30 A / 0.75 = 40 A: no wire a feed may have is protected by that blade.
    text = "\n".join(_plan(60, extra_loads={"heater": 30.0}).notes)
    assert "heater, 30 A: more than any wire here carries" in text


def test_named_loads_do_not_warm_the_light_box() -> None:
    without, with_them = _plan(60), _plan(60, extra_loads={"shelf lamps": 2.0})
    assert with_them.heat_w == pytest.approx(without.heat_w)
    assert with_them.planned_w == pytest.approx(without.planned_w + 5 * 2.0)


@pytest.mark.parametrize(
    ("loads", "match"),
    [({"lamps": "2W"}, "not a unit of current"), ({"lamps": -1}, "outside 0 to 100 A")],
)
def test_a_load_that_is_no_current_is_refused(loads: dict[str, object], match: str) -> None:
    with pytest.raises(ValueError, match=match):
        PowerSettings.model_validate({"extra_loads": loads})
    with pytest.raises(MarqueeError, match="has no name"):
        _plan(60, extra_loads={" ": 1.0})


def test_a_capped_sign_runs_on_what_the_cap_leaves() -> None:
    # 300 LEDs of 36 mA typical and 60 mA at most, 1 mA dark, 0.1 A controller, on 0.8 x 4 A = 3.2 A:
    # cap (3.2 - 0.4) / 18 = 15.6 %, so 0.4 + 0.156 x 10.8 = 2.08 A run, at 5 V and 82 % efficiency.
    power = _plan(300, supply="5V/4A", efficiency="82%")
    running_a = 0.4 + 2.8 / 18 * 10.8
    assert power.planned_w == pytest.approx(5 * running_a)
    assert power.wall_w == pytest.approx(5 * running_a / 0.82)
    assert "held to 16% by the cap" in "\n".join(power.notes)


@given(
    codes=st.lists(st.tuples(*[st.integers(0, 255)] * 3), min_size=1, max_size=5),
    cap=st.floats(0.01, 1),
)
@settings(max_examples=60, deadline=None)
def test_a_held_sign_never_exceeds_the_cap_and_a_bright_cap_holds_nothing(
    codes: list[tuple[int, int, int]], cap: float
) -> None:
    drive = make_drive(tuple(zone_drive(z, c) for z, c in enumerate(codes)))
    load = find_load(make_chain(50, zones=len(codes)), make_part(), drive, 0.1)
    held_a = load.running_total_a(cap) - load.dark_total_a
    assert held_a <= cap * float(np.sum(load.lit_a)) * (1 + 1e-9)
    assert load.running_total_a(cap) <= load.planned_total_a * (1 + 1e-9)
    assert load.running_total_a(1.0) == pytest.approx(load.planned_total_a)


def _driven(count: int, codes: tuple[tuple[int, int, int], ...], **stated: object) -> Power:
    drive = make_drive(tuple(zone_drive(z, c) for z, c in enumerate(codes)))
    chain = make_chain(count, zones=len(codes))
    return plan_power(chain, make_part(), drive, PowerSettings.model_validate(stated))


def test_a_plan_within_supply_fuse_and_voltage_runs_without_the_cap() -> None:
    # 60 LEDs, half of them at 40 % of 60 mA: 0.06 + 0.1 + 0.72 A of the 1.6 A that 2 A allow, cap 40 %.
    power = _driven(60, ((0, 0, 0), (102, 102, 102)), supply="5V/2A")
    assert power.brightness_cap == pytest.approx((1.6 - 0.16) / 3.6)
    assert power.plan_fits
    bright = _driven(60, ((0, 0, 0), (255, 255, 0)), supply="5V/2A")
    # 30 LEDs of 40 mA: 1.36 A, each above the cap, all together below 1.6 A.
    assert bright.plan_fits
    assert bright.planned_w == pytest.approx(5 * (0.16 + 30 * 0.024))


def test_a_plan_above_supply_or_below_the_voltage_is_held_by_the_cap() -> None:
    # 30 LEDs of 60 mA are 1.96 A: above the 1.6 A.
    assert not _driven(60, ((0, 0, 0), (255, 255, 255)), supply="5V/2A").plan_fits
    # 5.4 A at the far end of 300 LEDs fed at the start: V drops by more than the 1.3 V there are.
    far = _driven(300, ((0, 0, 0), (0, 0, 0), (255, 255, 255)), supply="5V/8A", feeds="start")
    assert far.peak_a < 0.8 * 8
    assert not far.plan_fits
    assert not _plan(60, supply="5V/2A").plan_fits


def test_a_wire_too_thin_for_full_light_still_serves_the_supply_the_refusal_names() -> None:
    places = {"feeds": "start,end", "wire_size": "18AWG"}
    with pytest.raises(MarqueeError, match=r"--supply 5V/9\.\dA") as caught:
        _plan(300, **places)
    text = str(caught.value)
    # 9.15 A on each end: 12.20 A of fuse against the 6 A of 18 AWG.
    assert "9.15 A" in text
    assert "6.20 A too little" in text
    stated = text.split("--supply ")[1].rstrip(")")
    power = _plan(300, **places, supply=stated)
    assert all(feed.fuse_a <= feed.wire_limit_a for feed in power.feeds)
    assert power.brightness_cap == pytest.approx(0.39, abs=0.01)


def test_other_ways_begin_with_the_design_itself() -> None:
    power = _plan(150, tariff_per_kwh=0.3, prices={"fuse": 0.5})
    own = power.alternatives[0]
    assert own.title == "as designed"
    assert own.min_led_v == pytest.approx(power.min_led_v, abs=1e-6)
    assert own.feeds == len(power.feeds)
    assert own.planned_w == pytest.approx(power.planned_w)
    assert own.cost_per_hour == pytest.approx(power.cost_per_hour)
    assert own.parts_cost == pytest.approx(0.5 * len(power.feeds))


def test_other_ways_below_regulation_count_the_falling_current_too() -> None:
    power = _plan(200, feeds="start", wire_size="12AWG", supply="5V/9A")
    assert power.regulation_v is not None
    assert power.min_led_v < power.regulation_v
    assert power.alternatives[0].min_led_v == pytest.approx(power.min_led_v, abs=1e-6)


def test_every_way_is_priced_with_its_own_supply() -> None:
    prices = {"supply": 20.0, "supply 5V/18A": 33.0, "supply 12V/4.2A": 15.0}
    assert "one step above 14 A" in "\n".join(_plan(150).notes)
    # 30 LEDs take 1.93 A, so 3 A; 150 take 9.25 A, and their 7.5 A fuses need twice that.
    assert _plan(30, prices=prices).parts_cost == pytest.approx(20.0)
    power = _plan(150, prices=prices)
    assert power.supply.amps == 18
    assert power.parts_cost == pytest.approx(33.0)
    costs = {row.supply.amps: row.parts_cost for row in power.alternatives}
    assert costs[18] == pytest.approx(33.0)
    assert costs[14] == pytest.approx(20.0)


@pytest.mark.parametrize("key", ["supply of mine", "supply 5V", "supply 5V/0A"])
def test_a_price_of_what_is_no_supply_is_refused(key: str) -> None:
    with pytest.raises(MarqueeError, match=r"power\.prices"):
        _plan(60, prices={key: 3.0})


def _boxed() -> Power:
    box = Box(
        width_mm=500,
        height_mm=200,
        depth_mm=50,
        wall_thickness_mm=3,
        wall_gap_mm=0,
        walls=(),
        cells=(),
    )
    stated = {"tariff_per_kwh": 0.3, "hours_per_day": 6, "cabinets": 3, "currency": "EUR"}
    more = {"prices": {"fuse": 0.5}, "extra_loads": {"shelf lamps": "0.5A"}}
    return plan_power(
        make_chain(150, zones=2),
        make_part(),
        make_drive((zone_drive(0, (255, 128, 0)), zone_drive(1, (0, 9, 80)))),
        PowerSettings.model_validate(stated | more),
        box,
        (make_part(name="twelve", supply_v=12.0, supply_max_v=13.5, min_regulation_v=9.5),),
    )


def test_text_shows_every_feed_way_part_source_and_caution() -> None:
    power = _boxed()
    text = " ".join(power_text(power, 150, "5 V test part").split())
    for feed in power.feeds:
        assert f"{feed.current_a:.2f} A (it may carry {feed.wire_limit_a:g} A)" in text
        assert f"fuse {feed.fuse_a:g} A" in text
    for case in power.open_feeds:
        assert f"feed {case.feed + 1} open: lowest LED {case.min_led_v:.2f} V" in text
    over = [c.largest_feed_a > power.feeds[c.largest_feed].fuse_a for c in power.open_feeds]
    assert text.count("which may open too") == sum(over)
    for way in power.alternatives:
        assert f"{way.title} {way.brightness_cap:.0%} {way.feeds}" in text
        assert f"{way.cost_per_hour:.4f}" in text
        assert f"{way.parts_cost:.2f}" in text
    for said in (*power.notes, *power.cites, *power.cautions, *(p.item for p in power.parts)):
        assert " ".join(said.split()) in text
    assert "shelf lamps 0.5 A" in text
    assert "EUR an hour" in text


def test_json_says_what_the_text_says() -> None:
    power = _boxed()
    found = json.loads(json.dumps(clean(power_dict(power)), allow_nan=False))
    assert found["kwh_per_month"] == pytest.approx(
        power.wall_w * 6 * 365 / 12 * 3 / 1000, abs=1e-3
    )
    assert found["extra_loads"][1] == {"name": "shelf lamps", "amps": 0.5}
    assert min(found["led_v"]) == pytest.approx(power.min_led_v, abs=1e-4)
    assert [f["wire"] for f in found["feeds"]] == [f.wire for f in power.feeds]
    assert len(found["alternatives"]) == len(power.alternatives)
    assert len(found["open_feeds"]) == len(power.open_feeds)
    assert found["class2"] == power.class2


def test_summary_counts_the_feeds_it_leaves_to_power_txt() -> None:
    plan = synthetic_plan(size_mm=(600.0, 150.0))
    feed = _plan(30).feeds[0]
    many = replace(plan, power=replace(plan.power, feeds=(feed,) * 50))
    text = " ".join(summary_text(many).split())
    assert text.count("feed at LED") == 6
    assert "44 more feeds" in text
    assert "power.txt" in text
