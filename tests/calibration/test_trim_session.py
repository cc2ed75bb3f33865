"""`marquee bench trim` and `show` at a scripted terminal, against the example firmware in simavr over a pseudo-terminal."""

from __future__ import annotations

import re
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest
import serial
from PIL import Image, ImageDraw

from marquee.bench.measurements import read_pairs
from marquee.bench.trim_link import BAUD
from marquee.colour.parts import load_part
from marquee.plan import Plan, make_plan
from marquee.project import make_project
from tests.calibration.terminal import Terminal
from tests.firmware.compilers import need, run
from tests.firmware.simulated import build

pytestmark = [pytest.mark.slow, pytest.mark.native]
HERE = Path(__file__).parent
UP, DOWN, LEFT = "\x1b[A", "\x1b[B", "\x1b[D"
WORDS = ("bench", "trim", "sign.png", "--width", "120mm")


@cache
def _emulator() -> Path:
    need("gcc", "avr-gcc")
    if not Path("/usr/include/simavr/sim_avr.h").exists():
        need("simavr with its headers (libsimavr-dev, libelf-dev)")
    program = Path(tempfile.mkdtemp(prefix="simavr-pty-")) / "pty"
    run("gcc", "-std=gnu11", "-O2", HERE / "simavr_pty.c", "-o", program, "-lsimavr", "-lelf")
    return program


def _draw(folder: Path) -> Plan:
    image = Image.new("RGB", (480, 240), "#000000")
    pen = ImageDraw.Draw(image)
    pen.rectangle((40, 40, 199, 199), fill="#18b8a8")
    pen.rectangle((232, 40, 431, 199), fill="#ff9a1e")
    image.save(folder / "sign.png")
    tables = {"artwork": {"file": str(folder / "sign.png"), "width": "120mm"}}
    return make_plan(make_project(tables, "test"))


