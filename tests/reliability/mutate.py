"""Mutation testing by hand, one module at a time, in a copy of the tree: `python -m tests.reliability.mutate rails`.

Needs `pip install mutmut`. Prints the share of mutants the module's own tests kill, and the survivors' diffs.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
# Module and the tests that are meant to know it.
MODULES = {
    "drive": (
        "marquee/colour/drive.py",
        [
            "tests/colour/test_drive.py",
            "tests/colour/test_drive_references.py",
            "tests/colour/test_drive_stage.py",
            "tests/colour/test_spread.py",
            "tests/colour/test_findings.py",
        ],
    ),
    "rails": (
        "marquee/power/rails.py",
        [
            "tests/power/test_circuits.py",
            "tests/power/test_against_ngspice.py",
            "tests/power/test_network.py",
        ],
    ),
    "wire": (
        "marquee/power/wire.py",
        [
            "tests/power/test_wire_fuse_supply.py",
            "tests/power/test_wire_names.py",
            "tests/power/test_design.py",
        ],
    ),
    "header": (
        "marquee/outputs/header.py",
        [
            # Not the whole matrix of compilers: a mutant that lives would meet all of it.
            "tests/firmware/test_header_compiles.py::test_every_kind_of_sign_compiles",
            "tests/firmware/test_header_compiles.py::test_an_impossible_edit_does_not_compile",
            "tests/firmware/test_header_read.py",
            "tests/firmware/test_header_text.py",
            "tests/firmware/test_header_values.py",
        ],
    ),
}
_SETTINGS = """
[tool.mutmut]
source_paths = ["marquee"]
only_mutate = ["{module}"]
also_copy = ["palettes", "README.md", "DEVELOPERS.md"]
pytest_add_cli_args = ["-p", "no:randomly", "-p", "no:cacheprovider", "-n0", "-q"]
pytest_add_cli_args_test_selection = {tests}
"""


def main() -> None:
    """Mutate the modules named, or all."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("modules", nargs="*", choices=[*MODULES, []], help="default: all")
    for name in parser.parse_args().modules or MODULES:
        with tempfile.TemporaryDirectory(prefix="marquee-mutants-") as folder:
            _mutate(name, Path(folder))


def _mutate(name: str, folder: Path) -> None:
    module, tests = MODULES[name]
    listed = subprocess.run(
        ["git", "ls-files", "-z", "marquee", "tests", "palettes", "*.md", "pyproject.toml"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    for file in filter(None, listed.split("\0")):
        if (ROOT / file).is_file():
            (folder / file).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / file, folder / file)
    mutated = folder / module
    # A decorated function would be passed over; the cache changes nothing but time.
    plain = mutated.read_text(encoding="utf-8").replace("@functools.cache\n", "")
    mutated.write_text(plain, encoding="utf-8")
    with (folder / "pyproject.toml").open("a", encoding="utf-8") as stream:
        stream.write(_SETTINGS.format(module=module, tests=tests))
    mutmut = [sys.executable, "-m", "mutmut"]
    environment = {**os.environ, "HYPOTHESIS_PROFILE": "ci"}
    with (folder / "mutmut.log").open("w", encoding="utf-8") as log:
        subprocess.run(
            ["nice", "-n", "19", *mutmut, "run", "--max-children", "1"],
            cwd=folder,
            env=environment,
            stdout=log,
            stderr=log,
            check=False,
        )
    shown = subprocess.run(
        [*mutmut, "results", "--all", "true"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    ).stdout
    outcomes = re.findall(r"^\s*(\S+): (.+)$", shown, re.MULTILINE)
    left = [(mutant, outcome) for mutant, outcome in outcomes if outcome not in _KILLED]
    if not outcomes:
        sys.exit((folder / "mutmut.log").read_text(encoding="utf-8")[-3000:])
    for mutant, outcome in left:
        diff = subprocess.run(
            [*mutmut, "show", mutant], cwd=folder, capture_output=True, text=True, check=False
        ).stdout
        changed = [line for line in diff.splitlines() if re.match(r"[-+](?![-+])", line)]
        print(f"{mutant}: {outcome}", *changed, sep="\n  ")
    killed = len(outcomes) - len(left)
    print(f"{module}: {killed} of {len(outcomes)} killed, {100 * killed / len(outcomes):.1f} %")


_KILLED = {"killed", "timeout", "caught by type check", "segfault"}

if __name__ == "__main__":
    main()
