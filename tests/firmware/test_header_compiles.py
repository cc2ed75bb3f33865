"""The header under every compiler and standard it promises; the compilers are the outside check."""

from __future__ import annotations

from pathlib import Path

import pytest

from marquee.outputs.header import header_text
from tests.firmware.compilers import FAST, MATRIX, Way, compile_unit, is_cpp, need, run, way_id
from tests.firmware.factory import Sign, clocked, four_channels, make_plan

pytestmark = pytest.mark.native
SIGNS = {
    "five-zones": Sign(),
    "spread": Sign(spread=True),
    "clocked": clocked(prefix="SIGN_2"),
    "four-channels": four_channels(),
    "no-cycle": Sign(cycling=(), codes=((1, 2, 3),) * 5),
    "longest-prefix": Sign(prefix="A2345678901234567890"),
}
USE = """#include "marquee_constants.h"
int main(void);
int main(void) { return 0; }
"""


def header_in(folder: Path, sign: Sign | None = None) -> str:
    text = header_text(make_plan(sign))
    (folder / "marquee_constants.h").write_text(text, encoding="ascii")
    return text


@pytest.mark.parametrize("way", MATRIX, ids=way_id)
def test_header_compiles_unused_and_included_twice(way: Way, tmp_path: Path) -> None:
    need(way[0])
    header_in(tmp_path)
    source = tmp_path / "use.c"
    source.write_text('#include "marquee_constants.h"\n' + USE, encoding="ascii")
    compile_unit(way, source, tmp_path / "use.o", f"-I{tmp_path}")
    assert (tmp_path / "use.o").stat().st_size > 0


@pytest.mark.parametrize("way", MATRIX, ids=way_id)
def test_header_compiles_pasted_into_the_main_file(way: Way, tmp_path: Path) -> None:
    need(way[0])
    source = tmp_path / "pasted.c"
    source.write_text(
        header_in(tmp_path) + USE.replace('#include "marquee_constants.h"', ""), encoding="ascii"
    )
    compile_unit(way, source, tmp_path / "pasted.o")
    assert (tmp_path / "pasted.o").stat().st_size > 0


@pytest.mark.parametrize("way", FAST, ids=way_id)
@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_every_kind_of_sign_compiles(sign: Sign, way: Way, tmp_path: Path) -> None:
    need(way[0])
    header_in(tmp_path, sign)
    source = tmp_path / "use.c"
    source.write_text(USE, encoding="ascii")
    compile_unit(way, source, tmp_path / "use.o", f"-I{tmp_path}")
    assert (tmp_path / "use.o").stat().st_size > 0


@pytest.mark.parametrize("way", FAST, ids=way_id)
def test_two_units_with_the_header_link(way: Way, tmp_path: Path) -> None:
    need(way[0])
    header_in(tmp_path)
    extern = 'extern "C" ' if is_cpp(way[0]) else ""
    read = "(int)MARQUEE_ZONE_DRIVE(0, 0)"
    other = (
        f'#include "marquee_constants.h"\n{extern}int other(int zone);\n'
        f"{extern}int other(int zone) {{ return (int)MARQUEE_ZONE_DRIVE(zone, 0); }}\n"
    )
    main = (
        f'#include "marquee_constants.h"\n{extern}int other(int zone);\n'
        f"int main(void) {{ return other(1) - {read}; }}\n"
    )
    objects = []
    for name, text in (("main", main), ("other", other)):
        (tmp_path / f"{name}.c").write_text(text, encoding="ascii")
        compile_unit(way, tmp_path / f"{name}.c", tmp_path / f"{name}.o", f"-I{tmp_path}")
        objects.append(tmp_path / f"{name}.o")
    run(way[0], *way[2], *objects, "-o", tmp_path / "linked")
    assert (tmp_path / "linked").stat().st_size > 0


def test_two_signs_in_one_program_do_not_collide(tmp_path: Path) -> None:
    need("gcc")
    source = tmp_path / "both.c"
    texts = [header_text(make_plan(Sign(prefix=prefix))) for prefix in ("LEFT", "RIGHT")]
    source.write_text(
        "".join(texts) + "int main(void) { return (int)LEFT_LED_COUNT - (int)RIGHT_LED_COUNT; }\n",
        encoding="ascii",
    )
    compile_unit(("gcc", "c99", ()), source, tmp_path / "both.o")
    assert (tmp_path / "both.o").stat().st_size > 0


EDITS = {
    "chain too short": ("MARQUEE_LED_COUNT 59u", "MARQUEE_LED_COUNT 58u"),
    "runs overlap": ("MARQUEE_R2_LEDS 14u", "MARQUEE_R2_LEDS 15u"),
    "wraps in 16 bits": ("MARQUEE_R4_FIRST 56u", "MARQUEE_R4_FIRST 65534u"),
    "missing zone row": (
        "  { 0u, 2u, 15u, { 0u, 0u, 0u }, { 0u, 0u, 0u }, { 214u, 9u, 3u }, 0u, MARQUEE_STEADY, 0u },\n",
        "",
    ),
    "missing gamma byte": ("    0u,   0u,", "    0u,"),
    "limit above worst case": ("MARQUEE_LIMIT_MA 2259UL", "MARQUEE_LIMIT_MA 22590UL"),
}


@pytest.mark.parametrize("way", [("gcc", "c99", ()), ("g++", "c++11", ()), FAST[4]], ids=way_id)
@pytest.mark.parametrize("edit", EDITS.values(), ids=EDITS)
def test_an_impossible_edit_does_not_compile(
    edit: tuple[str, str], way: Way, tmp_path: Path
) -> None:
    need(way[0])
    text = header_in(tmp_path)
    assert edit[0] in text
    source = tmp_path / "edited.c"
    source.write_text(text.replace(*edit, 1), encoding="ascii")
    with pytest.raises(AssertionError, match=r"assert|ASSERT|negative"):
        compile_unit(way, source, tmp_path / "edited.o")
