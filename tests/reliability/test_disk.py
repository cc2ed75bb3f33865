"""A full disk, a folder that may not be written, one of another's, one the shell is in: told, and nothing lost."""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from marquee.errors import OutputError
from marquee.outputs.folder import check_folder, write_folder
from tests.reliability.killed import NEW, OLD, THEIRS, content_of, make_old
from tests.reliability.sign import draw_sign, marquee

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="mounts and limits of Linux")
_NOBODY = 65_534  # the user without rights: Linux Standard Base 5.0, 23.2


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=96k,mode=755", "none", str(place)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        assert not os.environ.get("CI"), "the disk test needs root"
        pytest.skip("only root may mount a small disk")
    yield place
    subprocess.run(["umount", str(place)], check=True)


@pytest.fixture
def open_folder() -> Iterator[Path]:
    # Not below pytest's own, which no other user may enter.
    place = Path(tempfile.mkdtemp())
    place.chmod(0o755)
    yield place
    shutil.rmtree(place)


def _as_nobody(place: Path) -> str:
    """Return what a user without rights is told, trying to write there in a child."""
    if os.getuid() != 0:
        assert not os.environ.get("CI"), "needs root to become another user"
        pytest.skip("only root can become another user")
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        os.setgroups([])
        os.setgid(_NOBODY)
        os.setuid(_NOBODY)
        try:
            write_folder(place, NEW)
        except OutputError as error:
            os.write(write_end, str(error).encode())
        finally:
            os._exit(0)
    os.close(write_end)
    with os.fdopen(read_end) as stream:
        told = stream.read()
    os.waitpid(child, 0)
    return told


def test_a_disk_that_fills_up_keeps_the_old_plan(small_disk: Path) -> None:
    place = small_disk / "sign-plan"
    make_old(place)
    before = content_of(place)
    with pytest.raises(OutputError, match="No space left"):
        write_folder(place, {**NEW, "large.png": bytes(100_000)})
    assert content_of(place) == before
    assert [path.name for path in small_disk.iterdir()] == ["sign-plan"]
    write_folder(place, NEW)  # what was taken is free again
    assert {"lit.png", *THEIRS} <= content_of(place).keys()


def test_the_makers_files_take_no_room_twice(small_disk: Path) -> None:
    place = small_disk / "sign-plan"
    make_old(place)
    (place / "film.mp4").write_bytes(bytes(49_000))  # twice would not fit beside two plans
    write_folder(place, NEW)
    assert (place / "film.mp4").stat().st_size == 49_000
    assert [path.name for path in small_disk.iterdir()] == ["sign-plan"]


def test_a_disk_mounted_read_only_is_told_before_planning(small_disk: Path) -> None:
    place = small_disk / "sign-plan"
    make_old(place)
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    for target in (place, small_disk / "another"):
        with pytest.raises(OutputError, match="may not write"):
            check_folder(target)


def test_a_whole_disk_is_no_plans_folder(small_disk: Path) -> None:
    with pytest.raises(OutputError, match=r"whole disk.*--out .*/disk/sign-plan"):
        check_folder(small_disk)


def test_a_file_larger_than_the_limit_is_told_in_a_line(tmp_path: Path) -> None:
    draw_sign(tmp_path / "sign.png")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, hard))
    try:
        done = marquee("plan", "sign.png", "--width", "80mm", cwd=tmp_path)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert done.returncode == 2
    assert done.stderr.startswith("marquee: sign-plan: cannot be written (File too large)")
    assert done.stderr.count("\n") == 1
    assert [path.name for path in tmp_path.iterdir()] == ["sign.png"]


def test_another_users_folder_is_told_and_left(open_folder: Path) -> None:
    open_folder.chmod(0o777)
    place = open_folder / "sign-plan"
    make_old(place)
    before = content_of(place)
    told = _as_nobody(place)
    assert "you may not write in" in told
    assert "choose another --out" in told
    assert content_of(place) == before
    assert [path.name for path in open_folder.iterdir()] == ["sign-plan"]


def test_a_folder_without_the_right_to_write_is_told(open_folder: Path) -> None:
    assert f"you may not write in {open_folder}" in _as_nobody(open_folder / "sign-plan")
    assert list(open_folder.iterdir()) == []


def test_the_folder_the_shell_is_in_is_not_swapped_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "cabinet"
    place.mkdir()
    monkeypatch.chdir(place)
    with pytest.raises(
        OutputError, match=r"folder you are in; name a folder in it: --out sign-plan"
    ):
        check_folder(Path())


def test_a_file_of_the_makers_with_one_of_our_names_is_not_written_over(tmp_path: Path) -> None:
    place = tmp_path / "sign-plan"
    make_old(place)
    (place / "lit.png").write_bytes(b"a photograph of the maker's")
    before = content_of(place)
    with pytest.raises(OutputError, match=r"lit\.png: is yours but has the name"):
        write_folder(place, NEW)
    assert content_of(place) == before
    assert [path.name for path in tmp_path.iterdir()] == ["sign-plan"]


def test_links_and_empty_folders_of_the_makers_stay(tmp_path: Path) -> None:
    place = tmp_path / "sign-plan"
    make_old(place)
    (place / "empty").mkdir()
    (place / "to-notes").symlink_to("notes.txt")
    (place / "to-nowhere").symlink_to("/nonexistent")
    same = (place / "notes.txt").stat().st_ino
    write_folder(place, NEW)
    assert (place / "empty").is_dir()
    assert (place / "to-notes").read_bytes() == THEIRS["notes.txt"]
    assert (place / "to-nowhere").readlink() == Path("/nonexistent")
    assert (place / "notes.txt").stat().st_ino == same  # not a copy: an open editor keeps it


def test_the_folders_rights_stay_and_a_new_one_follows_the_umask(tmp_path: Path) -> None:
    place = tmp_path / "sign-plan"
    mask = os.umask(0o027)
    try:
        write_folder(place, OLD)
        assert place.stat().st_mode & 0o7777 == 0o750
        place.chmod(0o2775)
        write_folder(place, NEW)
    finally:
        os.umask(mask)
    assert place.stat().st_mode & 0o7777 == 0o2775


@pytest.mark.parametrize("name", ["x" * 300, "nul\0nul"])
def test_a_name_no_disk_takes_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(OutputError, match="choose another --out"):
        check_folder(tmp_path / name)


def test_a_folder_with_the_longest_name_a_disk_takes_is_written(tmp_path: Path) -> None:
    # 255 bytes, NAME_MAX of <linux/limits.h>: here 63 characters of four bytes and three more.
    place = tmp_path / ("🎱" * 63 + "abc")
    write_folder(place, OLD)
    write_folder(place, NEW)
    assert content_of(place).keys() >= NEW.keys()
    assert len(list(tmp_path.iterdir())) == 1
