"""A chain of LEDs between two rails with feeds, trunk and jumpers, from a plain description.

The description is a JSON-like table: ``supply_v``, ``n_leds``, ``pitch_m``, ``end_pad_pitches`` (rail
between the feed pad and the first LED), ``rail_pos_ohm_per_m``, ``rail_gnd_ohm_per_m``, ``i_led_a`` (one
number or one per LED), ``sink`` (``{"kind": "constant"}`` or ``{"kind": "knee", "v_lo": …, "v_hi": …}``),
``feeds``, ``trunk`` and ``jumpers``. A feed has ``at`` (``start``, ``end``, ``middle`` or ``after N``) and a
wire: ``ohm_per_m_20c``, ``length_m``, ``conductor_c`` (or plain ``ohm`` of each conductor), ``extra_ohm_pos`` (fuse and
holder). The trunk is a wire all feeds share. A jumper has ``after`` N (or ``between`` [N, N + 1]) and a wire, in series
with the rail there, or instead of it with ``"replaces_rail": true``. LEDs count from 1. Keys nobody reads are refused.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from marquee.errors import InputError
from marquee.power.rails import Knee, NetworkBuilder, Solution, solve_network
from marquee.power.wire import copper_factor

_WHERE = "circuit"
_MOST_LEDS = 100_000
# Larger volts, amperes, ohms and metres are slips of the keyboard, and would overflow the solve.
_LARGEST = 1e6
_PLACE_KEYS = ("at", "after", "after_led", "between")
_WIRE_KEYS = (
    *_PLACE_KEYS,
    *("ohm_per_m_20c", "ohm_per_m", "length_m", "length_mm", "conductor_c", "ohm", "loop_ohm"),
    *("extra_ohm_pos", "extra_ohm_gnd", "ohm_pos", "ohm_gnd"),
    *("size", "wire", "name", "note", "replaces_rail"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lead:
    """A wire pair: resistance of one conductor at its temperature, and what each side has more [Ω]."""

    ohm: float
    extra_ohm_pos: float = 0.0
    extra_ohm_gnd: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Circuit:
    """A chain as resistors. `after` of a feed counts the LEDs before its pad: 0 start, n end."""

    supply_v: float
    led_a: NDArray[np.float64]
    segment_pos_ohm: NDArray[np.float64]  # (leds + 1,) start pad, between neighbours, end pad
    segment_gnd_ohm: NDArray[np.float64]
    feeds: tuple[tuple[int, Lead], ...]
    trunk: Lead | None = None
    knee: Knee | None = None
    cuts: tuple[int, ...] = ()  # plus rail cut after this many LEDs
    pad_share: NDArray[np.float64] | None = (
        None  # (leds + 1,) of a segment before its pad; half if None
    )

    @property
    def count(self) -> int:
        """Number of LEDs."""
        return len(self.led_a)


def solve_circuit(circuit: Circuit) -> tuple[Solution, NDArray[np.float64]]:
    """Return the solution and each feed's current [A] (feeds,), exact to rounding."""
    net = NetworkBuilder()
    pos_source, gnd_source = 0, 1
    if circuit.trunk is not None:
        pos_source, gnd_source = net.node(), net.node()
        net.resistor(0, pos_source, circuit.trunk.ohm + circuit.trunk.extra_ohm_pos)
        net.resistor(gnd_source, 1, circuit.trunk.ohm + circuit.trunk.extra_ohm_gnd)
    pads = {after for after, _ in circuit.feeds} | set(circuit.cuts)
    share = np.full(circuit.count + 1, 0.5) if circuit.pad_share is None else circuit.pad_share
    led_pos, pad_pos = _rail(net, (circuit.segment_pos_ohm, share), pads, frozenset(circuit.cuts))
    led_gnd, pad_gnd = _rail(net, (circuit.segment_gnd_ohm, share), pads, frozenset())
    branches = []
    for after, lead in circuit.feeds:
        branches.append(net.resistor(pos_source, pad_pos[after], lead.ohm + lead.extra_ohm_pos))
        net.resistor(pad_gnd[after], gnd_source, lead.ohm + lead.extra_ohm_gnd)
    solution = solve_network(net, led_pos, led_gnd, circuit.led_a, circuit.supply_v, circuit.knee)
    return solution, solution.branch_a[branches]


