"""The cache: the same bytes as without it, only what depends on a change computed, and nothing trusted blindly."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

import marquee
from marquee.cache.remember import Remembering
from marquee.cache.store import ENVIRONMENT, Store, open_store
from marquee.outputs.plan_files import plan_files
from marquee.plan import make_plan
from marquee.project import make_project
from tests.workflow.signs import ROSE, project, two_squares
from tests.workflow.typed import status_of, typed_at

ROOT = Path(marquee.__file__).parents[1]
LIGHT = {"transfer_light", "light_unwalled"}  # the two that take longest
Tables = dict[str, dict[str, Any]]


@pytest.fixture
def sign(tmp_path: Path) -> Path:
    return two_squares(tmp_path / "sign.png")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "cache"
    made.mkdir(mode=0o700)
    return made


def planned(
    sign: Path, tables: Tables, memory: Remembering | None
) -> tuple[dict[str, bytes], set[str]]:
    """Return a sign's files, and the stages and files that were computed."""
    raw: Tables = {"artwork": {"file": f"{sign}", "width": "120mm"}}
    wanted = make_project(raw | tables, "test")
    if memory is None:
        return plan_files(make_plan(wanted)), set()
    files = plan_files(make_plan(wanted, memory), remembered=memory.files)
    computed = {name.split(":")[-1] for name in memory.computed}
    memory.end_round()
    return files, computed


CHANGES: tuple[Tables, ...] = (
    {},
    {"power": {"prices": {"wire_m": 0.8}}},
    {"box": {"depth": "50mm"}},
    {"colour": {"white": "D50"}},
    {"leds": {"part": "sk6812"}},
    {"firmware": {"prefix": "LAMP"}, "cut": {"kerf": "0.2mm"}},
)


def test_a_remembered_plan_is_the_plan_byte_for_byte(sign: Path, folder: Path) -> None:
    memory = Remembering(Store(folder))
    plain = [planned(sign, tables, None)[0] for tables in CHANGES]
    for tables, files in zip(CHANGES, plain, strict=True):
        assert planned(sign, tables, memory)[0] == files
    # Once more in another order from the disk alone, as a later run would.
    for tables, files in reversed(list(zip(CHANGES, plain, strict=True))):
        again, computed = planned(sign, tables, Remembering(Store(folder)))
        assert again == files
        assert computed == set()


@pytest.mark.parametrize(
    ("tables", "computed", "kept"),
    [
        (
            {"power": {"prices": {"wire_m": 0.8}}},
            {"plan_power", "_text('parts.csv')", "_text('plan.json')"},
            {
                "find_zones",
                "build_box",
                "solve_drive",
                "drawing_files",
                "_picture('lit.png')",
                *LIGHT,
            },
        ),
        (
            {"firmware": {"controller": "rp2040"}},
            {"estimate_budget"},
            {"find_zones", "plan_power", "_picture('zones.png')", "drawing_files", *LIGHT},
        ),
        (
            {"colour": {"white": "D50"}},
            {"solve_drive", "light_face", "plan_power", "_picture('chromaticity.png')"},
            {"find_zones", "build_box", "place_leds", "plan_cut", "transfer_light"},
        ),
        (
            {"box": {"depth": "50mm"}},
            {"build_box", "solve_drive", *LIGHT},
            {"find_zones"},
        ),
    ],
    ids=["wire price", "controller", "white", "depth"],
)
def test_only_what_depends_on_a_change_is_computed(
    sign: Path, folder: Path, tables: Tables, computed: set[str], kept: set[str]
) -> None:
    memory = Remembering(Store(folder))
    _, first = planned(sign, {}, memory)
    assert computed | kept <= first
    assert planned(sign, {}, memory)[1] == set()
    _, after = planned(sign, tables, memory)
    assert computed <= after
    assert not kept & after


