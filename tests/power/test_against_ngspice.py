"""Whole plans and odd networks, written out as a netlist and solved by ngspice where it is installed."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from marquee.power.check import Wired, as_circuit
from marquee.power.circuit import Circuit, Lead, solve_circuit
from marquee.power.ladder import build_ladder
from marquee.power.rails import Knee
from tests.power.make import make_chain

NGSPICE = shutil.which("ngspice")
pytestmark = [
    pytest.mark.native,
    pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed"),
]


def _netlist(circuit: Circuit) -> str:
    """Write the circuit as printed resistors and current sources; pad k is node Pk / Gk, LED k Lk / Mk."""
    count = circuit.count
    share = np.full(count + 1, 0.5) if circuit.pad_share is None else circuit.pad_share
    deck = ["circuit", f"V1 sup 0 {circuit.supply_v}"]
    plus, minus = "sup", "0"
    if circuit.trunk is not None:
        plus, minus = "tp", "tg"
        deck += [
            f"RT1 sup tp {circuit.trunk.ohm + circuit.trunk.extra_ohm_pos!r}",
            f"RT2 tg 0 {circuit.trunk.ohm!r}",
        ]
    for name, led, ohms in (
        ("P", "L", circuit.segment_pos_ohm),
        ("G", "M", circuit.segment_gnd_ohm),
    ):
        for k in range(count + 1):
            before = float(ohms[k] * (share[k] if 0 < k < count else 1.0))
            after = float(ohms[k] * (1 - share[k] if 0 < k < count else 1.0))
            if k > 0 and not (name == "P" and k in circuit.cuts):
                deck.append(f"R{name}{k}a {led}{k - 1} {name}{k} {before!r}")
            if k < count:
                deck.append(f"R{name}{k}b {name}{k} {led}{k} {after!r}")
    for i, (after_leds, lead) in enumerate(circuit.feeds):
        deck.append(f"RF{i}p {plus} P{after_leds} {lead.ohm + lead.extra_ohm_pos!r}")
        deck.append(f"RF{i}g G{after_leds} {minus} {lead.ohm!r}")
    for k, amps in enumerate(circuit.led_a):
        if circuit.knee is None:
            deck.append(f"I{k} L{k} M{k} {float(amps)!r}")
        else:
            low, span = circuit.knee.low_v, circuit.knee.high_v - circuit.knee.low_v
            deck.append(
                f"B{k} L{k} M{k} I={float(amps)!r}*min(1,max(0,(V(L{k})-V(M{k})-{low!r})/{span!r}))"
            )
    deck += [
        ".options reltol=1e-9 abstol=1e-13 vntol=1e-10 gmin=1e-15 itl1=1000",
        ".control",
        "set numdgt=12",
        "op",
        *(f"print v(l{k})-v(m{k})" for k in range(count)),
        ".endc",
        ".end",
    ]
    return "\n".join(deck) + "\n"


def _ngspice_led_v(circuit: Circuit, folder: Path) -> NDArray[np.float64]:
    deck = folder / "deck.cir"
    deck.write_text(_netlist(circuit), encoding="ascii")
    assert NGSPICE is not None
    done = subprocess.run(
        [NGSPICE, "-b", str(deck)], capture_output=True, text=True, check=False, timeout=120
    )
    values = re.findall(r"v\(l\d+\)-v\(m\d+\) = ([-+.\deE]+)", done.stdout)
    assert len(values) == circuit.count, done.stdout[-2000:] + done.stderr[-2000:]
    return np.array(values, dtype=np.float64)


def _rows_with_jumpers() -> Circuit:
    ladder = build_ladder(make_chain(96, rows=8), 0.37, 0.0366)
    pads = np.array([0, 48, 96])
    wired = Wired(
        ladder=ladder,
        led_a=np.linspace(0.01, 0.05, 96),
        rail_v=5.0,
        pads=pads,
        lead_ohm=(np.array([0.05, 0.07, 0.06]), np.array([0.03, 0.05, 0.04])),
    )
    return as_circuit(wired, None)


def _two_supplies() -> Circuit:
    segment = np.full(101, 0.0031)
    return Circuit(
        supply_v=5.0,
        led_a=np.full(100, 0.06),
        segment_pos_ohm=segment,
        segment_gnd_ohm=segment,
        feeds=((20, Lead(ohm=0.03, extra_ohm_pos=0.01)), (80, Lead(ohm=0.06, extra_ohm_pos=0.01))),
        cuts=(45,),
    )


def _trunk_and_knee() -> Circuit:
    segment = np.full(81, 0.0062)
    return Circuit(
        supply_v=5.0,
        led_a=np.full(80, 0.05),
        segment_pos_ohm=segment,
        segment_gnd_ohm=2 * segment,
        feeds=((0, Lead(ohm=0.02)), (30, Lead(ohm=0.04, extra_ohm_pos=0.02))),
        trunk=Lead(ohm=0.05, extra_ohm_pos=0.01),
        knee=Knee(low_v=2.5, high_v=4.1),
    )


@pytest.mark.parametrize("make", [_rows_with_jumpers, _two_supplies, _trunk_and_knee])
def test_network_agrees_with_ngspice_to_a_microvolt(make: object, tmp_path: Path) -> None:
    circuit = make()  # type: ignore[operator]
    solution, _ = solve_circuit(circuit)
    np.testing.assert_allclose(
        solution.led_v, _ngspice_led_v(circuit, tmp_path), rtol=0, atol=1e-6
    )
