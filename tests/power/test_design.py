"""The wiring chosen: laws it must keep, and oracles that share nothing with the search."""

from __future__ import annotations

import itertools
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from marquee.errors import MarqueeError
from marquee.power.check import Wired, as_circuit, knee_for
from marquee.power.circuit import solve_circuit
from marquee.power.design import plan_power
from marquee.power.ladder import Spans, build_ladder, solve_ladder
from marquee.power.search import Task, search_wiring, try_wiring
from marquee.power.wire import wire_named, wire_sizes
from marquee.project import PowerSettings
from marquee.values import Chain, Power
from tests.power.make import make_chain, make_drive, make_part, zone_drive


def _plan(count: int, rows: int = 1, **settings_kw: object) -> Power:
    return plan_power(
        make_chain(count, rows=rows),
        make_part(),
        None,
        PowerSettings.model_validate(settings_kw),
    )


def _dense_led_v(power: Power, chain: Chain, conductor_c: float) -> NDArray[np.float64]:
    """Return LED voltages by a dense nodal solve written here: nodes LED and pads, one rail after the other."""
    hot = 1 + 0.00393 * (conductor_c - 20)
    wire = wire_named(power.wire, "")
    half = power.rail_ohm_per_m / 2 * hot * chain.pitch_mm / 2000
    count = chain.count
    drop = np.zeros(count)
    for plus in (True, False):
        matrix = np.zeros((2 * count + 1, 2 * count + 1))

        def join(a: int, b: int, ohm: float, matrix: NDArray[np.float64] = matrix) -> None:
            matrix[a, a] += 1 / ohm
            matrix[b, b] += 1 / ohm
            matrix[a, b] -= 1 / ohm
            matrix[b, a] -= 1 / ohm

        for k in range(count):
            join(2 * k, 2 * k + 1, half)
            jump = 0.0
            if k + 1 < count and chain.row[k] != chain.row[k + 1]:
                gap = np.hypot(
                    chain.x_mm[k + 1] - chain.x_mm[k], chain.y_mm[k + 1] - chain.y_mm[k]
                )
                jump = (gap + 30) / 1000 * wire.ohm_per_m_20c * hot
            join(2 * k + 1, 2 * k + 2, half + jump)
        for feed in power.feeds:
            pad = 2 * (feed.at_led + (feed.pad == "after"))
            ohm = feed.length_mm / 1000 * wire.ohm_per_m_20c * hot
            matrix[pad, pad] += 1 / (ohm + (0.004 + 0.09 / feed.fuse_a if plus else 0))
        sink = np.zeros(2 * count + 1)
        sink[1::2] = power.led_a
        drop += np.linalg.solve(matrix, sink)[1::2]
    return np.asarray(power.rail_v - drop)


@pytest.mark.parametrize(("count", "rows"), [(1, 1), (2, 1), (60, 3), (144, 6), (300, 10)])
def test_plan_voltages_are_those_of_a_dense_nodal_solve(count: int, rows: int) -> None:
    # numpy.linalg.solve on the nodal matrix built from the plan's own wire list.
    chain = make_chain(count, rows=rows)
    power = plan_power(chain, make_part(), None, PowerSettings())
    np.testing.assert_allclose(power.led_v, _dense_led_v(power, chain, 45.0), rtol=0, atol=1e-6)
    assert power.min_led_v == pytest.approx(float(np.min(power.led_v)))
    assert power.worst_led == int(np.argmin(power.led_v))


