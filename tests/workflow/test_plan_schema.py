"""The published schema of plan.json against real plans, with jsonschema as the judge (JSON Schema 2020-12)."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

import marquee
from marquee.cli.app import run
from marquee.demo import demo_folder
from tests.workflow.signs import project, two_squares

SCHEMA = json.loads(files("marquee").joinpath("outputs/plan.schema.json").read_text("utf-8"))

# plan.json, schema 1, as first agreed: programs may count on these.
_AGREED = """
schema marquee inputs.artwork.file inputs.artwork.sha256 inputs.artwork.width_px inputs.artwork.height_px inputs.settings
face.width_mm face.height_mm face.mm_per_px
colours.0.name colours.0.srgb colours.0.lab_d65 colours.0.origin colours.0.area_mm2
zones.0.id zones.0.name zones.0.colour zones.0.srgb zones.0.kind zones.0.mode zones.0.apertures zones.0.area_mm2
zones.0.bbox_mm zones.0.leds zones.0.drive zones.0.predicted_lab_d65 zones.0.delta_e_2000 zones.0.band_delta_e_2000
zones.0.in_gamut zones.0.luminance_cd_m2 zones.0.evenness.min_over_mean zones.0.evenness.min_over_max zones.0.bleed
adjacent.0.zones adjacent.0.gap_mm adjacent.0.touching
barriers.wall_thickness_mm barriers.wall_height_mm barriers.total_length_mm barriers.walls.0.id barriers.walls.0.zones
barriers.walls.0.path_mm barriers.walls.0.length_mm barriers.walls.0.slots_mm
leds.part leds.arrangement leds.pitch_mm leds.count leds.lit leds.x_mm leds.y_mm leds.zone
power.rail_v power.worst_case_a power.planned_a power.dark_a power.supply.volts power.supply.amps power.supply.watts
power.brightness_cap power.feeds.0.at_led power.feeds.0.awg power.feeds.0.mm2 power.feeds.0.length_mm
power.feeds.0.current_a power.feeds.0.drop_v power.fuse_a power.min_led_v power.worst_led power.heat_w
power.energy_wh_per_hour power.cost_per_hour
firmware.controller firmware.flash_bytes firmware.ram_bytes firmware.frame_ms firmware.max_frames_per_s
warnings.0.code warnings.0.where warnings.0.message
"""
CONTRACT = _AGREED.split()

FITTED = "name,colour,r,g,b,date\nwhite,#ffffff,255,176,240,2026-03-01\nred,#d6402b,255,30,20,2026-03-01\n"


def _signs(folder: Path) -> Iterator[tuple[str, marquee.Plan]]:
    two_squares(folder / "two.png")
    with demo_folder() as demo:
        yield "demo", marquee.plan(demo / "project.toml")
    lines = (
        '[zones]\noverride = [{at = ["30mm", "30mm"], name = "lamp", mode = "hue-cycle"}]',
        '[power]\nwire = "metric"\nfeeds = "start,end"\nfeed_lengths = ["1m", "2m"]\ntariff_per_kwh = 0.3',
        'hours_per_day = 5\nextra_loads = {"shelf lamps" = "0.5A"}\nprices = {supply = 20, wire_m = 0.8}',
    )
    yield "own wiring", marquee.plan(project(folder, "own.toml", "two.png", *lines))
    yield (
        "RGBW board",
        marquee.plan(
            folder / "two.png", width="120mm", part="sk6812-rgbw-nw", arrangement="board"
        ),
    )
    (folder / "bench").mkdir()
    (folder / "bench" / "pairs.csv").write_text(FITTED, "utf-8")
    assert run(["bench", "fit", str(folder / "bench"), "--part", "sk6812"]) == 0
    yield (
        "calibrated",
        marquee.plan(
            folder / "two.png",
            width="120mm",
            part="sk6812",
            calibration=folder / "bench" / "calibration.toml",
        ),
    )
    yield (
        "several supplies",
        marquee.plan(folder / "two.png", width="560mm", pitch="10mm", controller="rp2040"),
    )


@pytest.fixture(scope="module")
def plans(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("signs")
    return {name: json.loads(marquee.plan_json(plan)) for name, plan in _signs(folder)}


def closed(node: Any) -> Any:
    """Return the schema with unknown keys refused everywhere, which the published one leaves to later versions."""
    if isinstance(node, list):
        return [closed(item) for item in node]
    if not isinstance(node, dict):
        return node
    made = {key: closed(item) for key, item in node.items()}
    if isinstance(node.get("properties"), dict) and node.get("type") == "object":
        made["additionalProperties"] = False
    return made


def documented(node: dict[str, Any], at: str = "") -> Iterator[str]:
    """Yield the path of every key the schema describes."""
    for variant in node.get("anyOf", ()):
        yield from documented(variant, at)
    for key, below in node.get("properties", {}).items():
        yield f"{at}.{key}"
        yield from documented(below, f"{at}.{key}")
    if isinstance(node.get("items"), dict):
        yield from documented(node["items"], f"{at}[]")


def written(value: Any, at: str = "") -> Iterator[str]:
    """Yield the path of every key a plan holds."""
    if isinstance(value, dict):
        for key, below in value.items():
            yield f"{at}.{key}"
            yield from written(below, f"{at}.{key}")
    elif isinstance(value, list):
        for item in value:
            yield from written(item, f"{at}[]")


def _errors(plan: Any, schema: Any = SCHEMA) -> list[str]:
    found = Draft202012Validator(schema).iter_errors(plan)
    return [f"{e.json_path}: {e.message[:200]}" for e in found]


def test_the_schema_is_a_schema() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"] == Draft202012Validator.META_SCHEMA["$id"]


def test_real_plans_hold_to_the_schema_and_no_key_is_undocumented(plans: dict[str, Any]) -> None:
    strict = closed(SCHEMA)
    broken = {name: found for name, plan in plans.items() if (found := _errors(plan, strict))}
    assert broken == {}


def test_every_key_of_the_schema_stands_in_a_real_plan(plans: dict[str, Any]) -> None:
    held = {path for plan in plans.values() for path in written(plan)}
    assert set(documented(SCHEMA)) - held == set()


def test_every_key_says_what_it_is_and_every_length_its_unit() -> None:
    def walk(node: dict[str, Any], at: str) -> Iterator[tuple[str, dict[str, Any]]]:
        for variant in node.get("anyOf", ()):
            yield from walk(variant, at)
        for key, below in node.get("properties", {}).items():
            yield f"{at}.{key}", below
            yield from walk(below, f"{at}.{key}")
        if isinstance(node.get("items"), dict):
            yield from walk(node["items"], f"{at}[]")

    units = {"_mm": "mm", "_mm2": "mm²", "_a": "A", "_v": "V", "_w": "W", "_cd_m2": "cd/m²"}
    units |= {"_ms": "ms", "delta_e_2000": "CIEDE2000", "_k": "K"}
    for path, node in walk(SCHEMA, ""):
        key = path.rsplit(".", 1)[-1]
        told = node.get("description", "") or ("$ref" in node and "see $defs")
        assert told, path
        for ending, unit in units.items():
            if key.endswith(ending) and node.get("type") in ("number", ["number", "null"]):
                same = told.startswith("The same")
                assert same or unit in told, f"{path}: {told}"


@pytest.mark.parametrize("path", CONTRACT)
def test_a_plan_that_lacks_a_key_of_the_contract_is_rejected(
    plans: dict[str, Any], path: str
) -> None:
    plan = copy.deepcopy(plans["demo"])
    at: Any = plan
    *steps, last = path.split(".")
    for step in steps:
        at = at[int(step)] if isinstance(at, list) else at[step]
    del at[last]
    assert any(f"'{last}' is a required property" in error for error in _errors(plan))


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("schema", 2),
        ("face.width_mm", 0),
        ("face.width_mm", "380mm"),
        ("colours.0.srgb", "orange"),
        ("colours.0.lab_d65", [50, 0]),
        ("inputs.artwork.sha256", "abc"),
        ("inputs.settings.leds.pitch_mm", "16mm"),
        ("zones.0.drive", [256, 0, 0]),
        ("zones.0.drive", [-1, 0, 0]),
        ("zones.0.drive", [1.5, 0, 0]),
        ("zones.0.kind", "striped"),
        ("zones.0.mode", "blink"),
        ("zones.0.bleed", 1.2),
        ("zones.0.evenness.min_over_max", -0.1),
        ("zones.0.leds", [-1]),
        ("zones.0.in_gamut", 1),
        ("adjacent.0.zones", [0]),
        ("barriers.walls.0.path_mm", [[1, 2, 3], [4, 5, 6]]),
        ("leds.arrangement", "spiral"),
        ("leds.zone", [-2]),
        ("power.brightness_cap", 1.01),
        ("power.supply", None),
        ("power.feeds.0.fuse_a", -3),
        ("power.led_v", ["5V"]),
        ("firmware.flash_bytes", 1.5),
        ("warnings.0.code", "Mixed!"),
    ],
)
def test_a_damaged_plan_is_rejected_where_it_is_damaged(
    plans: dict[str, Any], path: str, value: Any
) -> None:
    plan = copy.deepcopy(plans["demo"])
    at: Any = plan
    *steps, last = path.split(".")
    for step in steps:
        at = at[int(step)] if isinstance(at, list) else at[step]
    assert last in at
    at[last] = value
    errors = _errors(plan)
    shown = "$" + "".join(f"[{s}]" if s.isdigit() else f".{s}" for s in [*steps, last])
    assert errors
    assert all(error.startswith(shown) for error in errors), errors


def test_keys_of_later_versions_are_let_through(plans: dict[str, Any]) -> None:
    later = copy.deepcopy(plans["demo"])
    later["zones"][0]["a_later_key"] = later["a_later_table"] = 1
    assert _errors(later) == []


def test_the_command_line_and_python_give_the_packaged_schema(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["plan", "--json-schema"]) == 0
    assert json.loads(capsys.readouterr().out) == SCHEMA
    assert marquee.plan_schema() == SCHEMA
