from __future__ import annotations

import json
import math
import os
import subprocess
import sys
import zlib
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from tests.cli.conftest import Bench, draw_sign

FILES = {
    "plan.json",
    "marquee_constants.h",
    "overview.png",
    "zones.png",
    "barriers.png",
    "leds.png",
    "lit.png",
    "light.png",
    "bleed.png",
    "chromaticity.png",
    "summary.txt",
}

# Every key plan.json promises, by table.
CONTRACT = {
    "": "schema marquee inputs face colours zones adjacent barriers leds power firmware warnings",
    "inputs": "artwork settings",
    "inputs.artwork": "file sha256 width_px height_px",
    "face": "width_mm height_mm mm_per_px",
    "colours.0": "name srgb lab_d65 origin area_mm2",
    "zones.0": "id name colour srgb kind mode apertures area_mm2 bbox_mm leds drive predicted_lab_d65 "
    "delta_e_2000 band_delta_e_2000 in_gamut luminance_cd_m2 evenness bleed",
    "zones.0.evenness": "min_over_mean min_over_max",
    "adjacent.0": "zones gap_mm touching",
    "barriers": "wall_thickness_mm wall_height_mm total_length_mm walls",
    "barriers.walls.0": "id zones path_mm length_mm slots_mm",
    "leds": "part arrangement pitch_mm count lit x_mm y_mm zone",
    "power": "rail_v worst_case_a planned_a dark_a supply brightness_cap feeds fuse_a min_led_v worst_led "
    "heat_w energy_wh_per_hour cost_per_hour",
    "power.supply": "volts amps watts",
    "power.feeds.0": "at_led awg mm2 length_mm current_a drop_v",
    "firmware": "controller flash_bytes ram_bytes frame_ms max_frames_per_s",
}


def _at(content: Any, place: str) -> Any:
    for step in filter(None, place.split(".")):
        content = content[int(step)] if step.isdigit() else content[step]
    return content


def _numbers(content: Any) -> list[float]:
    if isinstance(content, dict):
        return [n for value in content.values() for n in _numbers(value)]
    if isinstance(content, list):
        return [n for value in content for n in _numbers(value)]
    return [content] if isinstance(content, float | int) and not isinstance(content, bool) else []


@pytest.fixture
def planned(bench: Bench, sign: str) -> dict[str, Any]:
    result = bench("plan", sign, "--width", "120mm", "--json")
    assert result.status == 0, result.err
    content: dict[str, Any] = json.loads(result.out)
    return content


def test_json_on_stdout_is_the_written_plan_and_nothing_else(
    bench: Bench, planned: dict[str, Any]
) -> None:
    written = json.loads((bench.folder / "sign-plan" / "plan.json").read_text(encoding="utf-8"))
    assert planned == written
    assert {p.name for p in (bench.folder / "sign-plan").iterdir() if p.name[0] != "."} >= FILES


@pytest.mark.parametrize("place", CONTRACT)
def test_plan_json_keeps_its_contract(planned: dict[str, Any], place: str) -> None:
    assert set(_at(planned, place)) >= set(CONTRACT[place].split())


def test_plan_json_tells_the_truth_about_a_sign_drawn_to_measure(planned: dict[str, Any]) -> None:
    assert planned["schema"] == 1
    assert planned["face"]["width_mm"] == pytest.approx(120.0)
    assert planned["face"]["height_mm"] == pytest.approx(60.0)
    # Squares of 160 and 200 by 160 pixels at 0.25 mm: 40 × 40 and 50 × 40 mm, 8 mm apart.
    areas = sorted(zone["area_mm2"] for zone in planned["zones"])
    assert areas == pytest.approx([1600.0, 2000.0], rel=0.01)
    assert sorted(z["srgb"] for z in planned["zones"]) == ["#18b8a8", "#ff9a1e"]
    assert planned["adjacent"][0]["gap_mm"] == pytest.approx(8.0, abs=0.3)
    assert planned["adjacent"][0]["touching"] is False
    # One straight wall from rim to rim, 60 mm.
    assert planned["barriers"]["total_length_mm"] == pytest.approx(60.0, abs=0.5)


