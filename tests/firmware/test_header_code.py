"""Edits of a header that leave every value alone are found too, and an editor's habits are not."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from marquee.outputs.header import header_text
from marquee.outputs.header_code import code_differences
from marquee.outputs.header_read import check_header
from tests.firmware.factory import Sign, clocked, make_plan

MADE = header_text(make_plan())


@pytest.mark.parametrize(
    "spoil",
    [
        lambda t: t.replace("\n", "\r\n"),
        lambda t: "\ufeff" + t,
        lambda t: t.replace("  ", "\t").replace(" = {\n", " = {   \n"),
        lambda t: re.sub(r"/\*.*?\*/", "", t, flags=re.DOTALL),
        lambda t: "#include <x.h>\n" + t + "int main(void) { return 0; } // MARQUEE\n",
        lambda t: t + t,
    ],
    ids=["windows", "byte-order-mark", "tabs", "no-comments", "pasted", "twice"],
)
def test_what_editors_do_is_no_difference(spoil: Callable[[str], str]) -> None:
    assert code_differences(spoil(MADE), MADE) == ()


EDITS = {
    "reads flash as bytes": ("GET16(address) pgm_read_word", "GET16(address) pgm_read_byte"),
    "assertion left out": ("MARQUEE_ASSERT(run_bytes, sizeof(MARQUEE_RUN) == 4);\n", ""),
    "accessor of another row": ("ZONES[z].drive[c]", "ZONES[0].drive[c]"),
    "table out of flash": ("MARQUEE_GAMMA[] MARQUEE_FLASH", "MARQUEE_GAMMA[]"),
    "wider field": ("uint16_t first; /* LED */", "uint32_t first;"),
    "suffix lost": ("LIMIT_MA 2259UL", "LIMIT_MA 2259"),
}


@pytest.mark.parametrize("edit", EDITS.values(), ids=EDITS)
def test_an_edit_that_keeps_every_value_is_told_with_its_line(edit: tuple[str, str]) -> None:
    assert edit[0] in MADE
    edited = MADE.replace(*edit, 1)
    found = code_differences("\n\n" + edited, MADE)
    assert len(found) == 1
    line = int(found[0].split(":")[0].removeprefix("line "))
    # The first word that differs stands on the edited line, or on the next where the line itself is gone.
    at = MADE[: MADE.index(edit[0])].count("\n") + 1 + 2
    assert line - at in {0, 1}


def test_a_value_test_alone_would_have_missed_a_flash_macro() -> None:
    plan = make_plan()
    edited = MADE.replace("GET16(address) pgm_read_word", "GET16(address) pgm_read_byte", 1)
    assert check_header(edited, plan) == ()
    assert code_differences(edited, MADE)


def test_a_cut_or_foreign_text_is_told() -> None:
    cut = MADE[: MADE.index("#define", len(MADE) // 2)]
    assert "ends before" in code_differences(cut, MADE)[0]
    assert "guard" in code_differences("int main(void) { return 0; }", MADE)[0]


@given(at=st.integers(0, len(MADE) - 1), sign=st.sampled_from("xX7;(+"))
@settings(max_examples=200, deadline=None)
def test_one_sign_more_in_the_code_never_passes(at: int, sign: str) -> None:
    edited = MADE[:at] + sign + MADE[at:]
    inside = any(
        m.start() < at < m.end() for m in re.finditer(r"/\*.*?\*/", MADE, flags=re.DOTALL)
    )
    before = at <= MADE.index("#ifndef MARQUEE_CONSTANTS_H")
    after = at >= MADE.rindex("#endif") + len("#endif")
    if not (inside or before or after):
        assert code_differences(edited, MADE)


@pytest.mark.parametrize("sign", [clocked(), Sign(spread=True)], ids=["clocked", "spread"])
def test_the_header_just_made_has_no_difference(sign: Sign) -> None:
    text = header_text(make_plan(sign))
    assert code_differences(text, text) == ()
    assert code_differences(text, MADE)


def test_a_comment_that_nothing_closes_ends_with_the_file() -> None:
    """ISO C99, 6.4.9: a comment is closed by `*/` only; what follows an open one is no code."""
    plain = re.sub(r"/\*.*?\*/", "", MADE, flags=re.DOTALL)
    at = plain.index("#define MARQUEE_LIMIT_MA")
    # So many that finding the close of each anew would take minutes.
    (found,) = code_differences(plain[:at] + "/* " * 100_000 + plain[at:], MADE)
    assert found.startswith("its code ends before")