@contextmanager
def _sign(elf: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    with subprocess.Popen(
        [_emulator(), elf, "atmega328p"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    ) as emulator:
        try:
            assert emulator.stdout is not None
            # The emulator says what it loaded first.
            lines = (line.strip() for line in emulator.stdout)
            yield emulator, next(line for line in lines if line.startswith("/dev/"))
        finally:
            emulator.kill()


@dataclass(frozen=True)
class Bench:
    folder: Path
    plan: Plan
    elf: Path


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    folder = tmp_path_factory.mktemp("trim")
    plan = _draw(folder)
    (folder / "firmware").mkdir()
    return Bench(folder, plan, build(plan, folder / "firmware"))


def _codes(line: str) -> tuple[int, ...]:
    found = re.search(r" (\d+),(\d+),(\d+)", line)
    assert found, line
    return int(found[1]), int(found[2]), int(found[3])


def test_keys_move_the_sign_undo_takes_back_and_enter_keeps_what_it_shows(bench: Bench) -> None:
    first, second = bench.plan.drive.zones
    with _sign(bench.elf) as (_, port):
        at = Terminal(bench.folder, *WORDS, "--port", port, "--pairs", "kept.csv")
        at.expect(f"zone {first.zone} ")
        at.expect(",".join(map(str, first.codes)))
        at.press(DOWN)
        darker = _codes(" " + at.expect("not kept").rsplit("zone", 1)[-1])
        at.press(LEFT)
        turned = _codes(" " + at.expect("not kept").rsplit("zone", 1)[-1])
        at.press("u")
        back = _codes(" " + at.expect("not kept").rsplit("zone", 1)[-1])
        at.press("\r")
        at.expect(f"2/2 zone {second.zone} ")
        at.press("q")
        at.expect("1 pairs added to kept.csv")
        assert at.finish() == 0
    assert sum(darker) < sum(first.codes)
    assert turned != darker
    assert back == darker
    pairs, _ = read_pairs(bench.folder / "kept.csv", load_part("ws2812b"))
    assert [pair.codes for pair in pairs] == [darker]
    assert pairs[0].target.srgb == first.target.srgb


def test_control_c_loses_nothing_and_an_existing_file_grows(bench: Bench) -> None:
    path = bench.folder / "grown.csv"
    path.write_text("colour,r,g,b,note\n#ffffff,9,8,7,by hand", encoding="utf-8")
    first, second = bench.plan.drive.zones
    with _sign(bench.elf) as (_, port):
        at = Terminal(bench.folder, *WORDS, "--port", port, "--pairs", "grown.csv")
        at.expect(f"1/2 zone {first.zone} ")
        at.press("\r")
        at.expect(f"2/2 zone {second.zone} ")
        at.press(DOWN)
        at.expect("not kept")
        at.press("\x03")
        at.expect("1 pairs added to grown.csv")
        assert at.finish() == 130
    text = path.read_text(encoding="utf-8")
    assert text.startswith("colour,r,g,b,note\n#ffffff,9,8,7,by hand\n")
    assert re.search(rf"# not kept: zone {second.zone} .* stood at \d+,\d+,\d+\n$", text)
    pairs, _ = read_pairs(path, load_part("ws2812b"))
    assert [pair.codes for pair in pairs] == [(9, 8, 7), first.codes]


def test_a_board_unplugged_is_told_and_what_was_kept_stays(bench: Bench) -> None:
    first, second = bench.plan.drive.zones
    with _sign(bench.elf) as (emulator, port):
        at = Terminal(bench.folder, *WORDS, "--port", port, "--pairs", "unplugged.csv")
        at.expect(f"1/2 zone {first.zone} ")
        at.press("\r")
        at.expect(f"2/2 zone {second.zone} ")
        emulator.kill()
        emulator.wait()
        at.press(UP)
        at.expect("1 pairs added to unplugged.csv")
        at.expect("marquee: --port ")
        assert at.finish() == 2
    pairs, _ = read_pairs(bench.folder / "unplugged.csv", load_part("ws2812b"))
    assert [pair.codes for pair in pairs] == [first.codes]


def test_another_plans_constants_are_refused(bench: Bench) -> None:
    with _sign(bench.elf) as (_, port):
        words = (*WORDS, "--port", port, "--pairs", "other.csv", "--brightness", "50%")
        at = Terminal(bench.folder, *words)
        at.expect("the sign runs constants ")
        assert at.finish() == 2
    assert not (bench.folder / "other.csv").exists()


def _answers(port: str, request: bytes, wait_s: float) -> bytes:
    """Return what the board says to bytes within a time."""
    with serial.Serial(port, BAUD, timeout=wait_s) as opened:
        opened.reset_input_buffer()
        opened.write(request)
        return opened.read_until(b"\n")


def _show(bench: Bench, port: str) -> Terminal:
    return Terminal(bench.folder, "bench", "show", *WORDS[2:], "--code", "128", "--port", port)


def test_show_takes_the_board_through_every_state_and_lets_it_run_on(bench: Bench) -> None:
    states = ["black", "white", "red", "green", "blue", "ramp-16", "ramp-32", "ramp-64"]
    states += [f"zone-{zone.zone}" for zone in bench.plan.drive.zones]
    said = ""
    with _sign(bench.elf) as (_, port):
        at = _show(bench, port)
        for state in [*states, "planned"]:
            said += at.expect(f"photograph it as {state}.jpg")
            at.press("\r")
        at.expect("marquee bench photo")
        assert at.finish() == 0
        # The board answered each state with the very bytes asked for; else show says so.
        assert "holds it down" not in said
        # Out of trim mode a board answers nothing but the call (trim.h).
        assert _answers(port, b"0=9,9,9\n", 1.0) == b""
        assert _answers(port, b"!", 20.0).startswith(b"trim 1 zones 2 channels 3")
        assert _answers(port, b"0=9,9,9\n", 20.0) == b"0=9,9,9\n"


def test_control_c_in_show_lets_the_board_run_on(bench: Bench) -> None:
    with _sign(bench.elf) as (_, port):
        at = _show(bench, port)
        at.expect("photograph it as black.jpg")
        at.press("\r")
        at.expect("photograph it as white.jpg")
        at.press("\x03")
        assert at.finish() == 130
        assert "Traceback" not in at.shown
        assert _answers(port, b"0=9,9,9\n", 1.0) == b""
        assert _answers(port, b"!", 20.0).startswith(b"trim 1 zones 2 channels 3")


def test_a_board_unplugged_from_show_is_one_line(bench: Bench) -> None:
    with _sign(bench.elf) as (emulator, port):
        at = _show(bench, port)
        at.expect("photograph it as black.jpg")
        emulator.kill()
        emulator.wait()
        at.press("\r")
        at.expect("marquee: --port ")
        assert at.finish() == 2
        assert "plug it in and start again" in at.shown
        # Nothing is kept there but what the maker photographed.
        assert "pairs" not in at.shown
        assert at.shown.strip().count("\n") == 0
