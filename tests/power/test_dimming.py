"""Brightness against room light: what dimming saves is what the dimmed sign draws."""

from __future__ import annotations

import numpy as np
import pytest

from marquee.plan import Plan
from marquee.power.dimming import Driven, brightness_findings, dim_to, rooms, white_cd_m2
from tests.advice.made import planned, two_blocks


def driven(plan: Plan) -> Driven:
    return Driven(
        zone_map=plan.zone_map,
        chain=plan.chain,
        part=plan.part,
        transfer=plan.transfer,
        settings=plan.project.colour,
        drive=plan.drive,
    )


@pytest.fixture(scope="module")
def plan() -> Plan:
    return planned(two_blocks(), 1.0, box={"depth": "25mm"})


def test_rooms_get_brighter_and_each_has_its_source() -> None:
    table = rooms()
    assert [room.low_cd_m2 for room in table] == sorted(room.low_cd_m2 for room in table)
    assert all(room.low_cd_m2 < room.high_cd_m2 and room.source for room in table)
    by_name = {room.name: room for room in table}
    # Luginbuhl et al., draft of 9 November 2010: 40 preferred, 100 the limit; SI 2007/783: 300 and 600.
    assert (by_name["dark"].low_cd_m2, by_name["dark"].high_cd_m2) == (40, 100)
    assert (by_name["shop"].low_cd_m2, by_name["shop"].high_cd_m2) == (300, 600)


def test_white_is_illuminance_times_transmittance_over_pi(plan: Plan) -> None:
    lux = plan.drive.white_intensity_cd * plan.transfer.self_lux_per_cd.mean()
    # L = E τ / π, a Lambertian sheet.
    expected = lux * plan.transfer.diffuser_transmittance / np.pi
    assert white_cd_m2(plan.transfer, plan.drive) == pytest.approx(expected)


def test_current_told_to_be_saved_is_saved_by_the_plan_made_with_that_luminance(
    plan: Plan,
) -> None:
    dimmed = dim_to(200.0, driven(plan))
    assert dimmed is not None
    fresh = planned(two_blocks(), 1.0, box={"depth": "25mm"}, colour={"luminance_cd_m2": 200})
    assert dimmed.white_cd_m2 == pytest.approx(200.0, rel=1e-6)
    assert white_cd_m2(fresh.transfer, fresh.drive) == pytest.approx(200.0, rel=1e-6)
    # The error told is what that plan's zones show, codes shared out, not that of whole codes.
    shown = [zone.shown_delta_e_2000 for zone in fresh.drive.zones]
    assert dimmed.largest_delta_e_2000 == pytest.approx(max(shown), abs=1e-9)
    assert max(shown) < max(zone.delta_e_2000 for zone in fresh.drive.zones)
    saved_a = plan.power.planned_a - fresh.power.planned_a
    assert dimmed.saved_a == pytest.approx(saved_a, abs=1e-9)
    assert saved_a > 0


def test_a_sign_that_is_dim_already_is_not_dimmed(plan: Plan) -> None:
    assert dim_to(1e6, driven(plan)) is None


def test_white_far_above_a_lit_rooms_is_told_once_and_no_more_when_dimmed(plan: Plan) -> None:
    assert white_cd_m2(plan.transfer, plan.drive) > 400
    (told,) = [f for f in plan.findings if f.code == "light.too-bright"]
    share = told.message.split("--brightness ")[1].split("%")[0]
    dimmed = planned(two_blocks(), 1.0, box={"depth": "25mm"}, colour={"brightness": f"{share}%"})
    # The share is told to two digits: half of the second one is 5 % at most.
    assert white_cd_m2(dimmed.transfer, dimmed.drive) == pytest.approx(200.0, rel=0.05)
    assert not [f for f in dimmed.findings if f.code == "light.too-bright"]


def test_whoever_asks_for_a_luminance_is_not_told_that_it_is_too_bright() -> None:
    plan = planned(two_blocks(), 1.0, box={"depth": "25mm"}, colour={"luminance_cd_m2": 1000})
    assert white_cd_m2(plan.transfer, plan.drive) > 400
    assert brightness_findings(driven(plan)) == ()
