from __future__ import annotations

import json
import tomllib
from importlib.resources import files

import click
import pytest

from marquee.cli.app import COMMANDS, program
from marquee.cli.lazy import LazyGroup
from tests.cli.conftest import Bench


@pytest.mark.parametrize("command", sorted(program.commands))
def test_every_command_explains_itself_with_an_example(bench: Bench, command: str) -> None:
    result = bench(command, "--help")
    assert result.status == 0
    assert f"Example: marquee {command}" in result.out


def test_demo_plans_the_packaged_sign(bench: Bench) -> None:
    result = bench("demo", "--json")
    assert result.status == 0, result.err
    plan = json.loads(result.out)
    kinds = [zone["kind"] for zone in plan["zones"]]
    assert kinds.count("mixed") == 1
    assert kinds.count("solid") >= 3
    mixed = next(zone for zone in plan["zones"] if zone["kind"] == "mixed")
    assert mixed["mode"] == "hue-cycle"
    assert mixed["reason"]
    assert {c["origin"] for c in plan["colours"] if c["area_mm2"] > 0} >= {"palette"}
    assert plan["barriers"]["walls"]


def test_new_starts_a_project_and_never_overwrites_one(bench: Bench) -> None:
    assert bench("new", "cab", "--artwork", "a.png", "--width", "15in").status == 0
    path = bench.folder / "cab" / "project.toml"
    raw = tomllib.loads(path.read_text(encoding="utf-8"))
    assert raw["artwork"] == {"file": "a.png", "width": "15in"}
    again = bench("new", "cab")
    assert again.status == 2
    assert "exists already" in again.err
    assert tomllib.loads(path.read_text(encoding="utf-8")) == raw


def test_new_refuses_a_width_without_unit(bench: Bench) -> None:
    result = bench("new", "cab", "--width", "380")
    assert result.status == 2
    assert not (bench.folder / "cab").exists()


def test_zones_answers_one_question(bench: Bench, sign: str) -> None:
    result = bench("zones", sign, "--width", "120mm")
    assert result.status == 0, result.err
    assert "#18b8a8" in result.out
    assert "#ff9a1e" in result.out
    found = json.loads(bench("zones", sign, "--width", "120mm", "--json").out)
    assert [len(z["colours"]) for z in found["zones"]] == [1, 1]
    assert sorted(p.name for p in bench.folder.iterdir()) == ["sign.png"]


def test_colour_prints_bytes_and_json_gives_the_same(bench: Bench) -> None:
    words = ("colour", "lab(48% 62 43)", "#1f7a8c", "--part", "sk6812", "--brightness", "30%")
    table = bench(*words)
    found = json.loads(bench(*words, "--json").out)
    assert table.status == 0, table.err
    for colour in found["colours"]:
        assert ",".join(str(c) for c in colour["codes"]) in table.out
    assert "\x1b" not in table.out, "no colour codes where nobody watches"


@pytest.mark.parametrize("text", ["#12345", "lab(48 62", "crimsonish", "rgb(a b c)", ""])
def test_an_unreadable_colour_is_told_in_one_line(bench: Bench, text: str) -> None:
    result = bench("colour", text)
    assert result.status == 2
    assert result.err.count("\n") == 1


def test_parts_lists_all_and_shows_each_source(bench: Bench) -> None:
    listing = bench("parts")
    assert listing.status == 0, listing.err
    names = [p["name"] for p in json.loads(bench("parts", "--json").out)]
    assert {"ws2812b", "ws2812b-v5", "sk6812", "ws2815", "apa102"} <= set(names)
    for name in names:
        assert name in listing.out
        one = json.loads(bench("parts", name, "--json").out)
        assert one["figures"]
        assert all(f["source"] and f["status"] for f in one["figures"].values())
        assert "data sheet" in bench("parts", name).out


def test_materials_are_listed_each_with_its_source_and_how_to_give_ones_own(bench: Bench) -> None:
    listing = bench("parts", "--materials")
    assert listing.status == 0, listing.err
    told = json.loads(bench("parts", "--materials", "--json").out)
    # The table as TOML's own reader gives it.
    table = tomllib.loads((files("marquee") / "tables" / "materials.toml").read_text("utf-8"))
    for kind in ("surface", "diffuser"):
        rows = {row["name"]: row for row in table[kind]}
        assert [one["name"] for one in told[f"{kind}s"]] == list(rows)
        for one in told[f"{kind}s"]:
            assert one["name"] in listing.out
            for key, figure in one["figures"].items():
                row = rows[one["name"]][key]
                assert {k: figure[k] for k in ("value", "low", "high", "source", "status")} == {
                    k: row[k] for k in ("value", "low", "high", "source", "status")
                }
    assert "--transmittance" in listing.out
    assert "--reflectance" in listing.out
    assert bench("parts", "ws2812b", "--materials").status == 2


