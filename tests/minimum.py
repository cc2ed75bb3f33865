"""`python tests/minimum.py`: the lowest version of every package the program may run with, as pip takes them.

With `--tests`: the tests to run on those.
"""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path

# What runs in under three minutes and meets every package: colours, geometry, drawings, pictures, the whole demo.
TESTS = (
    "tests/artwork",
    "tests/colour",
    "tests/demo",
    "tests/drawings",
    "tests/fuzz/test_words.py",
    "tests/house/test_folder.py",
    "tests/house/test_project.py",
    "tests/pictures/test_pictures.py",
    "tests/power",
    "tests/reliability/test_surroundings.py",
)
PROJECT = Path(__file__).parents[1] / "pyproject.toml"


def lowest_versions() -> list[str]:
    """Return ``name==version`` of each run-time dependency's lower bound in pyproject.toml."""
    table = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]
    found = []
    for needed in table["dependencies"]:
        match = re.fullmatch(r"([A-Za-z0-9._-]+)>=([0-9][0-9.]*)", needed)
        if match is None:
            raise SystemExit(f"{needed}: a dependency is written name>=version")
        found.append(f"{match[1]}=={match[2]}")
    return found


if __name__ == "__main__":
    print("\n".join(TESTS if "--tests" in sys.argv else lowest_versions()))
