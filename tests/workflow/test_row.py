"""Several projects at once: each as if planned alone, joint lists that add up, and one failure that stops no other."""

from __future__ import annotations

import csv
import io
import json
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from marquee.cli import row as row_module
from marquee.cli.app import run
from marquee.cli.row import Done, Job, folder_names
from marquee.errors import QuantityError
from marquee.outputs.joint import Sign, joint_dict, joint_files, joint_parts
from marquee.project import make_project
from marquee.values import PartsRow
from tests.workflow.signs import ROSE, project, two_squares
from tests.workflow.typed import status_of, typed_at

MONEY = (
    '[power]\ntariff_per_kwh = 0.3\ncurrency = "crowns"\nhours_per_day = 5',
    "prices = {wire_m = 0.8, supply = 20}",
)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Three projects, the second without its artwork, and a cache of their own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MARQUEE_CACHE", f"{tmp_path / '.cache'}")
    two_squares(tmp_path / "orb.png")
    two_squares(tmp_path / "kelp.png", left=ROSE)
    project(tmp_path, "orb.toml", "orb.png", *MONEY)
    project(tmp_path, "lost.toml", "lost.png")
    project(tmp_path, "kelp.toml", "kelp.png", *MONEY, "cabinets = 3")
    return tmp_path


def _content(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_a_rows_folder_is_made_if_only_it_is_missing_and_refused_once_otherwise(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Refused before any work, once for both signs.
    assert run(["plan", "orb.toml", "kelp.toml", "--out", "no/where"]) == 2
    said = capsys.readouterr()
    assert said.err.count("\n") == 1
    assert not (bench / "no").exists()
    (bench / "orb.png").write_bytes(b"no picture")
    assert run(["plan", "orb.toml", "kelp.toml", "--out", "made"]) == 2
    assert [path.name for path in (bench / "made").iterdir()] == ["kelp-plan"]


def test_a_row_is_planned_as_each_alone_and_the_joint_lists_add_up(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["plan", "orb.toml", "lost.toml", "kelp.toml", "--json"]) == 2
    said = capsys.readouterr()
    told = json.loads(said.out)
    assert said.err.count("\n") == 1
    assert "lost.toml: lost.png: does not exist" in said.err
    assert [sign["source"] for sign in told["signs"]] == ["orb.toml", "lost.toml", "kelp.toml"]
    assert told["signs"][1]["plan"] is None
    for name in ("orb", "kelp"):
        assert run(["plan", f"{name}.toml", "--out", f"alone-{name}", "--no-cache"]) == 0
        assert _content(bench / f"{name}-plan") == _content(bench / f"alone-{name}")
    capsys.readouterr()
    _check_sums(told, bench)
    # Again, from what is remembered and in whatever order the processes end: the same bytes.
    before = _content(bench / "row-plan")
    assert run(["plan", "orb.toml", "lost.toml", "kelp.toml"]) == 2
    text = capsys.readouterr().out
    assert _content(bench / "row-plan") == before
    assert "2 of 3 signs planned" in text
    assert "not counted in either: lost.toml" in text


def _rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8"))))


def _check_sums(told: dict[str, Any], bench: Path) -> None:
    """Add up by hand, from each plan.json and the cabinets of each."""
    quantities: dict[str, float] = defaultdict(float)
    cost = month = kwh = watts = 0.0
    for sign in (told["signs"][0], told["signs"][2]):
        power = sign["plan"]["power"]
        for part in power["parts"]:
            quantities[part["item"]] += part["quantity"] * power["cabinets"]
            cost += (part["price"] or 0) * part["quantity"] * power["cabinets"]
        month += power["cost_per_month"]
        kwh += power["kwh_per_month"]
        watts += power["wall_w"] * power["cabinets"]
    joint = told["joint"]
    assert {p["item"]: p["quantity"] for p in joint["parts"]} == pytest.approx(dict(quantities))
    assert joint["parts_cost"] == [{"currency": "crowns", "cost": pytest.approx(cost)}]
    running = joint["running"]
    assert running["cabinets"] == 4
    assert running["cost_per_month"][0]["cost"] == pytest.approx(month, abs=2e-4)
    assert running["kwh_per_month"] == pytest.approx(kwh, abs=2e-4)
    assert running["wall_w"] == pytest.approx(watts, abs=1e-3)
    rows = _rows(bench / "row-plan" / "parts.csv")
    listed = {row["item"]: row["quantity"] for row in rows if row["quantity"]}
    assert {item: float(q) for item, q in listed.items()} == pytest.approx(dict(quantities))
    assert float(next(r["cost"] for r in rows if r["item"] == "sum")) == pytest.approx(
        cost, abs=6e-3
    )
    assert rows[-1]["item"] == "not counted: lost.toml"
    lines = _rows(bench / "row-plan" / "running.csv")
    total = next(line for line in lines if line["sign"] == "sum")
    assert float(total["cost a month"]) == pytest.approx(month, abs=6e-3)
    every = next(line for line in lines if line["sign"] == "all")
    assert every["cabinets"] == "4"


def _refused(bench: Path, words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    before = sorted(path.name for path in bench.iterdir())
    assert run(["plan", *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert sorted(path.name for path in bench.iterdir()) == before
    return said.err


def test_what_cannot_be_done_is_refused_before_any_work(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (bench / "mine").mkdir()
    (bench / "mine" / "notes.txt").write_text("mine", "utf-8")
    row = ["orb.toml", "kelp.toml"]
    assert "not made by marquee" in _refused(bench, [*row, "--joint", "mine"], capsys)
    assert "named twice" in _refused(bench, ["orb.toml", "orb.toml"], capsys)
    assert "--watch takes one" in _refused(bench, [*row, "--watch"], capsys)
    assert "--joint is for several" in _refused(bench, ["orb.toml", "--joint", "j"], capsys)
    assert "neither --json" in _refused(bench, ["orb.toml", "--watch", "--json"], capsys)


def test_where_none_can_be_planned_nothing_is_written(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = sorted(path.name for path in bench.iterdir())
    assert run(["plan", "lost.toml", "none.toml"]) == 2
    assert capsys.readouterr().err.count("\n") == 2
    assert sorted(p.name for p in bench.iterdir() if p.name != ".cache") == before


def _projects(*places: tuple[str, str]) -> dict[str, Any]:
    return {
        source: make_project({"artwork": {"file": art, "width": "1m"}}, "t")
        for source, art in places
    }


def test_folders_are_named_after_what_tells_the_signs_apart() -> None:
    two = _projects(("a/project.toml", "a/sign.png"), ("b/project.toml", "b/sign.png"))
    assert list(folder_names(two, "").values()) == ["a-plan", "b-plan"]
    files = _projects(("left.toml", "sign.png"), ("right.toml", "sign.png"), ("c.toml", "orb.png"))
    assert list(folder_names(files, "").values()) == ["left-plan", "right-plan", "orb-plan"]
    case = _projects(("x.toml", "Sign.png"), ("y.toml", "sign.png"))
    assert list(folder_names(case, "").values()) == ["x-plan", "y-plan"]
    # The joint folder's own name is taken.
    assert list(folder_names(_projects(("r.toml", "row.png")), "row-plan").values()) == ["r-plan"]
    with pytest.raises(QuantityError, match="into one folder"):
        folder_names(_projects(("a/p.toml", "s.png"), ("c/../a/p.toml", "s.png")), "")


def _dies(job: Job) -> Done:
    import os
    import signal

    if job.source == "kelp.toml":
        os.kill(os.getpid(), signal.SIGKILL)
    return Done(sign=Sign(source=job.source, folder="orb-plan"))


def _fails(job: Job) -> Done:
    from marquee.cli.row import plan_one

    return plan_one(job) if job.source == "orb.toml" else _broken(job)


def _broken(job: Job) -> Done:
    from marquee.cli import row

    def wrong(*_: object) -> None:
        raise ZeroDivisionError("of a test")

    vars(row)["make"] = wrong  # in the worker's process alone
    return row.plan_one(job)


@pytest.mark.parametrize(
    ("work", "status", "said"), [(_dies, 2, "ended by the system"), (_fails, 70, "our bug: Zero")]
)
@pytest.mark.usefixtures("bench")
def test_a_process_that_dies_or_breaks_is_named_and_the_others_come(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    work: Callable[[Job], Done],
    status: int,
    said: str,
) -> None:
    monkeypatch.delenv("MARQUEE_TRACE", raising=False)
    monkeypatch.setattr(row_module, "plan_one", work)
    assert run(["plan", "orb.toml", "kelp.toml"]) == status
    captured = capsys.readouterr()
    assert f"kelp.toml: {said}" in captured.err or said in captured.err
    assert "kelp.toml" in captured.err
    assert "1 of 2 signs planned" in captured.out


def test_a_terminal_shows_one_line_of_progress_that_is_gone_at_the_end(bench: Path) -> None:
    with typed_at(bench, "plan", "orb.toml", "lost.toml") as terminal:
        terminal.expect_exact("planning 2 signs: 0 done")
        terminal.expect_exact("1 of 2 signs planned")
        progress = terminal.before or ""
        assert "\n" not in progress
        # The last thing written over the line is spaces, then the line's start again.
        assert progress.rstrip("\r\n").endswith(" \r") or progress.split("\r")[-2].isspace()
        assert status_of(terminal) == 2


def test_ctrl_c_ends_a_row_and_all_its_processes(bench: Path) -> None:
    with typed_at(bench, "plan", "orb.toml", "kelp.toml", "--no-cache") as terminal:
        terminal.expect_exact("planning 2 signs")
        terminal.sendcontrol("c")
        terminal.expect_exact("stopped")
        assert status_of(terminal) == 130
        assert "Traceback" not in (terminal.before or "")
    assert not (bench / "row-plan").exists()


def _sign(source: str, price: float | None, currency: str = "crowns", cabinets: int = 1) -> Sign:
    part = PartsRow(item="wire", quantity=1.5, unit="m", price=price)
    return Sign(source=source, parts=(part,), currency=currency, cabinets=cabinets)


def test_equal_parts_at_equal_prices_are_one_row_and_currencies_are_never_added() -> None:
    signs = (
        _sign("a", 2.0),
        _sign("b", 2.0, cabinets=3),
        _sign("c", 2.5),
        _sign("d", 2.0, "marks"),
        _sign("e", None),
    )
    rows = joint_parts(signs)
    assert [(row.quantity, row.price, row.currency) for row in rows] == [
        (6.0, 2.0, "crowns"),
        (1.5, 2.5, "crowns"),
        (1.5, 2.0, "marks"),
        (1.5, None, ""),
    ]
    assert rows[0].needed_by == (("a", 1.5), ("b", 4.5))
    assert "15.75 crowns and 3.00 marks" in joint_files(signs)["summary.txt"].decode()
    costs = {row["currency"]: row["cost"] for row in joint_dict(signs)["parts_cost"]}
    assert costs == {"crowns": 12.0 + 3.75, "marks": 3.0}


def test_text_from_outside_stays_within_its_cell_of_the_csv() -> None:
    odd = _sign('a"b,c\nd\x1b[31m', 2.0)
    for name in ("parts.csv", "running.csv"):
        text = joint_files((odd,))[name].decode()
        assert "\x1b" not in text
        rows = list(csv.reader(io.StringIO(text)))
        assert len({len(row) for row in rows}) == 1
