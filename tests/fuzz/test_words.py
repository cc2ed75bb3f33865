"""Single words a maker types: colours, lengths, currents, shares, whites, supplies, and every setting."""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from marquee.colour.adapt import parse_white
from marquee.colour.target import target_from_text
from marquee.errors import MarqueeError, printable
from marquee.power.supply import parse_supply
from marquee.power.wire import wire_named
from marquee.project import Project, make_project
from marquee.project_words import section_keys
from marquee.units import parse_current_a, parse_fraction, parse_length_mm
from marquee.values import TargetColour

WORDS: dict[str, tuple[Callable[[str], Any], tuple[str, ...]]] = {
    "length": (lambda t: parse_length_mm(t, "--width"), ("380mm", "15in", '15"', "0.38 m", "1e3mm")),
    "current": (lambda t: parse_current_a(t, "--extra"), ("0.5A", "350 mA", "2")),
    "share": (lambda t: parse_fraction(t, "--brightness"), ("30%", "0.3", "1e-9%")),
    "white": (lambda t: parse_white(t, "--white"), ("D65", "5000K", "0.31,0.33", "d50")),
    "supply": (lambda t: parse_supply(t, "--supply"), ("5V/4A", "12 V / 2.5 A")),
    "wire": (lambda t: wire_named(t, "power.wire_size"), ("18AWG", "1.5mm2", "awg 20", "0,75 mm²")),
    "colour": (
        lambda t: target_from_text(t, "x", "--palette"),
        (
            *("#d6402b", "#abc", "rgb(214 64 43)", "rgb(84% 25% 17%)", "hsl(7 67% 50%)", "red"),
            *("hwb(7 17% 16%)", "lab(48% 62 43)", "lch(48% 75 35deg)", "oklab(58% 0.16 0.09)"),
            *("oklch(58% 0.19 30)", "color(display-p3 0.78 0.29 0.21)", "color(xyz-d50 .2 .3 .1)"),
            *("rgb(1 2 3 / 50%)", "hsl(calc(7) 1% 2%)", "lab(none 0 0)", "rgb(1e400 0 0)"),
        ),
    ),
}  # fmt: skip
_PIECES = (
    *(
        "0",
        "-",
        "+",
        ".",
        ",",
        "e9",
        "e-400",
        "e400",
        "nan",
        "inf",
        "∞",
        "%",
        "mm",
        "in",
        '"',
        "″",
    ),
    *("V", "A", "mA", "AWG", "mm2", "K", "#", "(", ")", "/", " ", "none", "deg", "turn", "from "),
    *(
        "rgb",
        "lab(",
        "oklch(",
        "color(",
        "color-mix(in lab, red, blue)",
        "\0",
        "\n",
        "\u202e",
        "٣",
    ),
    *("9" * 400, "½", "ｍｍ", "e", "E+", "--"),
)


@st.composite
def _misspelt(draw: st.DrawFn, right: tuple[str, ...]) -> str:
    word = draw(st.sampled_from(right))
    for _ in range(draw(st.integers(0, 3))):
        at = draw(st.integers(0, len(word)))
        end = min(len(word), at + draw(st.integers(0, 3)))
        word = word[:at] + draw(st.sampled_from(_PIECES) | st.text(max_size=3)) + word[end:]
    return word


def _numbers_of(value: object) -> list[float]:
    if isinstance(value, float | int):
        return [float(value)]
    if isinstance(value, tuple):
        return [n for part in value for n in _numbers_of(part)]
    if isinstance(value, TargetColour):
        return [*value.xyz, *value.lab_d65]
    return []


@pytest.mark.parametrize("kind", WORDS)
@given(data=st.data())
@settings(suppress_health_check=[HealthCheck.too_slow])
def test_a_misspelt_word_is_read_as_finite_or_refused(kind: str, data: st.DataObject) -> None:
    read, right = WORDS[kind]
    word = data.draw(_misspelt(right) | st.text(max_size=40))
    try:
        value = read(word)
    except MarqueeError as error:
        refused: MarqueeError | None = error
        value = None
    else:
        refused = None
    if refused is None:
        assert all(math.isfinite(number) for number in _numbers_of(value))
    else:
        assert str(refused).isprintable()
        assert refused.where
        assert refused.mend


_ODD: st.SearchStrategy[Any] = st.recursive(
    st.one_of(
        st.booleans(),
        st.integers(),
        st.sampled_from([10**400, 2**63, 1e308, -0.0]),
        st.floats(),
        st.text(max_size=20),
        st.sampled_from([word for _, right in WORDS.values() for word in right]),
        st.dates(),
        st.just(dt.time(7, 32)),
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)  # fmt: skip
_KEYS = sorted(
    {
        (name, key)
        for name, info in Project.model_fields.items()
        if isinstance(info.annotation, type) and issubclass(info.annotation, BaseModel)
        for key in section_keys(info.annotation)
    }
)


@given(
    changes=st.lists(
        st.tuples(st.sampled_from(_KEYS) | st.tuples(st.text(max_size=8), st.text(max_size=8)), _ODD),
        min_size=1,
        max_size=4,
    ),
    section=st.none() | st.tuples(st.sampled_from(sorted(Project.model_fields)), _ODD),
)  # fmt: skip
@settings(max_examples=300, suppress_health_check=[HealthCheck.too_slow])
def test_any_settings_validate_or_are_refused_by_key(
    changes: list[tuple[tuple[str, str], Any]], section: tuple[str, Any] | None
) -> None:
    raw: dict[str, Any] = {"artwork": {"file": "sign.png", "width": "80mm"}}
    for (name, key), value in changes:
        raw.setdefault(name, {})[key] = value
    if section is not None:
        raw[section[0]] = section[1]
    refused: MarqueeError | None = None
    project: Project | None = None
    try:
        project = make_project(raw, "sign.toml")
    except MarqueeError as error:
        refused = error
    if refused is None:
        assert project is not None
        numbers = json.loads(project.model_dump_json(), parse_constant=float)
        assert json.dumps(numbers, allow_nan=False)  # what plan.json will hold
        return
    assert str(refused).isprintable()
    assert refused.where == "sign.toml"
    named = {name for (name, _), _ in changes} | {key for (_, key), _ in changes}
    named |= {section[0]} if section else set()
    assert any(printable(word) in refused.what for word in named)


def test_a_setting_out_of_range_names_its_key_and_value() -> None:
    with pytest.raises(MarqueeError, match=r"sign\.toml: power\.cabinets: 5000 .*1000"):
        make_project(
            {"artwork": {"file": "a", "width": "1mm"}, "power": {"cabinets": 5000}}, "sign.toml"
        )