def test_plan_json_agrees_with_itself(planned: dict[str, Any]) -> None:
    leds = planned["leds"]
    assert len(leds["x_mm"]) == len(leds["y_mm"]) == len(leds["zone"]) == leds["count"]
    assert leds["lit"] == sum(z >= 0 for z in leds["zone"])
    for zone in planned["zones"]:
        assert zone["leds"] == [i for i, z in enumerate(leds["zone"]) if z == zone["id"]]
        assert zone["leds"], "every zone has light"
        assert all(0 <= code <= 255 for code in zone["drive"])
        assert 0 <= zone["evenness"]["min_over_max"] <= zone["evenness"]["min_over_mean"] <= 1
        assert 0 <= zone["bleed"] <= 1
    power = planned["power"]
    assert power["dark_a"] <= power["planned_a"] <= power["worst_case_a"]
    assert power["worst_case_a"] * power["brightness_cap"] <= power["supply"]["amps"]
    assert power["supply"]["watts"] == pytest.approx(
        power["supply"]["amps"] * power["supply"]["volts"], rel=0.1
    )
    assert all(math.isfinite(n) for n in _numbers(planned))


def test_the_same_input_gives_identical_bytes(bench: Bench, sign: str) -> None:
    for out in ("one", "two"):
        assert bench("plan", sign, "--width", "120mm", "--out", out).status == 0
    for name in FILES:
        one, two = (bench.folder / out / name for out in ("one", "two"))
        assert one.read_bytes() == two.read_bytes(), name


def test_pictures_are_wide_enough_to_read(bench: Bench, sign: str) -> None:
    assert bench("plan", sign, "--width", "120mm").status == 0
    for path in (bench.folder / "sign-plan").glob("*.png"):
        with Image.open(path) as picture:
            assert picture.width >= 1200, path.name


def test_the_terminal_shows_what_summary_txt_holds(bench: Bench, sign: str) -> None:
    result = bench("plan", sign, "--width", "120mm")
    text = (bench.folder / "sign-plan" / "summary.txt").read_text(encoding="utf-8")
    shown = [
        line for line in result.out.splitlines() if not line.startswith(("written", " " * 11))
    ]
    kept = [line for line in text.splitlines() if not line.startswith(" " * 11)]
    assert shown == kept
    assert "licensed" in text, "the cautions defer to licensed practice"


@pytest.mark.parametrize(
    ("flags", "place"),
    [
        (("--width", "240mm"), "face.width_mm"),
        (("--pitch", "10mm"), "leds.count"),
        (("--depth", "25mm"), "zones.0.evenness.min_over_max"),
        (("--wall", "6mm"), "barriers.wall_thickness_mm"),
        (("--wall-gap", "1mm"), "zones.0.bleed"),
        (("--diffuser", "opal-polycarbonate-3mm"), "zones.0.luminance_cd_m2"),
        (("--paint", "raw-plywood"), "zones.0.evenness.min_over_max"),
        (("--reflectance", "90%"), "zones.0.luminance_cd_m2"),
        (("--transmittance", "0.6"), "zones.0.luminance_cd_m2"),
        (("--luminance", "150"), "power.planned_a"),
        (("--part", "sk6812"), "zones.0.drive"),
        (("--arrangement", "board"), "leds.arrangement"),
        (("--white", "D50"), "zones.0.drive"),
        (("--policy", "fill"), "zones.0.luminance_cd_m2"),
        (("--brightness", "30%"), "power.planned_a"),
        (("--observer", "cie-2015-10"), "zones.0.drive"),
        (("--supply", "5V/1A"), "power.brightness_cap"),
        (("--feed-length", "3m"), "power.feeds.0.length_mm"),
        (("--tariff", "0.3"), "power.cost_per_hour"),
        (("--controller", "attiny85"), "firmware.controller"),
        (("--face", "#18b8a8"), "zones.0.srgb"),
        (("--min-area", "1700mm2"), "zones.0.area_mm2"),
    ],
    ids=lambda v: v[0] if isinstance(v, tuple) else v,
)
def test_each_option_changes_what_it_says(
    bench: Bench, planned: dict[str, Any], sign: str, flags: tuple[str, ...], place: str
) -> None:
    width = () if flags[0] == "--width" else ("--width", "120mm")
    result = bench("plan", sign, *width, *flags, "--out", "other", "--json")
    assert result.status == 0, result.err
    assert _at(json.loads(result.out), place) != _at(planned, place)


