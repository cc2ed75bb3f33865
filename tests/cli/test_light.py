from __future__ import annotations

import io
import json

import pytest
from PIL import Image

from tests.cli.conftest import Bench

WIDTH = ("--width", "120mm")


def test_light_tells_zones_brightness_and_advice(bench: Bench, sign: str) -> None:
    result = bench("light", sign, *WIDTH, "--depth", "10mm", "--pitch", "20mm")
    assert result.status == 0, result.err
    for words in ("dark/bright", "lit room", "Advice", "a wall gap", "depth 10"):
        assert words in result.out
    assert sorted(p.name for p in bench.folder.iterdir()) == ["sign.png"]


def test_json_gives_what_plan_json_gives(bench: Bench, sign: str) -> None:
    told = json.loads(bench("light", sign, *WIDTH, "--no-advice", "--json").out)
    plan = json.loads(bench("plan", sign, *WIDTH, "--json").out)
    assert told["advice"] is None
    assert told["current_a"] == plan["power"]["planned_a"]
    for ours, theirs in zip(told["zones"], plan["zones"], strict=True):
        for key in ("evenness", "worst_mm", "bleed", "bleed_from", "bleed_delta_e_2000"):
            assert ours[key] == theirs[key]
        assert ours["luminance_cd_m2"] == theirs["luminance_cd_m2"]


def test_a_sweep_is_tabled_and_drawn(bench: Bench, sign: str) -> None:
    words = ("--sweep", "depth=15mm:2.5cm", "--sweep", "pitch=12mm:20mm", "--steps", "2")
    result = bench("light", sign, *WIDTH, *words, "--no-advice", "--picture", "sweep.png")
    assert result.status == 0, result.err
    assert "depth ≥ pitch (common practice, no source)" in result.out
    for value in ("15.0", "25.0", "12.0", "20.0"):
        assert f"\n{value:>10} " in result.out
    image = Image.open(io.BytesIO((bench.folder / "sweep.png").read_bytes()))
    assert image.size[0] == 1200


def test_a_luminance_asked_for_is_what_white_gets(bench: Bench, sign: str) -> None:
    told = json.loads(
        bench("light", sign, *WIDTH, "--luminance", "80", "--no-advice", "--json").out
    )
    assert told["white_cd_m2"] == pytest.approx(80, rel=1e-4)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--sweep", "depth"), "depth=20mm:80mm"),
        (("--sweep", "gap=1mm:2mm"), "depth=20mm:80mm"),
        (("--sweep", "depth=20:80mm"), "no unit"),
        (("--sweep", "depth=20mm:2cm"), "two different lengths"),
        (("--sweep", "depth=0mm:20mm"), "not above zero"),
        (("--sweep", "depth=2mm:20mm", "--no-advice"), "3 mm thick"),
        (("--sweep", "pitch=2mm:20mm", "--no-advice"), "package"),
        (("--steps", "1"), "--steps"),
        (("--picture", "a.png"), "--sweep"),
        (("--aim", "120%"), "--aim"),
        (("--depth", "0mm"), "not above zero"),
        (("--depth", "3mm"), "make the box deeper or choose a thinner sheet"),
        (("--luminance", "0"), "is not above 0"),
        (("--wall-gap", "40mm"), "leaves no wall"),
        (("--reflectance", "100%"), "no surface sends back all light"),
        (("--reflectance", "1.2"), "outside 0 to 100%"),
        (("--transmittance", "120%"), "outside 0 to 100%"),
        (("--paint", "matt-white"), "matt-white-paint"),
    ],
)
def test_what_cannot_be_lit_is_refused_in_one_line(
    bench: Bench, sign: str, words: tuple[str, ...], said: str
) -> None:
    result = bench("light", sign, *WIDTH, *words)
    assert result.status == 2
    assert said in result.err
    assert result.err.count("\n") == 1
    assert result.out == ""