def test_an_unknown_part_names_the_nearest(bench: Bench) -> None:
    result = bench("parts", "sk6813")
    assert result.status == 2
    assert "sk6812" in result.err


def test_an_unknown_command_is_told_in_one_line(bench: Bench) -> None:
    result = bench("plam")
    assert result.status == 2
    assert result.err.count("\n") == 1


def test_header_check_tells_current_from_edited_from_stale(bench: Bench, sign: str) -> None:
    made = bench("header", sign, "--width", "120mm")
    assert made.status == 0, made.err
    path = bench.folder / "c.h"
    path.write_text(made.out, encoding="ascii")
    assert bench("header", sign, "--width", "120mm", "--check", "c.h").status == 0
    assert bench("header", "--check", "c.h").status == 0
    stale = bench("header", sign, "--width", "240mm", "--check", "c.h")
    assert stale.status == 1
    assert "edited" not in stale.out
    path.write_text(made.out.replace("pgm_read_word", "pgm_read_byte"), encoding="ascii")
    other = bench("header", sign, "--width", "120mm", "--check", "c.h")
    assert other.status == 1
    assert "the values fit" in other.out
    path.write_text(made.out.replace("LATCH_US 300UL", "LATCH_US 301UL"), encoding="ascii")
    edited = bench("header", "--check", "c.h")
    assert edited.status == 1
    assert "edited by hand" in edited.out
    path.write_text("int main(void) { return 0; }\n", encoding="ascii")
    assert bench("header", "--check", "c.h").status == 2


def test_the_constants_come_in_python_and_json_too(bench: Bench, sign: str) -> None:
    as_json = json.loads(bench("header", sign, "--width", "120mm", "--form", "json").out)
    as_python = bench("header", sign, "--width", "120mm", "--form", "py").out
    names: dict[str, object] = {}
    exec(compile(as_python, "constants.py", "exec"), names)  # noqa: S102 -- our own output is the subject
    assert names["LED_COUNT"] == as_json["led_count"]


def test_firmware_writes_a_program_with_the_plans_constants(bench: Bench, sign: str) -> None:
    result = bench("firmware", "sketch", sign, "--width", "120mm", "--prefix", "LAMP")
    assert result.status == 0, result.err
    header = bench.folder / "sketch" / "marquee_constants.h"
    assert (
        header.read_text(encoding="ascii")
        == bench("header", sign, "--width", "120mm", "--prefix", "LAMP").out
    )
    assert "LAMP_" in (bench.folder / "sketch" / "sign.c").read_text(encoding="ascii")


def test_firmware_alone_holds_the_demo(bench: Bench) -> None:
    result = bench("firmware", "sketch")
    assert result.status == 0, result.err
    assert "demo" in result.out
    header = (bench.folder / "sketch" / "marquee_constants.h").read_text(encoding="ascii")
    assert "ORB_HOLLOW_LED_COUNT" in header


def test_power_answers_without_artwork(bench: Bench) -> None:
    words = ("power", "--leds", "300", "--pitch", "16.7mm", "--part", "ws2815")
    wiring = ("--feed", "start,end", "--wire", "18AWG", "--feed-length", "1.5m")
    result = bench(*words, *wiring)
    assert result.status == 0, result.err
    assert "licensed" in result.out
    found = json.loads(bench(*words, *wiring, "--json").out)
    assert [f["awg"] for f in found["feeds"]] == [18, 18]
    assert [f["length_mm"] for f in found["feeds"]] == [1500.0, 1500.0]