def test_a_prefix_names_every_constant(bench: Bench, sign: str) -> None:
    assert bench("plan", sign, "--width", "120mm", "--prefix", "LAMP").status == 0
    text = (bench.folder / "sign-plan" / "marquee_constants.h").read_text(encoding="ascii")
    assert "#define LAMP_" in text
    assert "#define MARQUEE_" not in text


def test_strict_turns_a_warning_into_status_1(bench: Bench, sign: str) -> None:
    mild = bench("plan", sign, "--width", "120mm", "--depth", "8mm")
    assert mild.status == 0
    assert "light.uneven" in mild.out
    strict = bench("plan", sign, "--width", "120mm", "--depth", "8mm", "--strict")
    assert strict.status == 1


def _bad_sources(folder: Path) -> dict[str, str]:
    sign = folder / "sign.png"
    content = sign.read_bytes()
    (folder / "text.png").write_bytes(b"not an image\n")
    (folder / "empty.png").write_bytes(b"")
    (folder / "cut.png").write_bytes(content[: len(content) // 2])
    damaged = bytearray(content)
    damaged[content.index(b"IDAT") + 8] ^= 0xFF
    (folder / "crc.png").write_bytes(bytes(damaged))
    bomb = bytearray(content)
    bomb[16:24] = (60_000).to_bytes(4, "big") * 2
    # PNG (ISO/IEC 15948) 5.3: the checksum covers chunk type and data.
    bomb[29:33] = zlib.crc32(bytes(bomb[12:29])).to_bytes(4, "big")
    (folder / "bomb.png").write_bytes(bytes(bomb))
    Image.new("RGB", (50, 20), "#000000").save(folder / "dark.png")
    Image.new("RGBA", (50, 20), (255, 0, 0, 0)).save(folder / "clear.png")
    os.mkfifo(folder / "pipe.png")
    (folder / "folder.png").mkdir()
    return {
        "text.png": "not a PNG",
        "empty.png": "empty|not a PNG",
        "cut.png": "cut|truncated|ends|incomplete",
        "crc.png": "checksum",
        "bomb.png": "megapixels",
        "dark.png": "lit|dark",
        "clear.png": "lit|transparent",
        "pipe.png": "not a (regular |plain )?file|pipe",
        "folder.png": "folder|directory",
        "missing.png": "not exist|no such|not found|cannot be",
        "/dev/null": "not a|device",
    }


@pytest.mark.parametrize(
    "source",
    [
        "text.png",
        "empty.png",
        "cut.png",
        "crc.png",
        "bomb.png",
        "dark.png",
        "clear.png",
        "pipe.png",
        "folder.png",
        "missing.png",
        "/dev/null",
    ],
)
@pytest.mark.usefixtures("sign")
def test_bad_artwork_is_told_in_one_line_and_nothing_is_written(bench: Bench, source: str) -> None:
    import re

    said = _bad_sources(bench.folder)[source]
    before = sorted(p.name for p in bench.folder.iterdir())
    result = bench("plan", source, "--width", "120mm")
    assert result.status == 2
    assert result.out == ""
    assert result.err.count("\n") == 1
    assert re.search(said, result.err, re.IGNORECASE), result.err
    assert sorted(p.name for p in bench.folder.iterdir()) == before


@pytest.mark.parametrize(
    ("flags", "said"),
    [
        (("--width", "0mm"), "width"),
        (("--width", "-3mm"), "width"),
        (("--width", "nan"), "width"),
        (("--width", "inf"), "width"),
        (("--width", "380"), "380mm .15in. or 380in"),
        ((), "--width"),
        (("--width", "9mm", "--part", "ws2812c"), "ws2812b"),
        (("--width", "120mm", "--palette", "none.toml"), "none.toml"),
        (("--width", "120mm", "--controller", "atmega382"), "atmega328"),
        (("--width", "120mm", "--diffuser", "opal"), "opal-"),
        (("--width", "120mm", "--face", "#zzz"), "--face|zones.face"),
        (("--width", "120mm", "--supply", "12V/5A"), "12"),
        (("--width", "120mm", "--prefix", "9x"), "prefix"),
        (("--width", "120mm", "--brightness", "130%"), "brightness"),
        (("--width", "120mm", "--no-such"), "no-such"),
        (("--width", "120mm", "--brightness", "30%", "--luminance", "99"), "not both"),
    ],
)
def test_bad_options_are_told_in_one_line(
    bench: Bench, sign: str, flags: tuple[str, ...], said: str
) -> None:
    import re

    result = bench("plan", sign, *flags)
    assert result.status == 2
    assert result.err.count("\n") == 1
    assert re.search(said, result.err), result.err
    assert [p.name for p in bench.folder.iterdir()] == ["sign.png"]


def test_a_folder_that_is_not_ours_stops_before_any_work(bench: Bench, sign: str) -> None:
    (bench.folder / "sign-plan").mkdir()
    (bench.folder / "sign-plan" / "mine.txt").write_text("mine", encoding="utf-8")
    result = bench("plan", sign, "--width", "120mm")
    assert result.status == 2
    assert "not made by marquee" in result.err
    assert [p.name for p in (bench.folder / "sign-plan").iterdir()] == ["mine.txt"]


@pytest.mark.parametrize(
    "name",
    [
        b"two words.png",
        b"-dash.png",
        b"new\nline.png",
        b"\x1b[31mred.png",
        b"caf\xe9.png",
        "夜市.png".encode(),
        b"a$b{c}%s.png",
        "rtl\u202egnp.png".encode(),
    ],
)
def test_odd_file_names_are_safe_everywhere(bench: Bench, name: bytes) -> None:
    source = bench.folder / os.fsdecode(name)
    draw_sign(source)
    done = subprocess.run(
        [sys.executable, "-m", "marquee", "plan", "--width", "120mm", "--out", "odd", "--", name],
        cwd=bench.folder,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    texts = [done.stdout, done.stderr]
    texts += [(bench.folder / "odd" / f).read_bytes() for f in ("summary.txt", "plan.json")]
    header = (bench.folder / "odd" / "marquee_constants.h").read_bytes()
    assert header.isascii()
    for text in [*texts, header]:
        assert b"\x1b" not in text
        assert "\u202e".encode() not in text
        text.decode("utf-8")
    json.loads(texts[-1])


def test_a_project_file_and_its_flags_give_the_same_plan(bench: Bench, sign: str) -> None:
    (bench.folder / "project.toml").write_text(
        f'[artwork]\nfile = "{sign}"\nwidth = "120mm"\n[leds]\npitch = "10mm"\n', encoding="utf-8"
    )
    by_file = bench("plan", "project.toml", "--json", "--out", "a")
    by_flag = bench("plan", sign, "--width", "120mm", "--pitch", "10mm", "--json", "--out", "b")
    assert by_file.status == by_flag.status == 0
    assert json.loads(by_file.out) == json.loads(by_flag.out)
    over = bench("plan", "project.toml", "--pitch", "20mm", "--json", "--out", "a")
    assert json.loads(over.out)["leds"]["pitch_mm"] == pytest.approx(20.0)


@pytest.mark.parametrize("locale", ["C", "POSIX", "C.UTF-8"])
def test_no_locale_and_no_home_still_plan(bench: Bench, sign: str, locale: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "marquee", "plan", sign, "--width", "120mm"],
        cwd=bench.folder,
        env={"PATH": os.environ["PATH"], "LC_ALL": locale, "PYTHONCOERCECLOCALE": "0"}
        | {"MARQUEE_CACHE": f"{bench.folder / 'cache'}"},
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert b"Traceback" not in done.stderr