def test_other_pixels_under_the_same_name_are_planned_anew(sign: Path, folder: Path) -> None:
    before, _ = planned(sign, {}, Remembering(Store(folder)))
    two_squares(sign, left=ROSE)
    after, computed = planned(sign, {}, Remembering(Store(folder)))
    assert "find_zones" in computed
    assert after["plan.json"] != before["plan.json"]
    assert after == planned(sign, {}, None)[0]


@pytest.mark.parametrize("damage", ["cut", "flipped", "empty", "swapped", "gone"])
def test_damaged_entries_are_computed_anew(sign: Path, folder: Path, damage: str) -> None:
    whole, _ = planned(sign, {}, Remembering(Store(folder)))
    entries = sorted(folder.iterdir())
    for k, path in enumerate(entries):
        content = bytearray(path.read_bytes())
        if damage == "gone":
            path.unlink()
        elif damage == "flipped":
            content[len(content) // 2] ^= 0x40
        elif damage == "cut":
            del content[len(content) * 2 // 3 :]
        elif damage == "empty":
            content.clear()
        if (
            damage == "swapped"
        ):  # whole, but not what the name says: only a stage's own value may be under it
            path.write_bytes(b"marquee value 1\n" + entries[k - 1].name.encode())
        elif damage != "gone":
            path.write_bytes(bytes(content))
    again, computed = planned(sign, {}, Remembering(Store(folder)))
    assert again == whole
    assert "find_zones" in computed


def test_a_store_that_is_deleted_or_refuses_while_running_does_no_harm(
    sign: Path, folder: Path
) -> None:
    memory = Remembering(Store(folder))
    whole, _ = planned(sign, {}, memory)
    shutil.rmtree(folder)
    assert planned(sign, CHANGES[1], memory)[0] == planned(sign, CHANGES[1], None)[0]
    folder.write_bytes(b"a file in its place")
    assert planned(sign, {}, Remembering(Store(folder)))[0] == whole


def test_the_store_stays_within_its_bounds_and_lets_the_longest_unused_go(folder: Path) -> None:
    store = Store(folder, limit_bytes=10_000)
    for k in range(10):
        store.put(f"k{k}", bytes(1_500))
        os.utime(folder / f"k{k}.value", (1_000 + k, 1_000 + k))
    assert store.get("k0") is not None  # used just now
    store.put("large", bytes(5_000))  # more than a quarter of the bound is not kept at all
    store.prune()
    left = {path.stem for path in folder.iterdir()}
    assert sum(path.stat().st_size for path in folder.iterdir()) <= 10_000
    assert {"k0", "k9"} <= left
    assert not {"k1", "k2", "large"} & left


def test_what_a_killed_run_left_is_cleared_and_a_running_ones_is_not(folder: Path) -> None:
    (folder / ".new-old").write_bytes(b"x")
    os.utime(folder / ".new-old", (1_000, 1_000))
    (folder / ".new-now").write_bytes(b"x")
    Store(folder).prune()
    assert [path.name for path in folder.iterdir()] == [".new-now"]


def test_the_folder_is_the_users_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "a" / "b"
    monkeypatch.setenv(ENVIRONMENT, f"{place}")
    assert open_store() is not None
    assert place.stat().st_mode & 0o777 == 0o700
    place.chmod(0o750)
    assert open_store() is None
    place.chmod(0o700)
    link = tmp_path / "link"
    link.symlink_to(place)
    monkeypatch.setenv(ENVIRONMENT, f"{link}")
    assert open_store() is None
    monkeypatch.setenv(ENVIRONMENT, "off")
    assert open_store() is None
    monkeypatch.setenv(ENVIRONMENT, "/proc/nowhere")
    assert open_store() is None
    monkeypatch.delenv(ENVIRONMENT)
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    for home in ("", "/"):
        monkeypatch.setenv("HOME", home)
        assert open_store() is None


def test_the_folder_is_the_platforms_cache_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """XDG Base Directory Specification 0.8: user-specific non-essential data go to $XDG_CACHE_HOME."""
    monkeypatch.delenv(ENVIRONMENT)
    monkeypatch.setenv("XDG_CACHE_HOME", f"{tmp_path}")
    store = open_store()
    assert store is not None
    store.put("k", b"v")
    assert [p.name for p in (tmp_path / "marquee" / "values").iterdir()] == ["k.value"]


def _command(folder: Path, words: Sequence[str], **environment: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "marquee", *words],
        cwd=folder,
        env=os.environ | environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def test_two_runs_at_once_on_one_cache_both_come_out_right(sign: Path, folder: Path) -> None:
    words = ["plan", "sign.png", "--width", "120mm", "--out"]
    runs = [
        _command(sign.parent, [*words, name], **{ENVIRONMENT: f"{folder}"}) for name in ("a", "b")
    ]
    for run in runs:
        _, err = run.communicate(timeout=120)
        assert run.returncode == 0, err
        assert err == b""
    made = planned(sign, {}, None)[0]
    for name in ("a", "b"):
        written = {p.name: p.read_bytes() for p in (sign.parent / name).iterdir()}
        del written[".marquee-files.json"]
        assert written == made


def test_the_command_uses_the_cache_unless_told_not_to(
    sign: Path, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from marquee.cli.app import run

    monkeypatch.setenv(ENVIRONMENT, f"{folder}")
    monkeypatch.chdir(sign.parent)
    words = ["plan", "sign.png", "--width", "120mm"]
    assert run([*words, "--no-cache"]) == 0
    assert list(folder.iterdir()) == []
    assert run(words) == 0
    assert list(folder.iterdir()) != []


def test_a_folder_that_was_named_but_is_open_to_others_is_told_on_a_terminal(sign: Path) -> None:
    lax = sign.parent / "lax"
    lax.mkdir(mode=0o755)
    words = ["plan", "sign.png", "--width", "120mm"]
    with typed_at(sign.parent, *words, **{ENVIRONMENT: f"{lax}"}) as terminal:
        terminal.expect_exact("lax is no folder of yours alone (mode 0700)")
        assert status_of(terminal) == 0
    assert list(lax.iterdir()) == []


def test_other_code_tables_or_packages_give_another_key(tmp_path: Path) -> None:
    """A changed rule or table must never be answered from what the old one computed."""
    copy = tmp_path / "marquee"
    shutil.copytree(ROOT / "marquee", copy, ignore=shutil.ignore_patterns("__pycache__"))
    code = "from marquee.cache.remember import program_digest as d; print(d().hex())"

    def digest() -> str:
        done = subprocess.run(
            [sys.executable, "-c", code],
            env=os.environ | {"PYTHONPATH": f"{tmp_path}"},
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=True,
        )
        return done.stdout.strip()

    first = digest()
    assert digest() == first
    with (copy / "power" / "wire.py").open("a") as stream:
        stream.write("# a change\n")
    second = digest()
    table = next((copy / "tables" / "parts").glob("*.toml"))
    table.write_bytes(table.read_bytes() + b"\n")
    third = digest()
    # A package of another version, as installers note it (Recording installed projects, PyPA specifications).
    (tmp_path / "scipy-99.0.dist-info").mkdir()
    assert len({first, second, third, digest()}) == 4


def test_a_projects_palette_and_part_files_are_read_each_time(sign: Path, folder: Path) -> None:
    palette = sign.parent / "p.toml"
    text = 'schema = 1\nname = "p"\n[[colour]]\nname = "{}"\nvalue = "#18b8a8"\n'
    path = project(sign.parent, "s.toml", "sign.png", '[zones]\npalette = "p.toml"')
    seen = []
    for name in ("Kelp", "Moss"):
        palette.write_text(text.format(name), "utf-8")
        memory = Remembering(Store(folder))
        from marquee.project import read_project

        plan = make_plan(read_project(path), memory)
        seen.append({zone.name for zone in plan.zone_map.zones})
    assert "Kelp" in seen[0]
    assert "Moss" in seen[1]
