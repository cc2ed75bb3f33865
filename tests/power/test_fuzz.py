"""Whatever is typed, the answer is a solution or one refusal, never a crash."""

from __future__ import annotations

import functools
import json
import math
from collections.abc import Callable
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from marquee.errors import MarqueeError
from marquee.power.circuit import solve_json
from marquee.power.supply import parse_supply
from marquee.power.wire import wire_named

BASE: dict[str, Any] = {
    "supply_v": 5.0,
    "n_leds": 6,
    "pitch_m": 0.02,
    "end_pad_pitches": 0.5,
    "rail_pos_ohm_per_m": 0.2,
    "rail_gnd_ohm_per_m": 0.2,
    "i_led_a": 0.02,
    "sink": {"kind": "constant"},
    "feeds": [{"at": "start", "ohm_per_m_20c": 0.02, "length_m": 1.0}],
    "trunk": None,
    "jumpers": [],
}
ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-3, 12),
    st.floats(),
    st.text(max_size=8),
    st.lists(st.one_of(st.floats(), st.text(max_size=3)), max_size=7),
    st.dictionaries(
        st.sampled_from(
            ["at", "after", "kind", "v_lo", "v_hi", "length_m", "ohm_per_m_20c", "ohm"]
        ),
        st.one_of(
            st.floats(), st.integers(-2, 9), st.sampled_from(["start", "end", "knee", "after 3"])
        ),
        max_size=4,
    ),
)


def _outcome(read: Callable[[], Any]) -> tuple[Any, MarqueeError | None]:
    """Return the answer or the refusal; anything else that is raised fails the test."""
    try:
        return read(), None
    except MarqueeError as error:
        return None, error


@given(
    changes=st.dictionaries(
        st.sampled_from(sorted(BASE)), st.one_of(ODD, st.lists(ODD, max_size=3))
    )
)
@settings(max_examples=300, deadline=None)
def test_any_circuit_is_solved_or_refused(changes: dict[str, Any]) -> None:
    result, error = _outcome(lambda: solve_json({**BASE, **changes}))
    if error is None:
        assert all(math.isfinite(v) for v in result["v_led"])
        assert json.dumps(result, allow_nan=False)
    else:
        assert "\n" not in str(error)
        assert error.mend


@given(text=st.text(max_size=30))
def test_any_supply_and_any_wire_is_read_or_refused(text: str) -> None:
    for read in (parse_supply, functools.partial(wire_named, where="power.wire_size")):
        found, error = _outcome(functools.partial(read, text))
        assert (found is None) != (error is None)
        assert "\n" not in str(error)
