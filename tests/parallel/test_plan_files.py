"""A plan's files do not depend on how many processes drew them."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from marquee.errors import InputError
from marquee.outputs import plan_files as drawn
from marquee.plan import Plan
from tests.pictures.factory import synthetic_plan

CODE = """
import hashlib, os
os.environ["OPENBLAS_NUM_THREADS"] = "1"
from marquee import parallel
from marquee.demo import demo_folder
from marquee.outputs.plan_files import plan_files
from marquee.plan import make_plan
from marquee.project import read_project

with demo_folder() as folder:
    plan = make_plan(read_project(folder / "project.toml"))
fork, copies = os.fork, []

def counted():
    copies.append(1)
    return fork()

os.fork = counted
made = []
for workers in (1, 2, 3, 2):
    copies.clear()
    files = plan_files(plan, workers)
    made.append(list(files.items()))
    print(workers, len(copies), len(files), made[0] == made[-1])

import numpy as np

# As colour-science does on import.
np.set_printoptions(legacy="1.13")
print("short", 0, 0, made[0] == list(plan_files(plan, 1).items()))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere all is drawn in one process")
def test_the_demos_files_are_the_same_whatever_the_number_of_processes_and_numpys_digits() -> None:
    done = subprocess.run(
        [sys.executable, "-c", CODE],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )
    assert done.stderr == ""
    rows = [line.split() for line in done.stdout.splitlines()]
    assert [(row[0], row[1], row[3]) for row in rows] == [
        ("1", "0", "True"),
        ("2", "1", "True"),
        ("3", "2", "True"),
        ("2", "1", "True"),
        ("short", "0", "True"),
    ]
    assert int(rows[0][2]) >= 25


@pytest.mark.parametrize("workers", [1, 2])
def test_a_picture_that_fails_raises_its_own_error(
    monkeypatch: pytest.MonkeyPatch, workers: int
) -> None:
    def broken(_plan: Plan) -> bytes:
        raise InputError("zone 3", "cannot be drawn", "say so")

    monkeypatch.setattr(drawn, "_TEXTS", {})
    monkeypatch.setitem(drawn._PICTURES, "lit.png", broken)
    with pytest.raises(InputError, match="zone 3: cannot be drawn; say so"):
        drawn.plan_files(synthetic_plan(), workers)
