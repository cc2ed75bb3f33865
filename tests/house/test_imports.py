from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import marquee

ROOT = Path(marquee.__file__).parent
# Low to high: a module may import from its own level and from levels before it.
ORDER = (
    ("errors",),
    ("units", "parallel"),
    ("values_box", "values_part", "values_pixels", "values_power"),
    ("values",),
    ("values_cut", "values_light"),
    ("tables",),
    ("project_base", "project_words"),
    ("project_cut",),
    ("project",),
    ("project_template", "keywords"),
    ("colour",),
    ("bench",),
    ("artwork",),
    ("box",),
    ("power",),
    ("firmware",),
    ("stage",),
    ("plan",),
    ("cache",),
    ("advice", "photo"),
    ("outputs",),
    ("demo",),
    ("cli", "__main__"),
)
LEVEL = {name: level for level, names in enumerate(ORDER) for name in names}
MODULES = sorted(ROOT.rglob("*.py"))


def _top(module: str) -> str | None:
    parts = module.split(".")
    return parts[1] if parts[0] == "marquee" and len(parts) > 1 else None


def _imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_module_imports_only_from_its_own_level_or_below(path: Path) -> None:
    own = path.relative_to(ROOT).with_suffix("").parts[0]
    if own == "__init__":
        return
    for module in _imports(path):
        top = _top(module)
        if top is not None:
            assert LEVEL[top] <= LEVEL[own], f"{path.name} imports {module}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_module_stays_below_400_lines(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


@pytest.mark.parametrize("arguments", [["--help"], ["plan", "--help"], ["--version"]])
def test_help_starts_without_the_heavy_packages(arguments: list[str]) -> None:
    code = (
        "import sys\n"
        "from marquee.cli.app import run\n"
        f"status = run({arguments!r})\n"
        "heavy = {'colour', 'scipy', 'matplotlib', 'numpy', 'PIL', 'cv2', 'shapely', 'pydantic', 'coloraide'}\n"
        "print('HEAVY', sorted(heavy & set(sys.modules)), file=sys.stderr)\n"
        "sys.exit(status)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0
    assert "HEAVY []" in done.stderr
