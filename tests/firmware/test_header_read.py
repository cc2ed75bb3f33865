"""A header read back is compared with the plan; edits and stale files are told apart."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from marquee.errors import InputError
from marquee.outputs import header as header_module
from marquee.outputs.header import header_text
from marquee.outputs.header_read import (
    HeaderProofError,
    check_header,
    named_as_identifiers,
    prove,
    read_header,
)
from tests.firmware.factory import Sign, clocked, four_channels, make_plan


@pytest.mark.parametrize(
    "sign",
    [Sign(), Sign(spread=True), clocked(), four_channels(prefix="LEFT_SIGN", spread=True)],
    ids=["rgb", "spread", "clocked", "rgbw"],
)
def test_header_reads_back_as_the_plans_constants(sign: Sign) -> None:
    plan = make_plan(sign)
    text = header_text(plan)
    assert read_header(text).constants == named_as_identifiers(plan.constants)
    assert check_header(text, plan) == ()


@given(
    st.lists(st.integers(-1, 4), min_size=1, max_size=200).filter(lambda zones: max(zones) >= 0)
)
def test_any_order_of_zones_along_the_chain_reads_back(zones: list[int]) -> None:
    plan = make_plan(Sign(zone_of_led=tuple(zones)))
    read = read_header(header_text(plan)).constants
    assert {
        led: zone.zone
        for zone in read.zones
        for first, count in zone.runs
        for led in range(first, first + count)
    } == {led: zone for led, zone in enumerate(zones) if zone >= 0}


def test_text_is_ascii_undated_and_the_same_each_time() -> None:
    texts = {header_text(make_plan(Sign(names=("é", "火", "c", "d", "e")))) for _ in range(2)}
    assert len(texts) == 1
    text = texts.pop()
    assert text.isascii()
    assert text.endswith("*/\n")
    assert max(map(len, text.splitlines())) <= 120
    assert not re.search(r"\b20\d\d-\d\d-\d\d\b|[ \t]$|//|\\$", text, re.MULTILINE)


def test_provenance_names_tool_artwork_digest_and_part_but_no_folder() -> None:
    plan = make_plan(Sign(file="/home/someone/art/lantern hall.png"))
    text = header_text(plan)
    for word in ("marquee 0.", "lantern hall.png", plan.artwork.sha256, "test-part"):
        assert word in text
    assert "someone" not in text


@pytest.mark.parametrize(
    "spoil",
    [
        lambda t: t.replace("\n", "\r\n"),
        lambda t: t.replace(" = {\n", " = {   \n").replace("u  ", "u\t"),
        lambda t: "#include <x.h>\n" + t + "int main(void) { return 0; } // MARQUEE_LED_COUNT\n",
    ],
    ids=["windows-line-ends", "tabs-and-blanks", "pasted"],
)
def test_a_header_an_editor_went_over_still_reads_the_same(spoil: Callable[[str], str]) -> None:
    plan = make_plan()
    assert check_header(spoil(header_text(plan)), plan) == ()


NUMBERS = (
    "R2_FIRST", "LIMIT_MA", "CAP_255", "T1H_NS", "LATCH_US", "HUE_STEP_MS", "DARK_UA", "FRAME_US", "FRAME_BYTES",
    "LED_FULL_UA", "PLANNED_MA", "WORST_MA", "CLOCK_HZ",
)  # fmt: skip


@pytest.mark.parametrize("name", NUMBERS)
def test_an_edited_number_is_found(name: str) -> None:
    plan = make_plan()
    edited = re.sub(
        rf"(#define MARQUEE_{name}) (\d+)", lambda m: f"{m[1]} {int(m[2]) + 1}", header_text(plan)
    )
    assert edited != header_text(plan)
    assert check_header(edited, plan)


@pytest.mark.parametrize(
    ("old", "new"),
    [("{ 214u, 9u,", "{ 214u, 8u,"), (" 255u\n};", " 254u\n};"), ("1u, 0u, 2u", "0u, 1u, 2u")],
)
def test_an_edited_table_is_told_from_a_stale_one(old: str, new: str) -> None:
    plan = make_plan()
    text = header_text(plan)
    assert old in text
    differences = check_header(text.replace(old, new, 1), plan)
    assert "edited by hand" in differences[0]
    assert len(differences) == 2


def test_a_stale_header_is_not_called_edited() -> None:
    old = header_text(make_plan())
    new_codes = ((214, 9, 4), *Sign().codes[1:])
    differences = check_header(old, make_plan(Sign(codes=new_codes)))
    assert differences == ("zone 0 EMBLEM_RED: codes (214, 9, 3), the plan's (214, 9, 4)",)


def test_a_header_of_another_sign_is_told_by_its_counts() -> None:
    other = make_plan(
        Sign(zone_of_led=(0, 1), names=("a", "b"), cycling=(), codes=((1, 2, 3),) * 2)
    )
    differences = check_header(header_text(make_plan()), other)
    assert "led_count is 59, the plan's 2" in differences
    assert "zones has 5 rows, the plan's 2" in differences


def test_differences_of_one_table_are_counted() -> None:
    plan = make_plan()
    text = header_text(plan).replace("251u, 253u, 255u", "252u, 254u, 255u")
    assert any(
        "gamma_codes[253] is 252, the plan's 251 (and 1 more)" in d
        for d in check_header(text, plan)
    )


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", "not a constants header"),
        ("#ifndef X_CONSTANTS_H\n", "missing"),
        ("binary \x00", "not a constants header"),
    ],
)
def test_other_text_is_refused_in_one_line(text: str, what: str) -> None:
    with pytest.raises(InputError, match=what) as caught:
        read_header(text, "mine.h")
    assert str(caught.value).startswith("mine.h: ")
    assert "\n" not in str(caught.value)


@given(st.data())
def test_a_damaged_header_is_refused_or_read_but_never_crashes(data: st.DataObject) -> None:
    text = header_text(make_plan(Sign(hues=2)))
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, min(len(text), start + 200)))
    damaged = text[:start] + data.draw(st.text(max_size=20)) + text[end:]
    prefix, mend = "", ""
    try:
        prefix = read_header(damaged).prefix
    except InputError as error:
        mend = error.mend
    assert prefix or mend


def test_a_wrong_header_of_our_own_is_never_handed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = make_plan()
    monkeypatch.setattr(header_module, "wire_order", lambda _: (0, 1, 2))
    with pytest.raises(HeaderProofError, match="byte_order"):
        header_text(plan)


def test_proof_compares_with_the_plan_and_not_with_the_text_itself() -> None:
    plan = make_plan()
    other = replace(
        plan,
        constants=replace(plan.constants, current_limit_ma=plan.constants.current_limit_ma - 1),
    )
    with pytest.raises(HeaderProofError, match="current_limit_ma"):
        prove(header_text(plan), other)


@pytest.mark.parametrize(
    "line", ["/* " + "x" * 120 + " */", "/* blank at the end */ ", "/* caf\u00e9 */", "\ufeff"]
)
def test_proof_refuses_lines_no_compiler_or_editor_should_meet(line: str) -> None:
    plan = make_plan()
    with pytest.raises(HeaderProofError, match="plain ASCII of at most 120 columns"):
        prove(header_text(plan) + line + "\n", plan)
