"""kill -9 while the plan's folder is being written: the old one or the new one, whole."""

from __future__ import annotations

import hashlib
import json
import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

from marquee.outputs.folder import MANIFEST, write_folder
from marquee.outputs.leftovers import claim, prefix_of
from tests.reliability import killed, writer

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="kill -9 and folder locks")


def _digests(files: dict[str, bytes]) -> dict[str, str]:
    return {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}


def _without_manifest(content: dict[str, str]) -> dict[str, str]:
    return {name: digest for name, digest in content.items() if name != MANIFEST}


@pytest.mark.parametrize("way", [[], ["two-renames"]], ids=["exchange", "two-renames"])
def test_a_run_killed_at_any_step_leaves_the_old_or_the_new_plan(
    tmp_path: Path, way: list[str]
) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tests.reliability.killed", str(tmp_path), *way],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[2],
    )
    *rows, last = [json.loads(line) for line in done.stdout.splitlines()]
    old = _digests({**killed.OLD, **killed.THEIRS})
    new = _digests({**killed.NEW, **killed.THEIRS})
    found = [_without_manifest(row["content"]) for row in rows]
    assert all(content in (old, new) for content in found)
    # Killed early it is the old one, killed late the new one, and never back again.
    first_new = found.index(new)
    assert 0 < first_new < len(found) - 1
    assert all(content == new for content in found[first_new:])
    assert not rows[-1]["killed"]
    assert len(rows) > 20  # the steps were really met
    assert any(row["missing"] for row in rows) == bool(way)
    assert max(row["beside"] for row in rows) == 1  # one run clears what the one before it left
    assert last == {"left": ["sign-plan"]}


def test_kills_at_random_moments_leave_whole_folders_and_the_next_run_clears_up(
    tmp_path: Path,
) -> None:
    place = tmp_path / "sign-plan"
    whole = [_digests(writer.files_of(letter)) for letter in "AB"]
    write_folder(place, writer.files_of("A"))
    dice = random.Random(20)  # noqa: S311 -- moments, not secrets
    for _ in range(25):
        child = subprocess.Popen(
            [sys.executable, "-m", "tests.reliability.writer", str(place), "AB", "100000"],
            stdout=subprocess.PIPE,
            cwd=Path(__file__).parents[2],
        )
        assert child.stdout is not None
        assert child.stdout.readline() == b"ready\n"
        time.sleep(dice.uniform(0.0, 0.1))
        child.kill()
        child.wait()
        child.stdout.close()
        assert _without_manifest(killed.content_of(place)) in whole
        assert len(list(tmp_path.iterdir())) <= 2  # at most this run's leftover
    write_folder(place, writer.files_of("B"))
    assert [path.name for path in tmp_path.iterdir()] == ["sign-plan"]
    assert _without_manifest(killed.content_of(place)) == whole[1]


def test_two_runs_at_once_both_end_and_leave_one_of_the_two(tmp_path: Path) -> None:
    place = tmp_path / "sign-plan"
    write_folder(place, writer.files_of("A"))
    (place / "notes.txt").write_bytes(b"the maker's")
    runs = [
        subprocess.Popen(
            [sys.executable, "-m", "tests.reliability.writer", str(place), letter, "40"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            cwd=Path(__file__).parents[2],
        )
        for letter in "AB"
    ]
    said = [run.communicate(timeout=120)[1] for run in runs]
    assert said == [b"", b""]
    assert [run.returncode for run in runs] == [0, 0]
    mine = {"notes.txt": b"the maker's"}
    assert _without_manifest(killed.content_of(place)) in [
        _digests({**writer.files_of(letter), **mine}) for letter in "AB"
    ]
    assert [path.name for path in tmp_path.iterdir()] == ["sign-plan"]


def test_the_folder_of_a_run_at_work_is_no_leftover(tmp_path: Path) -> None:
    place = tmp_path / "sign-plan"
    at_work = tmp_path / f"{prefix_of(place)}abcdefgh"
    at_work.mkdir()
    held = claim(at_work)
    assert held is not None
    write_folder(place, killed.NEW)
    assert at_work.is_dir()
    held.release()
    write_folder(place, killed.OLD)
    assert not at_work.exists()
