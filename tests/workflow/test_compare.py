"""`marquee compare`: every change that matters to a maker is told, nothing else, and no plan of ours trips it."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from marquee.cli.app import run
from marquee.outputs.compare import compare_plans
from marquee.outputs.compare_change import Change
from marquee.outputs.compare_read import PlanFile

Plan = dict[str, Any]


@pytest.fixture
def demo(demo_json: str) -> Plan:
    plan: Plan = json.loads(demo_json)
    return plan


def changes(old: Plan, new: Plan) -> tuple[Change, ...]:
    return compare_plans(PlanFile.model_validate(old), PlanFile.model_validate(new))


def edited(plan: Plan, edit: Callable[[Plan], object]) -> Plan:
    other = copy.deepcopy(plan)
    edit(other)
    return other


def put(path: str, value: Any) -> Callable[[Plan], None]:
    def edit(plan: Plan) -> None:
        at: Any = plan
        *steps, last = path.split(".")
        for step in steps:
            at = at[int(step)] if isinstance(at, list) else at[step]
        assert last in at
        at[last] = value

    return edit


def test_a_plan_does_not_differ_from_itself(demo: Plan) -> None:
    assert changes(demo, copy.deepcopy(demo)) == ()


@pytest.mark.parametrize(
    ("path", "value", "subject", "said"),
    [
        ("inputs.artwork.sha256", "0" * 64, "artwork", "other content"),
        ("inputs.artwork.file", "new.png", "artwork", "marquee.png → new.png"),
        ("inputs.settings.box.depth_mm", 55.5, "settings", "box.depth 40 mm → 55.5 mm"),
        ("inputs.settings.leds.part", "sk6812", "settings", "ws2812b → sk6812"),
        ("inputs.settings.power.prices", {"led": 0.1}, "settings", "none → led 0.1"),
        ("inputs.settings.colour.spread", False, "settings", "yes → no"),
        ("face.width_mm", 400.0, "face", "380.0 mm → 400.0 mm"),
        ("colours.0.srgb", "#123456", "colours", "→ #123456"),
        ("zones.1.name", "Lamps", "zones", "Lamplight → Lamps"),
        ("zones.0.apertures", 6, "zones", "5 → 6"),
        ("zones.0.drive", [31, 27, 2], "bytes", r"\d → 31,27,2"),
        ("zones.0.delta_e_2000", 2.5, "bytes", r"ΔE00 [\d.]+ → 2.50"),
        ("zones.0.in_gamut", False, "bytes", "yes → no"),
        ("zones.0.spread.raised", [1, 2, 3], "bytes", r"\d → 1,2,3"),
        ("barriers.wall_thickness_mm", 4.0, "walls", "3 mm → 4 mm"),
        ("barriers.total_length_mm", 700.0, "walls", r"\d mm → 700 mm"),
        ("leds.count", 200, "LEDs", r"number \d+ → 200"),
        ("leds.part", "sk6812", "LEDs", "ws2812b → sk6812"),
        ("zones.0.luminance_cd_m2", 99.0, "light", r"\d cd/m² → 99 cd/m²"),
        ("zones.0.evenness.min_over_max", 0.4, "light", r"0.\d\d → 0.40"),
        ("zones.0.bleed", 0.2, "light", r"\d% → 20.0%"),
        ("power.worst_case_a", 13.0, "power", r"\d A → 13.00 A"),
        ("power.planned_a", 0.8, "power", r"0.\d\d A → 0.80 A"),
        ("zones.0.planned_a", 0.5, "power", r"as planned \d+ mA → 500 mA"),
        ("power.supply.amps", 8.0, "power", "5 V 5 A → 5 V 8 A"),
        ("power.supply.count", 2, "power", "→ 2 × 5 V 5 A"),
        ("power.feeds.0.fuse_a", 17.0, "power", r"\d A fuse → .* 17 A fuse"),
        ("power.feeds.1.wire", "2 AWG", "power", r"AWG.* → .* of 2 AWG"),
        ("power.min_led_v", 4.1, "power", r"4.\d\d V → 4.10 V"),
        ("power.cost_per_month", 0.6, "running", r"0.\d\d crowns → 0.60 crowns"),
        ("power.energy_wh_per_hour", 9.0, "running", r"\d Wh an hour → 9.0 Wh an hour"),
        ("power.parts.0.quantity", 30.0, "parts", r"\d m → 30 m"),
        ("power.parts_cost", 42.0, "parts", "no price → 42.00 crowns"),
        ("firmware.ram_bytes", 600, "firmware", r"\d B → 600 B"),
        ("warnings.0.message", "is otherwise", "warnings", "zones.mixed"),
        ("warnings.0.code", "zones.soft", "warnings", "zones.soft|zones.mixed"),
    ],
)
def test_each_change_is_told_under_its_subject(
    demo: Plan, path: str, value: Any, subject: str, said: str
) -> None:
    found = changes(demo, edited(demo, put(path, value)))
    assert found
    assert {change.subject for change in found} == {subject}
    lines = [f"{c.what} {c.before} → {c.after} {c.note}" for c in found]
    assert any(re.search(said, line) for line in lines), lines


def test_a_change_below_the_digits_shown_is_none(demo: Plan) -> None:
    nearly = edited(demo, put("power.planned_a", demo["power"]["planned_a"] + 1e-4))
    assert changes(demo, nearly) == ()


def _leaves(value: Any, at: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    if isinstance(value, dict):
        for key, below in value.items():
            yield (*at, key)
            yield from _leaves(below, (*at, key))
    elif isinstance(value, list) and value and isinstance(value[0], dict):
        yield from _leaves(value[0], (*at, 0))


def test_a_plan_that_lacks_any_key_is_compared_or_refused_in_one_line(
    demo: Plan, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    whole = tmp_path / "whole.json"
    whole.write_text(json.dumps(demo), "utf-8")
    needed = {"schema", "inputs", "artwork", "file", "sha256", "zones", "id", "name", "code"}
    needed |= {"path_mm", "length_mm", "volts", "amps", "at_led", "item", "quantity"}
    compared = 0
    for path in _leaves(demo):
        lacking = copy.deepcopy(demo)
        at: Any = lacking
        for step in path[:-1]:
            at = at[step]
        del at[path[-1]]
        older = tmp_path / "older.json"
        older.write_text(json.dumps(lacking), "utf-8")
        status = run(["compare", str(older), str(whole)])
        said = capsys.readouterr()
        if status:
            assert status == 2
            assert path[-1] in needed, (path, said.err)
            assert said.err.count("\n") == 1
        compared += status == 0
    assert compared > 120


def test_what_only_one_version_knows_counts_as_no_difference(demo: Plan) -> None:
    def older(plan: Plan) -> None:
        del plan["inputs"]["settings"]["cut"]
        del plan["inputs"]["settings"]["power"]["margin_v"]
        del plan["power"]["peak_a"]
        del plan["power"]["parts"]
        del plan["warnings"]
        for zone in plan["zones"]:
            del zone["spread"]

    assert changes(edited(demo, older), demo) == ()
    assert changes(demo, edited(demo, older)) == ()


@pytest.mark.parametrize("off_mm", [0.05, 3.0, -12.5])
def test_a_wall_that_was_shifted_is_told_with_how_far(demo: Plan, off_mm: float) -> None:
    def shift(plan: Plan) -> None:
        wall = plan["barriers"]["walls"][0]
        wall["path_mm"] = [[x + off_mm, y] for x, y in wall["path_mm"]]

    names = {zone["id"]: zone["name"] for zone in demo["zones"]}
    walls = demo["barriers"]["walls"]
    ends = walls[0]["zones"]
    alone = sum(set(wall["zones"]) == set(ends) for wall in walls) == 1
    found = changes(demo, edited(demo, shift))
    if abs(off_mm) < 0.1:
        assert found == ()
        return
    (change,) = found
    assert all(names[zone] in change.what for zone in ends)
    told = re.search(r"up to ([\d.]+) mm", change.note)
    assert told is not None
    # Hausdorff distance of a shifted path: the shift itself, or less where other walls of the pair lie nearer.
    assert float(told[1]) <= abs(off_mm) + 0.05
    if alone:
        assert float(told[1]) == pytest.approx(abs(off_mm), abs=0.05)


def test_a_part_that_takes_the_place_of_another_is_told_in_one_line(demo: Plan) -> None:
    def larger(item: str) -> str:
        return re.sub(r"\d+ AWG", "2 AWG", re.sub(r"5 V, \d+ A", "5 V, 90 A", item))

    def swap(plan: Plan) -> None:
        for row in plan["power"]["parts"]:
            row["item"] = larger(row["item"])

    rows = demo["power"]["parts"]
    swapped = [r["item"] for r in rows if larger(r["item"]) != r["item"]]
    assert len(swapped) >= 3
    found = changes(demo, edited(demo, swap))
    assert sorted(change.what for change in found) == sorted(swapped)
    for change in found:
        assert change.before is not None
        assert change.after is not None
        assert change.after == f"{larger(change.what)}, {change.before}"


def test_leds_that_moved_are_counted_with_the_farthest(demo: Plan) -> None:
    def move(plan: Plan) -> None:
        plan["leds"]["x_mm"][3] += 3
        plan["leds"]["y_mm"][3] += 4
        plan["leds"]["y_mm"][9] -= 1

    (change,) = changes(demo, edited(demo, move))
    # 3-4-5 triangle.
    assert change.note == "2 of them moved by up to 5.0 mm"


def test_zones_that_swapped_numbers_are_the_same_zones(demo: Plan) -> None:
    """Numbers go by place from the top left: a new zone in front must not make all others look changed."""

    def renumber(plan: Plan) -> None:
        swap = {0: 1, 1: 0}
        plan["zones"][0]["id"], plan["zones"][1]["id"] = 1, 0
        plan["zones"][:2] = plan["zones"][1::-1]
        for wall in plan["barriers"]["walls"]:
            wall["zones"] = sorted(swap.get(zone, zone) for zone in wall["zones"])

    assert changes(demo, edited(demo, renumber)) == ()


def test_backwards_tells_the_same_changes_the_other_way_round(
    demo: Plan, small_json: Plan
) -> None:
    forth, back = changes(demo, small_json), changes(small_json, demo)
    there = {(c.subject, c.before, c.after) for c in forth if c.subject != "parts"}
    again = {(c.subject, c.after, c.before) for c in back if c.subject != "parts"}
    assert there == again
    # Parts are told under the old plan's name, so one that takes another's place reads otherwise.
    assert len([c for c in forth if c.subject == "parts"]) == len(
        [c for c in back if c.subject == "parts"]
    )
    assert {change.subject for change in forth} >= {"zones", "walls", "LEDs", "power", "parts"}


def test_text_and_json_tell_the_same_and_folders_stay_as_they_are(
    demo_json: str, small_json: Plan, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, text in (("a", demo_json), ("b", json.dumps(small_json))):
        (tmp_path / name).mkdir()
        (tmp_path / name / "plan.json").write_text(text, "utf-8")
    words = ["compare", str(tmp_path / "a"), str(tmp_path / "b" / "plan.json")]
    assert run(words) == 0
    text = capsys.readouterr().out
    assert run([*words, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert f"{len(told['changes'])} differences" in text
    plain = " ".join(text.split())
    for change in told["changes"]:
        if change["subject"] != "warnings" and change["before"] and change["after"]:
            assert f"{change['what']} {change['before']} → {change['after']}" in plain
    assert max(len(line) for line in text.splitlines()[1:]) <= 100
    assert run(["compare", str(tmp_path / "a"), str(tmp_path / "a")]) == 0
    assert "no difference" in capsys.readouterr().out
    assert {p.name for p in (tmp_path / "a").iterdir()} == {"plan.json"}


def test_another_file_is_not_called_a_damaged_plan(
    small_json: Plan, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "plan.json").write_text(json.dumps(small_json), "utf-8")
    (tmp_path / "sign.png").write_bytes(b"\x89PNG")
    (tmp_path / "torn").mkdir()
    (tmp_path / "torn" / "plan.json").write_text('{"schema": 1, "zo', "utf-8")
    for other, damaged in (("sign.png", False), ("torn", True)):
        assert run(["compare", str(tmp_path), str(tmp_path / other)]) == 2
        told = capsys.readouterr().err
        assert ("is damaged" in told) is damaged
        assert ("is no plan" in told) is not damaged


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "does not exist"),
        (b"", "no JSON"),
        (b"\xff\xfe", "no JSON"),
        (b"[" * 100_000, "no JSON"),
        (b"[1, 2]", "not a plan"),
        (b"{}", "not a plan"),
        (b'{"schema": 2}', "newer marquee"),
        (b'{"schema": 1, "inputs": {"artwork": 5}, "zones": []}', "inputs.artwork"),
    ],
)
def test_what_is_no_plan_is_told_in_one_line(
    small_json: Plan,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    content: bytes | None,
    said: str,
) -> None:
    good, bad = tmp_path / "good.json", tmp_path / "bad.json"
    good.write_text(json.dumps(small_json), "utf-8")
    if content is not None:
        bad.write_bytes(content)
    for words in ([str(good), str(bad)], [str(bad), str(good)]):
        assert run(["compare", *words]) == 2
        captured = capsys.readouterr()
        assert captured.out == ""
        assert captured.err.count("\n") == 1
        assert said in captured.err


def test_a_folder_without_a_plan_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["compare", str(tmp_path), str(tmp_path)]) == 2
    assert "holds no plan.json" in capsys.readouterr().err


def test_control_characters_of_a_plan_do_not_reach_the_terminal(
    demo: Plan, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, plan in (("a", demo), ("b", edited(demo, put("zones.0.name", "red\x1b[31m")))):
        (tmp_path / name).write_text(json.dumps(plan), "utf-8")
    for extra in ([], ["--json"]):
        assert run(["compare", str(tmp_path / "a"), str(tmp_path / "b"), *extra]) == 0
        out = capsys.readouterr().out
        assert "red" in out
        assert "\x1b" not in out


def test_a_feed_whose_wire_stands_in_neither_form_is_compared_all_the_same(demo: Plan) -> None:
    def bare(plan: Plan) -> None:
        for key in ("wire", "awg", "mm2"):
            plan["power"]["feeds"][0].pop(key, None)

    (change,) = (c for c in changes(edited(demo, bare), demo) if c.subject == "power")
    assert "unknown wire" in str(change)