@given(
    count=st.integers(1, 260),
    rows=st.integers(1, 12),
    milliamps=st.floats(3, 25),
    length_mm=st.floats(100, 4000),
    metric=st.booleans(),
)
@settings(max_examples=40, deadline=None)
def test_every_design_keeps_colour_carries_its_current_and_is_fused(
    count: int,
    rows: int,
    milliamps: float,
    length_mm: float,
    metric: bool,
) -> None:
    part = make_part(channel_current_max_a=(milliamps / 1000,) * 3, channel_current_a=None)
    power = plan_power(
        make_chain(count, rows=min(rows, count)),
        part,
        None,
        PowerSettings(
            feed_length=f"{length_mm}mm",  # type: ignore[arg-type]
            wire="metric" if metric else "awg",
        ),
    )
    assert power.min_led_v >= 3.7 - 1e-9
    assert sum(f.current_a for f in power.feeds) == pytest.approx(
        power.worst_case_a - power.extra_a
    )
    for feed in power.feeds:
        assert feed.current_a / 0.75 <= feed.fuse_a * (1 + 1e-6)
        assert feed.fuse_a <= feed.wire_limit_a
    assert power.worst_case_a <= 0.8 * power.supply.amps * power.supply.count * (1 + 1e-9)
    assert power.fuse_a == max(feed.fuse_a for feed in power.feeds)


def _task(count: int, led_a: float, floor_v: float, length_mm: float) -> Task:
    return Task(
        led_a=np.full(count, led_a),
        rail_v=5.0,
        floor_v=floor_v,
        lengths_mm=(length_mm,),
        conductor_c=45.0,
        holder_ohm=0.004,
        blade_drop_v=0.09,
    )


@pytest.mark.parametrize(
    ("count", "led_a", "floor_v", "length_mm"),
    [(14, 0.30, 4.7, 500), (20, 0.25, 4.7, 300), (12, 0.5, 4.7, 800), (16, 0.35, 4.55, 100)],
)
def test_no_fewer_feeds_would_do_anywhere(
    count: int, led_a: float, floor_v: float, length_mm: float
) -> None:
    # Exhaustive: every set of one feed fewer, with the thickest wire, fails.
    wires = wire_sizes("awg")[-4:-1]
    ladder = build_ladder(make_chain(count, pitch_mm=100), 0.37, 0.02)
    task = _task(count, led_a, floor_v, length_mm)
    found = search_wiring(ladder, task, wires)
    assert found.holds
    assert len(found.pads) > 1
    fewer = len(found.pads) - 1
    for pads in itertools.combinations(range(count + 1), fewer):
        assert not try_wiring(ladder, task, np.array(pads), wires[-1]).holds


@given(
    count=st.integers(2, 14),
    amps=st.lists(st.floats(0.01, 0.2), min_size=14, max_size=14),
    feeds=st.integers(1, 3),
)
@settings(max_examples=30, deadline=None)
def test_places_of_ideal_feeds_are_the_best_there_are(
    count: int, amps: list[float], feeds: int
) -> None:
    # Exhaustive over all places, drops by the tridiagonal solve with feeds of no resistance.
    ladder = build_ladder(make_chain(count), 0.37, 0.0)
    led_a, none = np.array(amps[:count]), np.zeros(feeds)
    feeds = min(feeds, count + 1)

    def drop(pads: NDArray[np.int64]) -> float:
        zero = none[: len(pads)]
        return float(np.max(solve_ladder(ladder, led_a, pads, (zero, zero)).drop_v))

    best = min(drop(np.array(p)) for p in itertools.combinations(range(count + 1), feeds))
    # The search halves its interval until it is known to 1e-6 of itself; 1e-7 V is the joints' 1 nohm.
    assert drop(Spans(ladder, led_a).best(feeds)) <= best * (1 + 1e-5) + 1e-7


@given(
    pads=st.sets(st.integers(0, 60), min_size=1, max_size=6),
    led_a=st.floats(0.001, 0.06),
    plus=st.floats(0.001, 0.3),
    minus=st.floats(0.001, 0.3),
)
@settings(max_examples=40, deadline=None)
def test_fast_ladder_agrees_with_the_full_network(
    pads: set[int], led_a: float, plus: float, minus: float
) -> None:
    ladder = build_ladder(make_chain(60, rows=4), 0.37, 0.02)
    places = np.array(sorted(pads))
    lead = (np.full(len(places), max(plus, minus)), np.full(len(places), minus))
    wired = Wired(ladder=ladder, led_a=np.full(60, led_a), rail_v=5.0, pads=places, lead_ohm=lead)
    solution, feed_a = solve_circuit(as_circuit(wired, None))
    fast = solve_ladder(ladder, wired.led_a, places, lead)
    np.testing.assert_allclose(5.0 - fast.drop_v, solution.led_v, rtol=0, atol=1e-8)
    np.testing.assert_allclose(fast.feed_a, feed_a, rtol=0, atol=1e-6)


