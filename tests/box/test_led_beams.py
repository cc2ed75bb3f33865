"""What a placed chain says of its LEDs' beams: findings, and a cap's flux by quadrature."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from marquee.box.barriers import build_box
from marquee.box.leds import place_leds
from marquee.project import BoxSettings, LedSettings
from tests.box.factory import part, zone_map
from tests.box.test_leds import placed, two_blocks


@pytest.mark.parametrize(
    ("half_deg", "said"), [(15.0, "rings"), (78.0, "darker middle"), (45.0, "")]
)
def test_beams_unlike_a_power_of_the_cosine_are_said(half_deg: float, said: str) -> None:
    chain = placed(two_blocks(), of=replace(part(), half_angle_deg=half_deg))[2]
    messages = [f.message for f in chain.findings if f.code == "leds.beam"]
    assert (said in messages[0]) if said else not messages
    assert chain.half_angle_deg == half_deg
    assert chain.cap_gain == 1.0


def test_a_cap_bends_the_light_and_loses_none() -> None:
    # Flux of I₀ cosᵐ θ by numerical integration over the half space: the cap's is the bare LED's.
    from scipy.integrate import quad

    zones = zone_map(two_blocks())
    box = build_box(zones, BoxSettings())
    chain = place_leds(zones, box, part(), LedSettings(half_angle_deg=30.0))

    def flux(half_deg: float) -> float:
        m = -np.log(2) / np.log(np.cos(np.radians(half_deg)))
        return float(quad(lambda t: np.cos(t) ** m * np.sin(t), 0, np.pi / 2)[0])

    assert chain.half_angle_deg == 30.0
    assert chain.cap_gain * flux(30.0) == pytest.approx(flux(60.0))
