"""Advice keeps its word: the change it names, planned afresh, gives the figures it gives."""

from __future__ import annotations

import pytest

from marquee.advice.advise import STRIPS_PER_M, advise, uneven_zones
from marquee.advice.sweep import sweep_light
from marquee.advice.trial import planned_trial, try_change
from marquee.box.materials import load_materials
from marquee.plan import Plan
from marquee.values_light import Advice, Change
from tests.advice.made import planned, two_blocks

AIM = 0.6
# Pitch twice the depth: by the ripple of a square grid under 0.5 of Emin / Emax (0.44 at depth / pitch 0.5).
SHALLOW = {"box": {"depth": "10mm"}, "leds": {"pitch": "20mm"}}


@pytest.fixture(scope="module")
def plan() -> Plan:
    return planned(two_blocks(), 1.0, **SHALLOW)


@pytest.fixture(scope="module")
def advice(plan: Plan) -> tuple[Advice, ...]:
    return advise(plan, AIM)


def test_a_sign_shallower_than_its_pitch_is_told_depth_and_pitch(
    plan: Plan, advice: tuple[Advice, ...]
) -> None:
    assert len(uneven_zones(plan, AIM)) == 2
    for zone in (0, 1):
        knobs = {one.what for one in advice if one.zone == zone}
        assert {"depth", "pitch"} <= knobs


def test_a_depth_advised_gives_what_it_says_when_planned_afresh(
    plan: Plan, advice: tuple[Advice, ...]
) -> None:
    depths = [one for one in advice if one.what == "depth" and one.change.pitch_mm is None]
    assert depths
    for one in depths[:1]:
        box = {"depth": f"{one.end}mm"}
        fresh = planned(two_blocks(), 1.0, box=box, leds=SHALLOW["leds"])
        light = fresh.light.zones[one.zone or 0]
        assert light.min_over_max == pytest.approx(one.after, rel=1e-6)
        assert f"{light.min_over_max:.2f}" in one.message
        change_a = fresh.power.planned_a - plan.power.planned_a
        assert change_a == pytest.approx(one.current_change_a, abs=1e-9)


def test_the_depth_advised_is_the_first_millimetre_that_is_enough(
    plan: Plan, advice: tuple[Advice, ...]
) -> None:
    found = [one for one in advice if one.what == "depth" and one.enough]
    assert found
    for one in found:
        assert isinstance(one.end, float)
        below = try_change(plan, Change(depth_mm=one.end - 1))
        assert below.zones[one.zone or 0].min_over_max < AIM <= one.after


def test_pitches_advised_are_those_of_common_strips(advice: tuple[Advice, ...]) -> None:
    pitches = [one.end for one in advice if one.what == "pitch"]
    assert pitches
    # Arithmetic: n LEDs a metre are 1000 / n mm apart.
    for pitch in pitches:
        assert isinstance(pitch, float)
        assert 1000 / pitch == pytest.approx(round(1000 / pitch))
        assert round(1000 / pitch) in STRIPS_PER_M


def test_advice_that_falls_short_says_so(plan: Plan) -> None:
    # No diffuse box is perfectly even: its corners see less.
    told = advise(plan, 0.999)
    evenness = [one for one in told if one.about == "evenness"]
    assert evenness
    assert not any(one.enough for one in evenness)
    assert all("not the 1.00 aimed at" in one.message for one in evenness)


def test_a_gap_above_the_one_told_costs_more_bleed_than_allowed() -> None:
    # A dim zone beside a white one: the white one's leak weighs most there.
    plan = planned(two_blocks((255, 255, 255), (24, 40, 120)), 1.0, box={"depth": "25mm"})
    aim = min(zone.min_over_max for zone in plan.light.zones)
    (gap,) = advise(plan, aim)
    assert gap.what == "wall gap"
    assert isinstance(gap.end, float)
    closed = try_change(plan, Change(wall_gap_mm=0.0)).zones

    def cost(gap_mm: float) -> float:
        zones = try_change(plan, Change(wall_gap_mm=gap_mm)).zones
        return max(z.bleed - c.bleed for z, c in zip(zones, closed, strict=True))

    assert cost(gap.end) <= 0.03 < cost(gap.end + 0.1)
    assert f"{gap.end:g} mm" in gap.message


def test_the_paint_advised_is_the_whitest_of_the_table(advice: tuple[Advice, ...]) -> None:
    surfaces = load_materials().surfaces
    most = max(surface.reflectance for surface in surfaces.values())
    for one in advice:
        if one.what == "paint":
            assert one.change.paint == one.end
            assert surfaces[str(one.end)].reflectance == most
            # Whiter walls send more light on, and more light back to where there was little.
            assert one.after > one.before


def test_an_even_sign_is_told_nothing_about_evenness() -> None:
    plan = planned(two_blocks(), 1.0, box={"depth": "25mm"}, leds={"pitch": "12.5mm"})
    aim = min(zone.min_over_max for zone in plan.light.zones)
    assert not [one for one in advise(plan, aim) if one.about == "evenness"]


def test_a_sweep_has_the_plan_itself_among_its_steps(plan: Plan) -> None:
    sweep = sweep_light(plan, "depth", 30.0, 10.0, 3)
    assert sweep.values_mm == (10.0, 20.0, 30.0)
    assert sweep.trials[0].zones == planned_trial(plan).zones
    assert sweep.rule_mm == 20.0
    # Deeper is more even while depth is below pitch (closed form: 0.44 at 0.5, 0.95 at 1), and never brighter:
    # the same flux reaches a farther diffuser over more wall.
    assert sweep.trials[0].least_even < sweep.trials[1].least_even
    white = [trial.white_cd_m2 for trial in sweep.trials]
    assert white == sorted(white, reverse=True)
