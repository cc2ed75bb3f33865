"""No name from a file can become code, whatever it holds."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from marquee.outputs.header import header_text
from marquee.outputs.names import comment_text, identifier, unique_identifiers
from tests.firmware.compilers import FAST, Way, compile_unit, need, way_id
from tests.firmware.factory import Sign, make_plan

HOSTILE: list[str] = json.loads(
    (Path(__file__).parent.parent / "data/firmware/hostile_names.json").read_text(encoding="utf-8")
)


def sign_of_names(names: list[str]) -> Sign:
    """One LED for each zone."""
    return Sign(
        zone_of_led=tuple(range(len(names))),
        names=tuple(names),
        cycling=(),
        codes=((1, 2, 3),) * len(names),
    )


@pytest.mark.native
@pytest.mark.parametrize("way", FAST, ids=way_id)
def test_header_with_every_hostile_name_compiles_and_loses_no_line(
    way: Way, tmp_path: Path
) -> None:
    need(way[0])
    assert len(HOSTILE) < 255
    text = header_text(make_plan(sign_of_names(HOSTILE)))
    names = re.findall(r"^#define (MARQUEE_Z_\w+) (\d+)u", text, re.MULTILINE)
    assert len(names) == len(HOSTILE)
    # Each zone's macro is used in an assertion: a line lost to a comment would not compile.
    uses = "".join(f"MARQUEE_ASSERT(n{i}, {name} == {i});\n" for i, (name, _) in enumerate(names))
    source = tmp_path / "hostile.c"
    source.write_text(text + uses + "int main(void) { return 0; }\n", encoding="ascii")
    compile_unit(
        way,
        source,
        tmp_path / "hostile.o",
        "-trigraphs" if way[1].startswith("gnu") else "-Wno-trigraphs",
    )
    assert (tmp_path / "hostile.o").stat().st_size > 0


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_artwork_name_stays_inside_its_comment(name: str) -> None:
    plain = header_text(make_plan(Sign(file="a.png")))
    hostile = header_text(make_plan(Sign(file=name)))
    changed = [
        (a, b) for a, b in zip(plain.split("\n"), hostile.split("\n"), strict=True) if a != b
    ]
    assert len(changed) <= 1
    assert all(b.startswith(" * Artwork: ") for _, b in changed)


@given(st.lists(st.text(max_size=80), max_size=40))
def test_identifiers_are_distinct_and_never_reserved(texts: list[str]) -> None:
    names = unique_identifiers(texts)
    assert len(set(names)) == len(texts)
    for name in names:
        # Reserved in C++: any double underscore ([lex.name]); after the prefix no leading one may follow.
        assert re.fullmatch(r"[A-Z0-9]+(_[A-Z0-9]+)*", name)
        assert len(name) <= 31


@given(st.text(max_size=200))
def test_comment_text_cannot_end_a_comment_or_join_lines(text: str) -> None:
    safe = comment_text(text)
    assert safe.isascii()
    assert safe.isprintable()
    assert 1 <= len(safe) <= 60
    assert not set(safe) & set('/*\\?#"<>{}[]|~^$`')


def test_names_equal_after_cleaning_are_numbered() -> None:
    assert unique_identifiers(["Red", "red!", "RED_2", "réd"]) == (
        "RED",
        "RED_2",
        "RED_2_2",
        "RED_3",
    )


def test_a_name_without_ascii_letters_gets_a_stand_in() -> None:
    assert identifier("火花") == "UNNAMED"
