"""kill -9 while one file is being written: nothing or the whole of it, and the next run clears what was left."""

from __future__ import annotations

import os
import stat
import sys
from pathlib import Path

import pytest

from marquee.errors import OutputError
from marquee.outputs.leftovers import lock, prefix_of
from marquee.outputs.single_file import replace_file, write_file
from tests.reliability.killed import killed_at

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="kill -9 and file locks")

OLD, NEW = b"old" * 5000, b"new" * 5000


def content_of(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def test_a_new_file_is_there_whole_or_not_at_all_and_leftovers_go(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_bytes(b"the maker's")
    path = tmp_path / "sweep.png"
    step, left_something = 0, False
    while killed_at(step, lambda: write_file(str(path), NEW)):
        found = content_of(tmp_path)
        assert found.pop("notes.txt") == b"the maker's"
        assert found.pop("sweep.png", NEW) == NEW
        assert len(found) <= 1  # each run clears what the one before it left
        left_something = left_something or bool(found)
        path.unlink(missing_ok=True)
        step += 1
    assert step > 3  # the steps were really met
    assert left_something
    assert content_of(tmp_path) == {"notes.txt": b"the maker's", "sweep.png": NEW}


def test_a_replaced_file_is_the_old_or_the_new_and_the_old_is_kept(tmp_path: Path) -> None:
    path, kept = tmp_path / "calibration.toml", tmp_path / "calibration.toml.1"
    path.write_bytes(OLD)
    step, killed = 0, True
    while killed:
        killed = killed_at(step, lambda: replace_file(path, NEW, kept))
        found = content_of(tmp_path)
        assert found["calibration.toml"] in (OLD, NEW)
        assert OLD in (found["calibration.toml"], found.get("calibration.toml.1"))
        assert len(found) <= 3
        if killed:
            kept.unlink(missing_ok=True)
            path.write_bytes(OLD)
        step += 1
    assert step > 3
    assert content_of(tmp_path) == {"calibration.toml": NEW, "calibration.toml.1": OLD}


def test_what_a_run_at_work_writes_is_no_leftover(tmp_path: Path) -> None:
    path = tmp_path / "sweep.png"
    at_work = tmp_path / f"{prefix_of(path)}abcdefgh"
    at_work.write_bytes(b"half")
    with at_work.open("rb") as held:
        assert lock(held.fileno())
        write_file(str(path), NEW)
        assert at_work.read_bytes() == b"half"
    path.unlink()
    write_file(str(path), NEW)
    assert content_of(tmp_path) == {"sweep.png": NEW}


def test_leftovers_of_another_file_and_links_are_let_be(tmp_path: Path) -> None:
    other = tmp_path / f"{prefix_of(tmp_path / 'other.png')}abcdefgh"
    other.write_bytes(b"half")
    (tmp_path / "notes.txt").write_bytes(b"the maker's")
    link = tmp_path / f"{prefix_of(tmp_path / 'sweep.png')}abcdefgh"
    link.symlink_to("notes.txt")
    write_file(str(tmp_path / "sweep.png"), NEW)
    assert other.read_bytes() == b"half"
    assert link.is_symlink()
    assert (tmp_path / "notes.txt").read_bytes() == b"the maker's"


@pytest.mark.parametrize("mask", [0o022, 0o077])
def test_a_file_has_the_rights_the_maker_gives_new_files(tmp_path: Path, mask: int) -> None:
    before = os.umask(mask)
    try:
        write_file(str(tmp_path / "sweep.png"), NEW)
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "sweep.png").stat().st_mode) == 0o666 & ~mask


def test_a_file_that_is_there_is_refused_and_a_bad_place_is_told(tmp_path: Path) -> None:
    path = tmp_path / "sweep.png"
    path.write_bytes(OLD)
    with pytest.raises(OutputError, match="exists already"):
        write_file(str(path), NEW)
    with pytest.raises(OutputError, match="cannot be written"):
        write_file(str(tmp_path / "no" / "sweep.png"), NEW)
    with pytest.raises(OutputError, match="cannot be written"):
        write_file("a\0b", NEW)
    assert content_of(tmp_path) == {"sweep.png": OLD}
