"""Planning the demo again after a change, against planning it whole. Run: python -m tests.bench.bench_cache."""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from marquee.cache.remember import Remembering
from marquee.demo import demo_folder
from marquee.outputs.plan_files import plan_files
from marquee.plan import make_plan
from marquee.project import Project, read_project
from tests.bench.watched import environment, run

# A change that leaves walls and light alone must cost less than this share of the whole.
LIMIT_SHARE = 0.5
CHANGES: dict[str, list[str]] = {
    "whole, nothing remembered": ["--no-cache"],
    "whole, remembering": [],
    "nothing changed": [],
    "another tariff": ["--tariff", "0.31"],
    "another white": ["--white", "D50"],
    "another depth": ["--depth", "45mm"],
}


def main() -> int:
    """Print processor seconds of each run of the program and of a watch's rounds; 1 if the limit is missed."""
    with tempfile.TemporaryDirectory() as name, demo_folder() as demo:
        around = environment(Path(name)) | {"MARQUEE_CACHE": f"{Path(name) / 'values'}"}
        taken: dict[str, float] = {}
        for label, words in CHANGES.items():
            out = ["--out", f"{Path(name) / 'plan'}"]
            command = [sys.executable, "-m", "marquee", "plan", f"{demo / 'project.toml'}"]
            if not taken:  # modules are compiled once, as by an installation
                run([*command, *words, *out], around)
            taken[label] = run([*command, *words, *out], around).cpu_s
            print(f"{label:28} {taken[label]:.2f} s CPU")
        memory = Remembering(None)
        for price in (0.8, 0.9, 0.9):
            flags = {"power": {"prices": {"wire_m": price}}}
            spent = _round(read_project(demo / "project.toml", flags), memory)
            print(f"watching, wire at {price}        {spent:.2f} s CPU")
    return int(taken["another tariff"] > LIMIT_SHARE * taken["whole, nothing remembered"])


def _round(project: Project, memory: Remembering) -> float:
    start = time.process_time()
    plan_files(make_plan(project, memory), workers=1, remembered=memory.files)
    memory.end_round()
    return time.process_time() - start


if __name__ == "__main__":
    raise SystemExit(main())
