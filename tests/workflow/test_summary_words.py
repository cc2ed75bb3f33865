"""The summary says what there is and no more; feeds are counted alike everywhere."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np

from marquee.outputs.compare import compare_plans
from marquee.outputs.compare_read import PlanFile
from marquee.outputs.summary import summary_text
from marquee.plan import Plan
from tests.pictures.factory import synthetic_plan


def _line(plan: Plan, label: str) -> str:
    """One of the summary's entries, unwrapped."""
    text = summary_text(plan)
    found = re.search(rf"^{label}\s+(.*(?:\n {{11}}\S.*)*)", text, re.MULTILINE)
    assert found is not None
    return " ".join(found[1].split())


def test_one_zone_has_one_luminance_and_no_light_from_others() -> None:
    plan = synthetic_plan()
    one = replace(plan.light, zones=plan.light.zones[:1])
    told = _line(plan.but(light=one), "light")
    assert told.count("cd/m²") == 1
    assert " to " not in told
    assert "bleed" not in told
    assert "bleed" in _line(plan, "light")


def test_a_zone_without_an_led_is_not_given_bytes_that_nothing_shows() -> None:
    plan = synthetic_plan()
    zone, codes = plan.drive.zones[0].zone, ",".join(map(str, plan.drive.zones[0].codes))
    name = plan.zone_map.zones[zone].name
    assert f"{zone} {name} {codes} " in _line(plan, "colours")
    bare = np.where(plan.chain.zone == zone, -1, plan.chain.zone).astype(np.int16)
    told = _line(plan.but(chain=replace(plan.chain, zone=bare)), "colours")
    assert f"{zone} {name} has no LED" in told
    assert f"{zone} {name} {codes} " not in told


def test_matching_white_is_not_said_to_widen_the_band() -> None:
    plan = synthetic_plan()
    for matched, told in ((2.0, True), (7.0, False)):
        zones = tuple(
            replace(z, band_delta_e_2000=5.0, band_matched_delta_e_2000=matched)
            for z in plan.drive.zones
        )
        line = _line(plan.but(drive=replace(plan.drive, zones=zones)), "colours")
        assert "may be 5 off" in line
        assert ("once its white is matched" in line) is told


def test_money_without_a_name_is_still_called_money() -> None:
    plan = synthetic_plan()
    for currency, told in (
        ("crowns", "0.0123 crowns an hour"),
        ("", "0.0123 of the tariff's money an hour"),
    ):
        power = replace(plan.power, cost_per_hour=0.0123, currency=currency)
        assert told in _line(plan.but(power=power), "running")


def test_a_changed_feed_is_called_by_the_number_it_has_on_the_wiring_sheet(demo_json: str) -> None:
    old = json.loads(demo_json)
    new = json.loads(demo_json)
    new["power"]["feeds"][0]["current_a"] += 1.0
    found = compare_plans(PlanFile.model_validate(old), PlanFile.model_validate(new))
    assert [c.what for c in found if c.what.startswith("feed ")] == ["feed 1"]
