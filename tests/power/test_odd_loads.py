"""Loads and chains at the edges: more amperes than LEDs, nothing drawn at all, several LEDs an address, cut rails."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from marquee.errors import MarqueeError
from marquee.outputs.summary import summary_text
from marquee.power.check import Wired, open_feeds
from marquee.power.data_line import find_data_line
from marquee.power.design import plan_power
from marquee.power.ladder import build_ladder
from marquee.power.parts import led_parts
from marquee.project import PowerSettings
from marquee.values import Chain, Power
from tests.pictures.factory import synthetic_plan
from tests.power.make import make_chain, make_drive, make_part, zone_drive


def _plan(count: int, **settings_kw: object) -> Power:
    settings = PowerSettings.model_validate(settings_kw)
    return plan_power(make_chain(count), make_part(), None, settings)


@pytest.mark.parametrize("count", [1, 2, 3, 10])
def test_more_supplies_than_leds_are_refused_with_a_way_out(count: int) -> None:
    # Five loads of 100 A take eleven 60 A supplies at 80 %, and a chain is cut between LEDs only.
    loads = {f"lamp {k}": "100A" for k in range(5)}
    with pytest.raises(
        MarqueeError, match=r"11 supplies of 60 A cannot share .* a supply of their"
    ):
        _plan(count, extra_loads=loads)


def test_a_part_that_draws_nothing_is_refused() -> None:
    part = make_part(channel_current_a=(0.0,) * 3, channel_current_max_a=(0.0,) * 3)
    with pytest.raises(MarqueeError, match="no channel current is known"):
        plan_power(make_chain(5), part, None, PowerSettings())


def test_a_sign_planned_dark_takes_nothing_and_says_so() -> None:
    # Every byte 0, no dark current known, no controller: 0 W, whatever the efficiency.
    settings = PowerSettings.model_validate({"extra_load_a": "0A", "measured_w": 3})
    drive = make_drive((zone_drive(0, (0, 0, 0)),))
    power = plan_power(make_chain(5), make_part(dark_current_a=None), drive, settings)
    assert power.wall_w == 0
    text = "\n".join(power.notes)
    assert "Running: 0.0 W DC" in text
    assert "3 W are beside the 0.0 W estimated at the wall: more than planned" in text


@pytest.mark.parametrize("volts", [5.0, 12.0, 24.0, 36.0, 48.0, 60.0])
def test_no_rail_a_part_may_have_is_above_its_capacitors(volts: float) -> None:
    line, _ = find_data_line(make_part(), volts, 1.0, 1000, 0.0)
    assert line.capacitor_v >= 1.25 * volts


def test_the_feed_that_matters_most_is_tried_open_on_either_side_of_a_cut() -> None:
    # Pads close together before the cut, far apart after it: there an open feed starves most.
    pads = np.array([0, 10, 20, 30, 40, 50, 90])
    lead = np.full(len(pads), 0.05)
    wired = Wired(
        ladder=build_ladder(make_chain(100), 0.37, 0.0),
        led_a=np.full(100, 0.02),
        rail_v=5.0,
        pads=pads,
        lead_ohm=(lead, lead),
        cuts=(50,),
    )
    supplies = np.array([0, 0, 0, 0, 0, 1, 1])
    every = open_feeds(wired, None, supplies, most=len(pads))
    few = open_feeds(wired, None, supplies, most=3)
    assert {case.feed for case in every[:2]} == {5, 6}
    assert few[:2] == every[:2]


def _three_an_address(count: int, *, board: bool = False) -> Chain:
    """Addresses of three LEDs 10 mm apart, as a WS2811 lights them (data sheet of 2011, typical circuit)."""
    chain = make_chain(count, pitch_mm=30.0, board=board)
    along = chain.x_mm[:, None] + np.array([-10.0, 0.0, 10.0])
    places = np.stack([along, np.repeat(chain.y_mm[:, None], 3, axis=1)], axis=-1)
    return replace(chain, group_xy_mm=places)


def test_strip_is_bought_by_the_spacing_of_its_leds_not_of_its_addresses() -> None:
    (row,) = led_parts(_three_an_address(20), make_part())
    assert "pitch 10 mm" in row.item
    assert "3 with one address" in row.item
    assert row.quantity == pytest.approx(0.6)
    assert row.note.startswith("60 LEDs")
    (row,) = led_parts(_three_an_address(20, board=True), make_part())
    assert row.quantity == 60


def test_the_summary_counts_addresses_as_what_they_light() -> None:
    plan = synthetic_plan(size_mm=(600.0, 150.0))
    places = np.repeat(plan.chain.places_mm, 3, axis=1)
    text = summary_text(replace(plan, chain=replace(plan.chain, group_xy_mm=places)))
    assert "with 3 LEDs each" in text
    assert "LEDs each" not in summary_text(plan)


def test_a_part_that_lights_another_number_of_leds_is_not_set_beside() -> None:
    # A third of the LEDs would seem to draw a third of the current.
    three, one = make_part(leds_per_pixel=3), make_part(name="single")
    power = plan_power(_three_an_address(40), three, None, PowerSettings(), None, (one,))
    assert not any("single" in way.title for way in power.alternatives)
    alike = replace(one, leds_per_pixel=3)
    power = plan_power(_three_an_address(40), three, None, PowerSettings(), None, (alike,))
    assert any("single" in way.title for way in power.alternatives)


def test_a_second_supply_like_the_one_at_hand_is_not_free() -> None:
    power = _plan(1500, supply="5V/60A", prices={"supply": 30})
    several = next(way for way in power.alternatives if way.supply.count > 1)
    assert several.supply.amps == 60
    assert several.parts_cost == pytest.approx(30 * several.supply.count)


@pytest.mark.parametrize("volts", [5.0, 24.0, 32.0, 36.0, 48.0])
def test_fuses_are_rated_for_the_rail(volts: float) -> None:
    # ISO 8820-3:2015, scope: blade fuses for 32 V, and for 58 V.
    part = make_part(supply_v=volts, min_regulation_v=None, supply_max_v=None)
    power = plan_power(make_chain(5), part, None, PowerSettings(supply=f"{volts:g}V/10A"))
    told = [f.message for f in power.findings if f.code == "power.fuse-volts"]
    (fuse,) = (row for row in power.parts if row.item.startswith("blade fuse"))
    if volts <= 32:
        assert not told
        assert fuse.note == "32 V DC"
    else:
        assert f"rated for {volts:g} V DC or more" in told[0]
        assert f"rated {volts:g} V DC or more" in fuse.note
