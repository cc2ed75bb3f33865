"""Plans made once for all tests of this folder."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

import marquee
from marquee.demo import demo_folder
from tests.workflow.signs import two_squares


@pytest.fixture(scope="session")
def demo_json() -> str:
    with demo_folder() as demo:
        return marquee.plan_json(marquee.plan(demo / "project.toml"))


@pytest.fixture(scope="session")
def small_json(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder: Path = tmp_path_factory.mktemp("small")
    two_squares(folder / "two.png")
    plan: dict[str, Any] = json.loads(
        marquee.plan_json(marquee.plan(folder / "two.png", width="120mm"))
    )
    return plan