def _rail(
    net: NetworkBuilder,
    segment: tuple[NDArray[np.float64], NDArray[np.float64]],
    pads: set[int],
    cuts: frozenset[int],
) -> tuple[NDArray[np.int64], dict[int, int]]:
    """Lay one rail (ohms, share before the pad): LED nodes, and pad nodes where wires join."""
    segment_ohm, share = segment
    count = len(segment_ohm) - 1
    nodes = np.empty(count, dtype=np.int64)
    pad_node: dict[int, int] = {}
    last: int | None = None
    for k in range(count + 1):
        ohm = float(segment_ohm[k])
        if k in pads:
            pad_node[k] = net.node()
            before = ohm * float(share[k]) if 0 < k < count else ohm
            if last is not None and k not in cuts:
                net.resistor(last, pad_node[k], before)
            last, ohm = pad_node[k], ohm - before if 0 < k < count else ohm
        if k == count:
            break
        nodes[k] = net.node()
        if last is not None:
            net.resistor(last, int(nodes[k]), ohm)
        last = int(nodes[k])
    return nodes, pad_node


def circuit_from_json(raw: dict[str, Any]) -> Circuit:
    """Return the circuit of a description; a whole case file (with ``inputs``) is taken too.

    Raises
    ------
    InputError
        A key is missing, unreadable, negative or out of range.
    """
    table = raw.get("inputs", raw)
    if not isinstance(table, dict):
        raise InputError(_WHERE, "is not a table", 'write {"supply_v": 5.0, "n_leds": …}')
    count = _count(table)
    pitch_m = _number(table, "pitch_m")
    end_pitches = _number(table, "end_pad_pitches", default=0.5)
    pos, gnd = (
        _segments(table, key, count, pitch_m, end_pitches)
        for key in ("rail_pos_ohm_per_m", "rail_gnd_ohm_per_m")
    )
    for jumper in _rows(table, "jumpers"):
        lead = _lead(jumper)
        after = _place(jumper, count)
        if not 0 < after < count:
            raise InputError(
                _WHERE, f"a jumper after LED {after} joins nothing", "place it inside"
            )
        if jumper.get("replaces_rail") is True:
            pos[after] = gnd[after] = 0.0
        pos[after] += lead.ohm + lead.extra_ohm_pos
        gnd[after] += lead.ohm + lead.extra_ohm_gnd
    feeds = tuple((_place(feed, count), _lead(feed)) for feed in _rows(table, "feeds"))
    if not feeds:
        raise InputError(
            _WHERE, "has no feed", 'add "feeds": [{"at": "start", "length_m": 1.0, …}]'
        )
    trunk = table.get("trunk")
    return Circuit(
        supply_v=_number(table, "supply_v"),
        led_a=_currents(table, count),
        segment_pos_ohm=pos,
        segment_gnd_ohm=gnd,
        feeds=feeds,
        trunk=None if trunk is None else _lead(trunk),
        knee=_knee(table),
    )


def solve_json(raw: dict[str, Any]) -> dict[str, Any]:
    """Return the voltages and currents of a description as plain numbers; LEDs count from 1."""
    circuit = circuit_from_json(raw)
    solution, feed_a = solve_circuit(circuit)
    led_v = solution.led_v
    lowest = float(np.min(led_v))
    result: dict[str, Any] = {
        "v_pos": solution.pos_v.tolist(),
        "v_gnd": solution.gnd_v.tolist(),
        "v_led": led_v.tolist(),
        "feed_a": feed_a.tolist(),
        "total_a": float(np.sum(solution.led_a)),
        "v_led_min": lowest,
        "v_led_min_at": int(np.argmin(led_v)) + 1,
        # Symmetric chains tie: within what rounding leaves.
        "v_led_min_ties": [int(k) + 1 for k in np.flatnonzero(led_v <= lowest + 1e-9)],
        "v_led_max": float(np.max(led_v)),
        "power_supply_w": circuit.supply_v * float(np.sum(solution.led_a)),
        "power_led_w": float(led_v @ solution.led_a),
    }
    if circuit.knee is not None:
        result["i_led_actual_a"] = solution.led_a.tolist()
        result["below_knee"] = int(np.count_nonzero(led_v < circuit.knee.high_v))
    return result


def _count(table: dict[str, Any]) -> int:
    number = _number(table, "n_leds", least=1)
    if number != int(number) or number > _MOST_LEDS:
        raise InputError(
            _WHERE,
            f"n_leds = {number:g} is no number of LEDs",
            f"give a whole number to {_MOST_LEDS}",
        )
    return int(number)


