"""Whatever a maker's file holds, it is read or refused in one line that names it, within bounded time."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.fuzz.damage import damaged
from tests.fuzz.loaders import CORPUS, LOADERS, corpus, read_or_refuse

FILES = [
    pytest.param(path.parent.name, path, id=f"{path.parent.name}-{path.stem}")
    for path in sorted(CORPUS.glob("*/*.*"))
]
WHOLE = [case for case in FILES if "bad" not in str(case.id)]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fuzz")


@pytest.mark.parametrize(("kind", "path"), FILES)
def test_the_kept_files_are_read_or_refused(folder: Path, kind: str, path: Path) -> None:
    told = read_or_refuse(kind, folder, path.read_bytes())
    assert (told is None) == ("bad" not in path.stem), told


@pytest.mark.parametrize(("kind", "path"), WHOLE)
def test_line_ends_and_a_byte_order_mark_change_nothing(
    folder: Path, kind: str, path: Path
) -> None:
    raw = path.read_bytes()
    unix = raw.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n")
    assert read_or_refuse(kind, folder, unix) is None
    assert read_or_refuse(kind, folder, b"\xef\xbb\xbf" + unix.replace(b"\n", b"\r\n")) is None


@pytest.mark.parametrize("kind", LOADERS)
@given(data=st.data())
@settings(suppress_health_check=[HealthCheck.too_slow])
def test_a_damaged_file_is_read_or_refused(folder: Path, kind: str, data: st.DataObject) -> None:
    wholes = corpus(kind)
    content = data.draw(damaged(wholes))
    read_or_refuse(kind, folder, content)


@pytest.mark.parametrize("kind", LOADERS)
@given(
    content=st.binary(max_size=400)
    | st.text(max_size=200).map(lambda t: t.encode("utf-8", "replace"))
)
def test_any_bytes_are_read_or_refused(folder: Path, kind: str, content: bytes) -> None:
    read_or_refuse(kind, folder, content)


# Texts on which a careless expression or parser takes ages or runs out of stack.
_LONG = {
    "brackets": b"a = " + b"[" * 300_000,
    "braces": b"a = " + b"{a=" * 200_000,
    "comments": b"/*" * 400_000,
    "stars": b"/*" + b"*" * 900_000,
    "guards": b"#ifndef A_CONSTANTS_H\n" * 40_000,
    "tables": b"#ifndef A_CONSTANTS_H\n"
    + b"static const uint8_t A_X[] A_FLASH A_UNUSED = {" * 18_000,
    "definitions": b"#ifndef A_CONSTANTS_H\n"
    + b"".join(b"#define A_%d A_%d\n" % (n, n + 1) for n in range(25_000))
    + b"#define A_CHANNEL_COUNT A_0\n",
    "dots": b"a" + b".a" * 400_000 + b" = 1",
    "headings": b"[" + b"a." * 100_000 + b"b]\nx = 1\n",
    "quotes": b'"' * 900_000,
    "commas": b"colour,r,g,b\n" + b"," * 900_000,
    "rows": b"colour,r,g,b\n" + b"x,y,z,w\n" * 100_000,
    "digits": b"a = " + b"9" * 900_000,
    "zeros": b"a = 1." + b"0" * 900_000,
    "spaces": b"a =" + b" " * 900_000,
    "nothing": bytes(900_000),
    "too large": b"# " * 600_000,
}


@pytest.mark.parametrize("kind", LOADERS)
@pytest.mark.parametrize("text", _LONG)
def test_a_text_made_to_take_ages_does_not(folder: Path, kind: str, text: str) -> None:
    # All of them are no file of any kind; 'spaces' and 'digits' end as numbers no key has.
    assert read_or_refuse(kind, folder, _LONG[text]) is not None


def test_a_header_with_a_number_beyond_32_bits_is_refused(folder: Path) -> None:
    # unsigned long holds at least 4,294,967,295 and need not hold more: C99, 5.2.4.2.1.
    whole = (CORPUS / "header" / "whole.h").read_bytes()
    for number, fits in ((b"4294967295UL", True), (b"4294967296UL", False)):
        edited = whole.replace(b"1000000UL", number)
        assert edited != whole
        assert (read_or_refuse("header", folder, edited) is None) == fits