def test_owned_supply_caps_brightness_and_says_how_much_is_missing() -> None:
    power = _plan(300, 10, supply="5V/4A")
    # 300 x 60 mA lit, 300 x 1 mA dark, 0.1 A extra; 0.8 x 4 A = 3.2 A: (3.2 - 0.4)/18.
    assert power.brightness_cap == pytest.approx((3.2 - 0.4) / 18)
    assert power.supply_owned
    assert sum(feed.current_a for feed in power.feeds) + 0.1 == pytest.approx(3.2)
    message = next(f.message for f in power.findings if f.code == "power.brightness-capped")
    assert "15.20 A above the 3.20 A" in message
    assert "capped at 15.6%" in message


@given(amps=st.floats(0.6, 30), count=st.integers(1, 200))
@settings(max_examples=30, deadline=None)
def test_cap_keeps_the_owned_supply_at_80_percent(amps: float, count: int) -> None:
    power = _plan(count, supply=f"5V/{amps:.3f}A")
    drawn = float(np.sum(power.led_a)) + power.extra_a if power.led_a is not None else np.inf
    assert drawn <= 0.8 * power.supply.amps * (1 + 1e-9)
    assert power.brightness_cap * power.worst_case_a <= 0.8 * power.supply.amps * (1 + 1e-9)


def test_supply_too_small_for_dark_leds_is_refused_with_limit_excess_and_ways_out() -> None:
    with pytest.raises(MarqueeError) as caught:
        _plan(300, supply="5V/0.3A")
    text = str(caught.value)
    assert "gives 0.24 A at 80 % of its rating" in text
    assert "0.16 A are missing" in text
    assert "take a supply of 26 A or more, or fewer LEDs (a larger pitch), or a part" in text


def test_supply_of_another_voltage_is_refused() -> None:
    with pytest.raises(MarqueeError, match="12 V would destroy it"):
        _plan(10, supply="12V/2A")
    with pytest.raises(MarqueeError, match=r"3\.3 V is too little"):
        _plan(10, supply="3.3V/2A")


def test_places_and_wire_the_maker_names_are_kept() -> None:
    power = _plan(
        150,
        feeds="start,middle,end",
        feed_lengths=["0.5m", "1m", "1.5m"],
        wire_size="1.5mm2",
    )
    assert [(f.at_led, f.pad) for f in power.feeds] == [
        (0, "before"),
        (75, "before"),
        (149, "after"),
    ]
    assert [f.length_mm for f in power.feeds] == [500, 1000, 1500]
    assert {f.wire for f in power.feeds} == {"1.5 mm²"}


def test_too_thin_a_wire_for_the_named_places_is_refused() -> None:
    with pytest.raises(MarqueeError, match="22 AWG is protected up to 3 A only"):
        _plan(150, feeds="start,end", wire_size="22AWG")


def test_wire_below_the_smallest_fuse_is_refused_wherever_it_joins() -> None:
    # 30 AWG may carry 0.5 A and the smallest blade fuse is 1 A: no number of feeds helps.
    with pytest.raises(MarqueeError, match=r"30 AWG is protected up to 0\.5 A only"):
        _plan(150, wire_size="30AWG")


@pytest.mark.parametrize("text", ["centre", "after 999", "start,start", "-3", ""])
def test_places_that_are_none_are_refused(text: str) -> None:
    with pytest.raises(MarqueeError, match=r"power\.feeds"):
        _plan(150, feeds=text)


def test_too_few_named_places_give_a_finding_with_the_leds_below() -> None:
    part = make_part(channel_current_max_a=(0.012,) * 3)
    power = plan_power(
        make_chain(200), part, None, PowerSettings(feeds="start", wire_size="12AWG")
    )
    finding = next(f for f in power.findings if f.code == "power.low-voltage")
    below = np.flatnonzero(power.led_v < 3.5)
    assert len(below)
    assert finding.where == f"LEDs {below[0]} to 199"
    assert re.search(rf"{len(below)} of 200 LEDs fall below 3\.50 V", finding.message)