def _segments(
    table: dict[str, Any], key: str, count: int, pitch_m: float, end_pitches: float
) -> NDArray[np.float64]:
    ohm = np.full(count + 1, _number(table, key) * pitch_m)
    ohm[[0, -1]] *= end_pitches
    return ohm


def _currents(table: dict[str, Any], count: int) -> NDArray[np.float64]:
    value = table.get("i_led_a")
    try:
        each = np.broadcast_to(np.asarray(value, dtype=np.float64), (count,)).copy()
    except (TypeError, ValueError):
        raise InputError(
            _WHERE, "i_led_a is not one number or one per LED", f"give {count} numbers in A"
        ) from None
    if not np.all((each >= 0) & (each <= _LARGEST)):
        raise InputError(
            _WHERE,
            "i_led_a has a negative, absurd or no number",
            "give currents of 0 or more in A",
        )
    return each


def _knee(table: dict[str, Any]) -> Knee | None:
    sink = table.get("sink") or {"kind": "constant"}
    kind = sink.get("kind") if isinstance(sink, dict) else sink
    if kind == "constant":
        return None
    if kind != "knee":
        raise InputError(_WHERE, f"sink kind {kind!r} is unknown", "write constant or knee")
    low_v, high_v = _number(sink, "v_lo"), _number(sink, "v_hi")
    if high_v <= low_v:
        raise InputError(_WHERE, f"knee v_hi {high_v:g} is not above v_lo {low_v:g}", "swap them")
    return Knee(low_v=low_v, high_v=high_v)


def _rows(table: dict[str, Any], key: str) -> list[dict[str, Any]]:
    rows = table.get(key) or []
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise InputError(_WHERE, f"{key} is not a list of tables", f'write "{key}": [{{…}}]')
    return rows


def _lead(row: dict[str, Any]) -> Lead:
    if not isinstance(row, dict):
        raise InputError(_WHERE, "the trunk is not a table", 'write "trunk": {"length_m": …}')
    unknown = [key for key in row if key not in _WIRE_KEYS]
    if unknown:
        raise InputError(
            _WHERE, f"'{unknown[0]}' of a wire is not known", f"use {', '.join(_WIRE_KEYS)}"
        )
    per_m = _number(row, "ohm_per_m_20c", default=_number(row, "ohm_per_m", default=0.0))
    length_m = _number(row, "length_m", default=_number(row, "length_mm", default=0.0) / 1000)
    conductor_c = _number(row, "conductor_c", default=20.0, least=-200)
    more_ohm = _number(row, "ohm", default=_number(row, "loop_ohm", default=0.0) / 2)
    return Lead(
        ohm=more_ohm + per_m * length_m * copper_factor(conductor_c),
        extra_ohm_pos=_number(row, "extra_ohm_pos", default=_number(row, "ohm_pos", default=0.0)),
        extra_ohm_gnd=_number(row, "extra_ohm_gnd", default=_number(row, "ohm_gnd", default=0.0)),
    )


def _place(row: dict[str, Any], count: int) -> int:
    at = next((row[key] for key in _PLACE_KEYS if key in row), None)
    if isinstance(at, list) and len(at) == 2 and isinstance(at[0], int) and at[1] == at[0] + 1:
        at = at[0]
    named = {"start": 0, "end": count, "middle": count // 2, "mid": count // 2}
    if isinstance(at, str) and at in named:
        return named[at]
    match = re.fullmatch(r"(?:after\s+)?(\d+)", f"{at}")
    after = int(match[1]) if match else -1
    if not 0 <= after <= count:
        raise InputError(
            _WHERE,
            f"place {at!r} is not on the chain",
            f'write start, end or "after N", N to {count}',
        )
    return after


def _number(
    table: dict[str, Any], key: str, *, default: float | None = None, least: float = 0.0
) -> float:
    value = table.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or not np.isfinite(value):
        raise InputError(_WHERE, f"{key} = {value!r} is not a number", f'give "{key}" as a number')
    if not least <= value <= _LARGEST:
        limit = f"below {least:g}" if value < least else f"above {_LARGEST:g}"
        raise InputError(_WHERE, f"{key} = {value:g} is {limit}", "correct that value")
    return float(value)
