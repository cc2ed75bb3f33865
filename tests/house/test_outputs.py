"""Outputs read the finished plan: what stages compute is in its values, no output computes it once more."""

from __future__ import annotations

import ast
from importlib import import_module
from pathlib import Path
from types import FunctionType, ModuleType

import pytest

import marquee

OUTPUTS = Path(marquee.__file__).parent / "outputs"
MODULES = sorted(OUTPUTS.rglob("*.py"))
STAGES = ("advice", "artwork", "bench", "box", "colour", "firmware", "photo", "power")
# Conversions between colour spaces, and what a part or an observer is: they decide nothing.
CONVERSIONS = {
    f"marquee.colour.{name}"
    for name in ("adapt", "calibrated", "constants", "emission", "observer", "spaces")
}
# What shows no plan has none to read from: one bench's outcome, single colours.
# Shapes of a value (the walls' outline, which way a package looks) are not kept in it.
FREE = {
    "pictures/bench.py": {"calibrated_part"},
    "colours.py": {"driven_current_a"},
    "drawings/floor.py": {"wall_area"},
    "board_files.py": {"package_turns_deg"},
}


def _functions(path: Path) -> set[str]:
    """Return the functions a module imports from the stages' packages."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            assert not any(_is_stage(alias.name) for alias in node.names), "import names from it"
        if not isinstance(node, ast.ImportFrom) or not _is_stage(node.module or ""):
            continue
        module = import_module(node.module or "")
        found |= {
            alias.name
            for alias in node.names
            if isinstance(getattr(module, alias.name), FunctionType | ModuleType)
        }
    return found


def _is_stage(module: str) -> bool:
    in_stage = any(f"{module}.".startswith(f"marquee.{name}.") for name in STAGES)
    return in_stage and module not in CONVERSIONS


def test_the_look_finds_the_stages_that_the_pipeline_calls() -> None:
    """So that it is known to see what it looks for: the pipeline itself imports them all."""
    found = _functions(OUTPUTS.parent / "plan.py")
    assert {"build_box", "find_zones", "light_face", "plan_power", "solve_drive"} <= found


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(OUTPUTS)))
def test_an_output_imports_no_function_of_a_stage(path: Path) -> None:
    allowed = FREE.get(path.relative_to(OUTPUTS).as_posix(), set())
    assert _functions(path) == allowed
