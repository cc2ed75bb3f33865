"""`marquee plan --watch`, as at the bench: save, look, save half, save again, Ctrl-C."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from marquee.cli.watch import watched_files
from marquee.project import make_project
from tests.workflow.signs import ROSE, project, two_squares
from tests.workflow.typed import status_of, typed_at

PALETTE = 'schema = 1\nname = "p"\n[[colour]]\nname = "Kelp"\nvalue = "#18b8a8"\n'


def _plan(folder: Path) -> dict[str, Any]:
    plan: dict[str, Any] = json.loads((folder / "sign-plan" / "plan.json").read_text("utf-8"))
    return plan


def _price(value: str) -> str:
    return f"[power]\nprices = {{wire_m = {value}}}"


def test_each_save_is_planned_once_and_half_a_file_stops_nothing(tmp_path: Path) -> None:
    two_squares(tmp_path / "sign.png")
    project(tmp_path, "p.toml", "sign.png", _price("0.8"))
    with typed_at(tmp_path, "plan", "p.toml", "--watch", MARQUEE_CACHE="off") as terminal:
        terminal.expect_exact("watching p.toml, sign.png; Ctrl-C ends")
        before = _plan(tmp_path)
        # Another price: parts change, nothing else.
        project(tmp_path, "p.toml", "sign.png", _price("0.9"))
        terminal.expect_exact("p.toml saved: planned again")
        terminal.expect_exact("wire_m 0.8 → wire_m 0.9")
        assert _plan(tmp_path)["zones"] == before["zones"]
        # Half a file, as an editor leaves it for a moment; then the rest of it.
        (tmp_path / "p.toml").write_text('[artwork]\nfile = "si', "utf-8")
        terminal.expect_exact("(still watching)")
        assert "Traceback" not in (terminal.before or "")
        palette = '[zones]\npalette = "venue.toml"'
        (tmp_path / "venue.toml").write_text(PALETTE, "utf-8")
        project(tmp_path, "p.toml", "sign.png", palette)
        terminal.expect_exact("p.toml saved: planned again")
        terminal.expect_exact("turquoise → Kelp")
        # The palette is watched from now on; saved as it was, it is no news.
        (tmp_path / "venue.toml").write_text(PALETTE, "utf-8")
        (tmp_path / "venue.toml").write_text(PALETTE.replace("Kelp", "Moss"), "utf-8")
        terminal.expect_exact("venue.toml saved: planned again")
        assert "planned again" not in (terminal.before or "")
        terminal.expect_exact("Kelp → Moss")
        # Artwork put in the old one's place, as many programs save.
        two_squares(tmp_path / "new.png", left=ROSE)
        (tmp_path / "new.png").replace(tmp_path / "sign.png")
        terminal.expect_exact("sign.png saved: planned again")
        terminal.expect_exact("other content")
        # Removed, and put back a moment later.
        shutil.move(tmp_path / "sign.png", tmp_path / "away.png")
        shutil.move(tmp_path / "away.png", tmp_path / "sign.png")
        terminal.sendcontrol("c")
        terminal.expect_exact("watch ended; sign-plan/ holds the last plan")
        assert "marquee:" not in (terminal.before or "").replace("\r\nmarquee: ", "", 1)
        assert status_of(terminal) == 0
    assert _plan(tmp_path)["inputs"]["artwork"]["file"] == "sign.png"


def test_a_first_plan_that_cannot_be_made_ends_at_once(tmp_path: Path) -> None:
    with typed_at(tmp_path, "plan", "none.toml", "--watch") as terminal:
        terminal.expect_exact("none.toml")
        assert status_of(terminal) == 2
    assert list(tmp_path.iterdir()) == []


def test_every_file_a_plan_is_made_from_is_watched() -> None:
    tables = {
        "artwork": {"file": "a.png", "width": "1m"},
        "zones": {"palette": "p.toml"},
        "leds": {"part": "mine.toml"},
        "colour": {"calibration": "c.toml"},
    }
    names = [path.name for path in watched_files("x.toml", make_project(tables, "t"))]
    assert names == ["x.toml", "a.png", "p.toml", "mine.toml", "c.toml"]
    packaged = make_project({"artwork": {"file": "a.png", "width": "1m"}}, "t")
    assert [path.name for path in watched_files("a.png", packaged)] == ["a.png"]


@pytest.mark.parametrize("words", [["--json"], ["--strict"], ["other.toml"]])
def test_what_makes_no_sense_with_a_watch_is_refused(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    from marquee.cli.app import run

    assert run(["plan", "p.toml", "--watch", *words]) == 2
    assert "--watch takes one project" in capsys.readouterr().err