@pytest.mark.parametrize(
    "words",
    [
        ("--pitch", "30mm"),
        ("--part", "sk6812-rgbw-nw"),
        ("--feed", "start"),
        ("--wire", "14AWG"),
        ("--feed-length", "3m"),
        ("--supply", "5V/2A"),
        ("--extra", "0.3A"),
        ("--extra", "shelf lamps=500mA"),
        ("--rail", "0.2"),
        ("--copper", "70"),
        ("--tariff", "0.3"),
        ("--currency", "EUR"),
        ("--hours", "6"),
        ("--cabinets", "3"),
        ("--price", "fuse=0.4"),
        ("--measured-w", "9"),
    ],
    ids=lambda words: f"{words[0]}={words[1]}",
)
def test_every_power_option_changes_the_answer(bench: Bench, words: tuple[str, ...]) -> None:
    base = ("power", "--leds", "60", "--json")
    plain, changed = bench(*base), bench(*base, *words)
    assert changed.status == 0, changed.err
    assert json.loads(changed.out) != json.loads(plain.out)


def test_power_lists_findings_in_json_as_in_text(bench: Bench) -> None:
    words = ("power", "--leds", "60", "--supply", "5V/2A")
    codes = [finding["code"] for finding in json.loads(bench(*words, "--json").out)["warnings"]]
    assert "power.brightness-capped" in codes
    assert all(f"[{code}]" in bench(*words).out for code in codes)


@pytest.mark.parametrize(
    "words", [("--extra", "1", "--extra", "2"), ("--price", "supply"), ("--extra", "a=2W")]
)
def test_power_refuses_loads_and_prices_it_cannot_read(
    bench: Bench, words: tuple[str, ...]
) -> None:
    result = bench("power", "--leds", "60", *words)
    assert result.status == 2
    assert result.err.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--supply", "12V/4A"), "12 V would destroy it"),
        (("--controller", "atmega328"), "did you mean atmega328p"),
        (("--pitch", "6mm", "--part", "sk6812-rgbw-nw", "--width", "400mm"), "bytes of RAM"),
    ],
)
def test_a_plan_that_cannot_be_powered_or_held_is_refused_before_the_light_is_worked_out(
    bench: Bench, sign: str, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], said: str
) -> None:
    def never(*_: object) -> None:
        raise AssertionError("the light was worked out first")

    monkeypatch.setattr("marquee.box.light.transfer_light", never)
    result = bench("plan", sign, "--width", "120mm", *words)
    assert result.status == 2
    assert said in result.err


def test_power_solves_a_network_as_ngspice_does(bench: Bench) -> None:
    from pathlib import Path

    path = Path(__file__).parents[1] / "data" / "circuits" / "01_end_10.json"
    published = json.loads(path.read_text(encoding="utf-8"))["results"]["v_led"]
    found = json.loads(bench("power", "--circuit", str(path)).out)
    # ngspice 39 operating point, printed to 1e-9 V.
    assert found["v_led"] == pytest.approx(published, abs=1e-6)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "--leds"),
        (("--leds", "300", "--feed", "start", "--wire", "22AWG"), "22 AWG"),
        (("--leds", "30", "--feed-length", "-1m"), "feed_length"),
        (("--leds", "300", "--supply", "5V/0.2A"), "0.2"),
        (("--leds", "30", "--supply", "12V/3A"), "12"),
        (("--circuit", "none.json"), "none.json"),
    ],
)
def test_power_refuses_what_cannot_be_wired(
    bench: Bench, words: tuple[str, ...], said: str
) -> None:
    result = bench("power", *words)
    assert result.status == 2
    assert said in result.err
    assert result.err.count("\n") == 1


@pytest.mark.parametrize("words", [(), ("bench",)])
def test_a_bare_command_shows_its_help(bench: Bench, words: tuple[str, ...]) -> None:
    result = bench(*words)
    assert result.status == 2
    assert result.out == bench(*words, "--help").out


@pytest.mark.parametrize("command", sorted(program.commands))
def test_the_listing_says_of_a_command_what_the_command_says(command: str) -> None:
    real = program.get_command(click.Context(program), command)
    assert real is not None
    assert real.callback is not None
    listed = LazyGroup(places=COMMANDS).commands[command]
    assert listed.get_short_help_str(200) == real.get_short_help_str(200)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--leds", "30", "--tariff", "30 cents"], "is not a number"),
        (["--leds", "thirty"], "is not a whole number"),
        (["--leds", "30", "--cabinets", "1.5"], "is not a whole number"),
        (["--leds", "0"], "is not from 1 to 100000"),
    ],
)
def test_a_word_where_a_number_belongs_is_told_without_names_of_types(
    bench: Bench, words: list[str], told: str
) -> None:
    result = bench("power", *words)
    assert result.status == 2
    assert told in result.err
    assert words[-2] in result.err
    assert not any(word in result.err for word in ("float", "integer", "range", "<="))
