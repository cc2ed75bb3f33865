from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from marquee.cli.app import program, run
from tests.refresh_readme import PICTURE, README, shown, stages

TEXT = README.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def demo_plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("readme") / "demo-plan"
    assert run(["demo", "--out", str(target)]) == 0
    return target


def test_the_readme_shows_what_the_demo_says(demo_plan: Path) -> None:
    now = stages((demo_plan / "summary.txt").read_text(encoding="utf-8"))
    assert shown(TEXT) == now, "run: python -m tests.refresh_readme"


def test_the_readmes_picture_is_the_demos_overview(demo_plan: Path) -> None:
    with Image.open(PICTURE) as kept, Image.open(demo_plan / "overview.png") as made:
        assert kept.size == made.size
        assert kept.mode == made.mode
        difference = np.abs(np.asarray(kept, float) - np.asarray(made, float))
    # Text is drawn by FreeType, whose versions place edge pixels a little differently.
    assert difference.mean() < 0.5, "run: python -m tests.refresh_readme"


def test_the_readme_names_every_file_the_demo_writes(demo_plan: Path) -> None:
    for path in demo_plan.iterdir():
        if not path.name.startswith("."):
            assert f"`{path.name}`" in TEXT, path.name


def test_the_readme_names_every_command_and_no_other() -> None:
    named = set(re.findall(r"`marquee ([a-z]+)", TEXT))
    assert named == set(program.commands)


def test_the_readme_stays_short() -> None:
    assert len(TEXT.splitlines()) <= 250
