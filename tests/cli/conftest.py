from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest
from PIL import Image, ImageDraw

from marquee.cli.app import run


@dataclass(frozen=True)
class Result:
    """What a command line gave."""

    status: int
    out: str
    err: str


class Bench:
    """Runs command lines inside a folder of their own."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder = folder
        self._capsys = capsys

    def __call__(self, *arguments: str) -> Result:
        status = run(list(arguments))
        captured = self._capsys.readouterr()
        return Result(status, captured.out, captured.err)


@pytest.fixture
def bench(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Bench:
    monkeypatch.chdir(tmp_path)
    return Bench(tmp_path, capsys)


def draw_sign(path: Path) -> None:
    """Draw a sign of two lit squares, teal and amber, 8 mm apart on a 120 × 60 mm black face."""
    image = Image.new("RGB", (480, 240), "#000000")
    pen = ImageDraw.Draw(image)
    pen.rectangle((40, 40, 199, 199), fill="#18b8a8")
    pen.rectangle((232, 40, 431, 199), fill="#ff9a1e")
    image.save(path)


@pytest.fixture
def sign(bench: Bench) -> str:
    draw_sign(bench.folder / "sign.png")
    return "sign.png"
