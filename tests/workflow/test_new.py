"""`marquee new`: asked on a terminal, silent when piped, and nothing left when it is broken off."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from marquee.cli.app import run
from marquee.project import make_project
from tests.calibration.terminal import Terminal
from tests.workflow.typed import status_of, typed_at

ANSWERS = (
    ("Artwork", "sign ü.png"),
    ("Width", "15in"),
    ("Palette", "venue.toml"),
    ("LED part", "sk6812"),
    ("LED spacing", "10mm"),
    ("Depth", "50 mm"),
    ("Supply", "5V/4A"),
    ("Controller", "rp2040"),
    ("Price", "0,3"),
)
EXPECTED = {
    "artwork": {"file": "sign ü.png", "width": "15in"},
    "zones": {"palette": "venue.toml"},
    "box": {"depth": "50 mm"},
    "leds": {"part": "sk6812", "pitch": "10mm"},
    "power": {"supply": "5V/4A", "tariff_per_kwh": 0.3},
    "firmware": {"controller": "rp2040"},
}


def stated(path: Path) -> dict[str, object]:
    raw = tomllib.loads(path.read_text("utf-8"))
    make_project(raw, "test")
    return {section: table for section, table in raw.items() if table}


def test_answers_on_a_terminal_are_written_and_the_rest_explained(tmp_path: Path) -> None:
    terminal = Terminal(tmp_path, "new", "cab")
    for prompt, answer in ANSWERS:
        terminal.expect(prompt)
        terminal.expect(": ")
        terminal.press(f"{answer}\n")
    terminal.expect("written")
    assert terminal.finish() == 0
    path = tmp_path / "cab" / "project.toml"
    assert stated(path) == EXPECTED
    assert "# wall_thickness = " in path.read_text("utf-8")


def test_flags_write_the_same_file_as_answers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    words = [
        "artwork",
        "width",
        "palette",
        "part",
        "pitch",
        "depth",
        "supply",
        "controller",
        "tariff",
    ]
    flags = [f"--{word}={answer}" for word, (_, answer) in zip(words, ANSWERS, strict=True)]
    assert run(["new", "cab", *flags]) == 0
    assert stated(tmp_path / "cab" / "project.toml") == EXPECTED


def test_a_drawing_that_states_its_size_is_planned_at_that_size(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # 15 in are 381 mm (25.4 mm an inch, 1959), not the 380 mm of a picture nobody measured.
    monkeypatch.chdir(tmp_path)
    (tmp_path / "cab").mkdir()
    (tmp_path / "cab" / "sign.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="15in" height="6in" viewBox="0 0 150 60">'
        '<rect width="150" height="60"/><circle cx="40" cy="30" r="20" fill="#fa0"/></svg>',
        "utf-8",
    )
    assert run(["new", "cab", "--artwork", "sign.svg"]) == 0
    assert "guess" not in capsys.readouterr().out
    assert run(["zones", "cab/project.toml"]) == 0
    assert "381.0 × 152.4 mm" in capsys.readouterr().out
    assert run(["new", "other", "--artwork", "sign.svg", "--width", "400mm"]) == 0
    project = tomllib.loads((tmp_path / "other" / "project.toml").read_text("utf-8"))
    assert project["artwork"]["width"] == "400mm"


def test_a_width_nobody_gave_is_called_a_guess(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["new", "one", "--artwork", "sign.png"]) == 0
    assert "380mm is a guess" in capsys.readouterr().out
    assert run(["new", "two", "--artwork", "sign.png", "--width", "15in"]) == 0
    assert "guess" not in capsys.readouterr().out


def test_enter_takes_every_default(tmp_path: Path) -> None:
    terminal = Terminal(tmp_path, "new", "cab")
    for prompt, _ in ANSWERS:
        terminal.expect(prompt)
        terminal.press("\n")
    terminal.expect("written")
    assert terminal.finish() == 0
    assert stated(tmp_path / "cab" / "project.toml") == {
        "artwork": {"file": "artwork.png", "width": "380mm"}
    }


WRONG = (
    ("width", "380", "380mm (15in) or 380in (9652mm)"),
    ("part", "ws2812c", "ws2812b"),
    ("pitch", "1 furlong", "leds.pitch"),
    ("depth", "0mm", "box.depth"),
    ("supply", "5", "5V/4A"),
    ("controller", "atmega382", "atmega328p"),
    ("tariff", "cheap", "0.30"),
)


@pytest.mark.parametrize(("word", "answer", "said"), WRONG)
def test_a_wrong_flag_is_told_in_one_line_and_leaves_nothing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    word: str,
    answer: str,
    said: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["new", "a/b", f"--{word}", answer]) == 2
    err = capsys.readouterr().err
    assert said in err
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_wrong_answer_is_told_in_the_flags_words_and_asked_for_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    said = {}
    for word, answer, _ in WRONG:
        run(["new", "cab", f"--{word}", answer])
        said[word] = capsys.readouterr().err.strip()
    terminal = Terminal(tmp_path, "new", "cab")
    asked = dict(zip(("width", "part", "pitch", "depth", "supply", "controller", "tariff"), [
        "Width", "LED part", "LED spacing", "Depth", "Supply", "Controller", "Price",
    ], strict=True))  # fmt: skip
    for word in (
        "artwork",
        "width",
        "palette",
        "part",
        "pitch",
        "depth",
        "supply",
        "controller",
        "tariff",
    ):
        wrong = next((answer for w, answer, _ in WRONG if w == word), None)
        if wrong is not None:
            terminal.expect(asked[word])
            terminal.press(f"{wrong}\n")
            told = terminal.expect(asked[word])
            assert said[word] in " ".join(told.split())
        terminal.press("\n")
    terminal.expect("written")
    assert terminal.finish() == 0


@pytest.mark.parametrize("key", ["c", "d"])
def test_breaking_off_leaves_nothing(tmp_path: Path, key: str) -> None:
    with typed_at(tmp_path, "new", "cab") as terminal:
        terminal.expect_exact("artwork.png]: ")
        terminal.sendcontrol(key)
        terminal.expect_exact("nothing was written")
        assert status_of(terminal) == 130
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("words", [[], ["--ask"]])
def test_it_never_waits_for_input_that_cannot_come(tmp_path: Path, words: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "marquee", "new", "cab", *words],
        cwd=tmp_path,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    if words:
        assert done.returncode == 130
        assert list(tmp_path.iterdir()) == []
    else:
        assert done.returncode == 0
        assert (tmp_path / "cab" / "project.toml").is_file()
        assert "[" not in done.stderr, "no question"


def test_a_project_that_is_there_is_refused_before_any_question(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "project.toml").write_text("mine", "utf-8")
    assert run(["new", ".", "--ask"]) == 2
    assert "exists already" in capsys.readouterr().err
    assert (tmp_path / "project.toml").read_text("utf-8") == "mine"
