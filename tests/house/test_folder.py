from __future__ import annotations

from pathlib import Path

import pytest

from marquee.errors import OutputError
from marquee.outputs.folder import MANIFEST, write_folder

FIRST = {"plan.json": b"{}\n", "summary.txt": b"one\n"}
SECOND = {"plan.json": b"{}\n", "lit.png": b"\x89PNG"}


def _content(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and p.name != MANIFEST
    }


def test_a_second_plan_replaces_the_first_wholly(tmp_path: Path) -> None:
    target = tmp_path / "sign-plan"
    write_folder(target, FIRST)
    write_folder(target, SECOND)
    assert _content(target) == SECOND
    assert [p.name for p in tmp_path.iterdir()] == ["sign-plan"]


def test_files_the_maker_added_stay(tmp_path: Path) -> None:
    target = tmp_path / "sign-plan"
    write_folder(target, FIRST)
    (target / "photos").mkdir()
    (target / "photos" / "bench.jpg").write_bytes(b"mine")
    (target / "notes.txt").write_bytes(b"mine too")
    write_folder(target, SECOND)
    assert _content(target) == {**SECOND, "photos/bench.jpg": b"mine", "notes.txt": b"mine too"}


def test_a_file_of_ours_edited_by_the_maker_is_not_overwritten(tmp_path: Path) -> None:
    target = tmp_path / "sign-plan"
    write_folder(target, FIRST)
    (target / "summary.txt").write_bytes(b"edited")
    with pytest.raises(OutputError, match=r"summary\.txt.*edited"):
        write_folder(target, SECOND)
    assert _content(target) == {**FIRST, "summary.txt": b"edited"}


def test_a_folder_that_is_not_ours_is_left_alone(tmp_path: Path) -> None:
    target = tmp_path / "holiday"
    target.mkdir()
    (target / "beach.jpg").write_bytes(b"mine")
    with pytest.raises(OutputError, match="not made by marquee"):
        write_folder(target, FIRST)
    assert _content(target) == {"beach.jpg": b"mine"}


def test_an_empty_folder_may_be_filled(tmp_path: Path) -> None:
    target = tmp_path / "empty"
    target.mkdir()
    write_folder(target, FIRST)
    assert _content(target) == FIRST


@pytest.mark.parametrize("kind", ["file", "broken link", "no parent"])
def test_a_place_that_cannot_be_a_folder_is_refused(tmp_path: Path, kind: str) -> None:
    target = tmp_path / "x"
    if kind == "file":
        target.write_bytes(b"mine")
    elif kind == "broken link":
        target.symlink_to(tmp_path / "nowhere")
    else:
        target = tmp_path / "no" / "such" / "x"
    with pytest.raises(OutputError, match=r"--out"):
        write_folder(target, FIRST)


def test_a_failure_half_way_leaves_the_old_folder_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "sign-plan"
    write_folder(target, FIRST)

    def full(_fd: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("marquee.outputs.folder.os.fsync", full)
    with pytest.raises(OutputError, match="No space left"):
        write_folder(target, SECOND)
    assert _content(target) == FIRST
    assert [p.name for p in tmp_path.iterdir()] == ["sign-plan"]


def test_without_an_exchange_call_the_old_folder_is_still_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("marquee.outputs.folder._exchange", lambda _a, _b: False)
    target = tmp_path / "sign-plan"
    write_folder(target, FIRST)
    write_folder(target, SECOND)
    assert _content(target) == SECOND
    assert [p.name for p in tmp_path.iterdir()] == ["sign-plan"]
