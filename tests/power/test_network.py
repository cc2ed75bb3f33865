"""The rail network against Ohm's and Kirchhoff's laws worked out by hand, and what it refuses."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from marquee.errors import MarqueeError
from marquee.power.rails import Knee, NetworkBuilder, Solution, solve_network


def _one_led(
    feed_ohm: float,
    return_ohm: float,
    led_a: float,
    knee: Knee | None = None,
    supply_v: float = 5.0,
) -> Solution:
    """One LED between a wire to the plus and a wire to the minus; a wire of 0 ohm is left out."""
    net = NetworkBuilder()
    plus = net.node()
    net.resistor(0, plus, feed_ohm)
    minus = 1
    if return_ohm:
        minus = net.node()
        net.resistor(minus, 1, return_ohm)
    ends = (np.array([plus]), np.array([minus]))
    return solve_network(net, *ends, np.array([led_a]), supply_v, knee)


def test_voltage_falls_by_current_times_resistance_there_and_back() -> None:
    solved = _one_led(0.5, 0.25, 0.4)
    assert solved.pos_v == pytest.approx([5.0 - 0.5 * 0.4], rel=1e-12)
    assert solved.gnd_v == pytest.approx([0.25 * 0.4], rel=1e-12)
    assert solved.led_v == pytest.approx([5.0 - 0.75 * 0.4], rel=1e-12)
    assert solved.branch_a == pytest.approx([0.4, 0.4], rel=1e-12)
    assert solved.led_a.tolist() == [0.4]


def test_an_led_straight_on_the_supplys_minus_has_no_drop_there() -> None:
    solved = _one_led(0.5, 0.0, 0.4)
    assert solved.gnd_v.tolist() == [0.0]
    assert solved.led_v == pytest.approx([4.8], rel=1e-12)


@pytest.mark.parametrize(
    ("feed_ohm", "share"),
    [
        # V = 5 − R I with I = 1 A · (V − 2) / (4 − 2): V = (5 + R) / (1 + R / 2), between the knee's ends.
        (1.0, 1.0),
        (2.0, (7.0 / 2.0 - 2.0) / 2.0),
        (10.0, (15.0 / 6.0 - 2.0) / 2.0),
        (100.0, (105.0 / 51.0 - 2.0) / 2.0),
    ],
)
def test_below_its_knee_an_led_draws_what_both_laws_allow(feed_ohm: float, share: float) -> None:
    solved = _one_led(feed_ohm, 0.0, 1.0, Knee(low_v=2.0, high_v=4.0))
    assert solved.led_a == pytest.approx([share], rel=1e-9)
    assert solved.led_v == pytest.approx([5.0 - feed_ohm * share], rel=1e-9)


def test_an_led_below_its_lowest_voltage_draws_nothing_and_gives_nothing_back() -> None:
    solved = _one_led(1.0, 0.0, 1.0, Knee(low_v=2.0, high_v=4.0), supply_v=1.5)
    assert solved.led_a.tolist() == [0.0]
    assert solved.led_v == pytest.approx([1.5], rel=1e-12)
    knee = Knee(low_v=2.0, high_v=4.0)
    assert knee.current_share(np.array([-9.0, 1.0, 2.0, 3.0, 4.0, 9.0])).tolist() == [
        0,
        0,
        0,
        0.5,
        1,
        1,
    ]
    assert knee.slope_per_v(np.array([1.0, 3.0, 9.0])).tolist() == [0.0, 0.5, 0.0]


def test_two_feeds_share_a_chains_current_as_its_resistances_say() -> None:
    # LED A at 0.1 Ω from the first feed, 0.3 Ω from the second: three quarters and one quarter.
    net = NetworkBuilder()
    node = net.node()
    net.resistor(0, node, 0.1)
    net.resistor(node, 0, 0.3)
    solved = solve_network(net, np.array([node]), np.array([1]), np.array([0.8]), 5.0)
    assert solved.branch_a == pytest.approx([0.6, -0.2], rel=1e-12)


@pytest.mark.parametrize("knee", [None, Knee(low_v=1.0, high_v=2.0), Knee(low_v=4.5, high_v=6.0)])
def test_the_steps_told_are_the_linear_systems_solved(
    monkeypatch: pytest.MonkeyPatch, knee: Knee | None
) -> None:
    from scipy.sparse import linalg

    solves: list[int] = []
    real = linalg.splu

    def counted(matrix: Any) -> Any:
        solves.append(1)
        return real(matrix)

    monkeypatch.setattr(linalg, "splu", counted)
    assert _one_led(0.5, 0.25, 0.4, knee).steps == len(solves)
    assert (len(solves) == 1) == (knee is None)


@pytest.mark.parametrize("ohm", [-0.1, -math.inf, math.inf, math.nan])
def test_a_resistance_no_wire_has_is_refused(ohm: float) -> None:
    with pytest.raises(MarqueeError) as caught:
        NetworkBuilder().resistor(0, 1, ohm)
    assert caught.value.where == "circuit"
    assert caught.value.what == f"a resistance is {ohm} ohm"
    assert caught.value.mend.startswith("give lengths")


def test_a_joint_without_resistance_still_tells_its_current() -> None:
    net = NetworkBuilder()
    node = net.node()
    assert net.resistor(0, node, 0.0) == 0
    solved = solve_network(net, np.array([node]), np.array([1]), np.array([10.0]), 5.0)
    # As accurate as 10 A through the joint's 1 nΩ beside 5 V in double precision: 1e-16 · 5 V / 1e-9 Ω.
    assert solved.branch_a == pytest.approx([10.0], abs=1e-6)
    assert solved.pos_v == pytest.approx([5.0], abs=2e-8)


@pytest.mark.parametrize("joined", ["nothing", "another loose piece"])
def test_a_piece_without_a_way_to_the_supply_is_refused(joined: str) -> None:
    net = NetworkBuilder()
    fed, loose = net.node(), net.node()
    net.resistor(0, fed, 0.1)
    if joined == "another loose piece":
        net.resistor(loose, net.node(), 0.1)
    with pytest.raises(MarqueeError) as caught:
        solve_network(net, np.array([loose]), np.array([1]), np.array([0.1]), 5.0)
    assert caught.value.where == "circuit"
    assert "no way to the supply" in caught.value.what
    assert caught.value.mend.startswith("give every cut piece a feed")


def test_pieces_may_hang_on_either_side_of_the_supply_and_in_either_direction() -> None:
    net = NetworkBuilder()
    plus, minus, far = net.node(), net.node(), net.node()
    net.resistor(plus, 0, 0.2)
    net.resistor(1, minus, 0.2)
    net.resistor(far, plus, 0.2)
    solved = solve_network(net, np.array([far]), np.array([minus]), np.array([0.5]), 5.0)
    assert solved.led_v == pytest.approx([5.0 - 0.6 * 0.5], rel=1e-12)
    assert solved.branch_a == pytest.approx([-0.5, -0.5, -0.5], rel=1e-12)