def test_load_beyond_one_supply_is_split_with_every_supply_at_80_percent_or_less() -> None:
    power = _plan(1500, 30)
    assert power.supply.count == 2
    assert len(power.cuts) == 1
    loads = [0.0] * power.supply.count
    for feed in power.feeds:
        loads[feed.supply] += feed.current_a
    loads[0] += power.extra_a
    # One LED more or less than an even share: 61 mA.
    assert all(load <= 0.8 * power.supply.amps + 0.061 for load in loads)
    assert sum(loads) == pytest.approx(power.worst_case_a)
    assert power.min_led_v >= power.floor_v - 1e-6
    assert any("never their plus" in caution for caution in power.cautions)


def test_fuse_above_half_the_supply_only_on_wire_that_stands_the_supplys_overload() -> None:
    for count in (20, 60, 100, 144, 240, 300):
        power = _plan(count, 4)
        slow = any(f.code == "power.slow-fuse" for f in power.findings)
        safe = (
            power.fuse_a <= power.supply.amps / 2
            or power.feeds[0].wire_limit_a >= 1.5 * power.supply.amps
        )
        assert safe != slow


def test_open_feed_is_reported_and_never_better_than_all_feeds() -> None:
    power = _plan(300)
    assert len(power.open_feeds) == len(power.feeds)
    for case in power.open_feeds:
        assert case.min_led_v < power.min_led_v
        assert case.largest_feed != case.feed
        assert case.below_count > 0


def test_current_below_regulation_falls_as_measured() -> None:
    # lowpowerlab.com forum 2016-05-22: a WS2812B drew 28.8 mA at 3.3 V and full white, out of regulation.
    # A 50 mA part (the measured 52.5 mA population) that regulates down to 3.9 V: within 10 %.
    knee = knee_for(3.9, 5.0)
    assert knee is not None
    assert 0.050 * float(knee.current_share(np.array([3.3]))[0]) == pytest.approx(0.0288, rel=0.1)


def test_unknown_regulation_voltage_is_said_and_90_percent_designed_to() -> None:
    power = plan_power(make_chain(100), make_part(min_regulation_v=None), None, PowerSettings())
    assert power.regulation_v is None
    assert power.min_led_v >= 4.5
    assert "power.regulation-voltage-unknown" in {f.code for f in power.findings}


def test_planned_and_dark_currents_lie_between_zero_and_the_worst_case() -> None:
    drive = make_drive((zone_drive(0, (255, 128, 0)),))
    power = plan_power(
        make_chain(60, rows=3), make_part(), drive, PowerSettings(tariff_per_kwh=0.3)
    )
    assert power.dark_a == pytest.approx(60 * 0.001 + 0.1)
    assert power.planned_a == pytest.approx(0.16 + 60 * 0.012 * (1 + 128 / 255))
    assert power.planned_high_a == pytest.approx(0.16 + 60 * 0.020 * (1 + 128 / 255))
    assert power.heat_w == pytest.approx(5 * power.planned_a)
    assert power.cost_per_hour == pytest.approx(power.energy_wh_per_hour / 1000 * 0.3)


def test_same_input_gives_the_same_bytes() -> None:
    one, two = _plan(144, 6), _plan(144, 6)
    assert one.led_v.tobytes() == two.led_v.tobytes()
    assert (one.feeds, one.notes, one.cites) == (two.feeds, two.notes, two.cites)


def test_every_source_carries_its_mark() -> None:
    power = _plan(144, 6)
    assert any("[common practice, no source]" in cite for cite in power.cites)
    for cite in power.cites:
        assert re.search(r"\[[^]]+\]$", cite)
    for feed in power.feeds:
        assert any("wire" in cite for cite in feed.cites)
        assert any("fuse" in cite for cite in feed.cites)
