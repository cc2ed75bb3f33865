"""Commands that ask one question of a sign: what a run before computed is not computed again, and says the same."""

from __future__ import annotations

import pytest

from marquee.cache.remember import Remembering
from marquee.cache.store import ENVIRONMENT
from tests.cli.conftest import Bench

WIDTH = ("--width", "120mm")
SWEEP = ("--sweep", "depth=15mm:25mm", "--steps", "2")
# Command, what must be computed once, a flag that changes the answer, and what must be computed for it again.
ASKED = {
    "zones": (
        ("zones", "sign.png", *WIDTH),
        {"find_zones"},
        ("--min-area", "1700mm2"),
        {"find_zones"},
    ),
    "light": (
        ("light", "sign.png", *WIDTH, *SWEEP),
        {"find_zones", "transfer_light", "advise", "sweep_light"},
        ("--aim", "90%"),
        {"advise"},
    ),
    "header": (
        ("header", "sign.png", *WIDTH),
        {"find_zones", "transfer_light", "choose_constants"},
        ("--white", "D50"),
        {"solve_drive"},
    ),
    "power": (("power", "--leds", "60"), {"plan_power"}, ("--supply", "5V/10A"), {"plan_power"}),
}


@pytest.fixture(name="rounds")
def _rounds(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> list[set[str]]:
    """Keep values in a folder of the test's own; tell what each command computed."""
    folder = bench.folder / ".cache"
    folder.mkdir(mode=0o700)
    monkeypatch.setenv(ENVIRONMENT, f"{folder}")
    told: list[set[str]] = []
    end = Remembering.end_round

    def ending(memory: Remembering) -> None:
        told.append({name.split(":")[-1] for name in memory.computed})
        end(memory)

    monkeypatch.setattr(Remembering, "end_round", ending)
    return told


@pytest.mark.parametrize("name", ASKED)
def test_a_question_asked_again_computes_nothing_and_says_the_same(
    bench: Bench, sign: str, rounds: list[set[str]], name: str
) -> None:
    assert sign == "sign.png"
    words, wanted, change, again = ASKED[name]
    anew = bench(*words, "--no-cache")
    assert rounds == []
    first, second, changed = bench(*words), bench(*words), bench(*words, *change)
    assert anew.status == 0
    assert first == second == anew
    assert changed == bench(*words, *change, "--no-cache")
    assert changed.out != first.out
    assert wanted <= rounds[0]
    assert rounds[1] == set()
    assert again <= rounds[2]
    assert len(rounds) == 3


def test_what_one_command_computed_serves_another(
    bench: Bench, sign: str, rounds: list[set[str]]
) -> None:
    assert bench("plan", sign, *WIDTH).status == 0
    assert bench("header", sign, *WIDTH).status == 0
    assert bench("zones", sign, *WIDTH).status == 0
    assert bench("firmware", "sketch", sign, *WIDTH).status == 0
    assert rounds[0] >= {"find_zones", "transfer_light", "choose_constants"}
    assert rounds[1:] == [set(), set(), set()]


def test_a_header_is_checked_against_what_is_remembered(
    bench: Bench, sign: str, rounds: list[set[str]]
) -> None:
    text = bench("header", sign, *WIDTH).out
    (bench.folder / "c.h").write_text(text, encoding="utf-8")
    assert bench("header", sign, *WIDTH, "--check", "c.h").status == 0
    assert rounds[1] == set()
    assert bench("header", sign, *WIDTH, "--check", "c.h", "--depth", "60mm").status == 1
    assert "transfer_light" in rounds[2]
