"""What each zone's LEDs draw as planned, against Kirchhoff's current law and a sum by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from marquee.power.design import plan_power
from marquee.project import PowerSettings
from marquee.values import Drive
from tests.power.make import make_chain, make_drive, make_part, zone_drive

CODES = st.lists(st.tuples(*[st.integers(0, 255)] * 3), min_size=1, max_size=4)


def driven(codes: list[tuple[int, int, int]]) -> Drive:
    return make_drive(tuple(zone_drive(zone, bytes_) for zone, bytes_ in enumerate(codes)))


def test_a_zones_current_is_its_leds_times_channels_and_dark_current() -> None:
    # By hand: 12 mA a channel, linear response, 1 mA dark; 60 LEDs of two zones.
    chain = make_chain(60, zones=2)
    power = plan_power(chain, make_part(), driven([(255, 0, 0), (51, 51, 51)]), PowerSettings())
    counts = [int((chain.zone == zone).sum()) for zone in (0, 1)]
    assert dict(power.zones_planned_a) == pytest.approx(
        {0: counts[0] * 0.013, 1: counts[1] * (0.2 * 0.036 + 0.001)}, rel=1e-12
    )


def test_leds_of_no_zone_draw_their_dark_current() -> None:
    chain = make_chain(30)
    zone = chain.zone.copy()
    zone[20:] = -1
    dark = replace(chain, zone=zone)
    power = plan_power(dark, make_part(), driven([(9, 9, 9)]), PowerSettings())
    assert dict(power.zones_planned_a)[-1] == pytest.approx(10 * 0.001, rel=1e-12)


@given(codes=CODES)
def test_currents_of_zones_and_other_loads_are_the_whole(
    codes: list[tuple[int, int, int]],
) -> None:
    chain = make_chain(48, zones=len(codes))
    power = plan_power(chain, make_part(), driven(codes), PowerSettings())
    whole = sum(amps for _, amps in power.zones_planned_a) + power.extra_a
    assert whole == pytest.approx(power.planned_a, rel=1e-9)


def test_without_bytes_no_zone_has_a_planned_current() -> None:
    assert plan_power(make_chain(10), make_part(), None, PowerSettings()).zones_planned_a == ()
