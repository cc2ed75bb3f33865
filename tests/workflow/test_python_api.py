"""`import marquee`: the documented calls, run as a program of the maker's would."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
from pathlib import Path
from typing import get_type_hints

import pytest
from PIL import Image, ImageDraw

import marquee
from marquee.cli.app import run
from marquee.cli.plan import plan as plan_command
from marquee.keywords import PLACES, Settings
from tests.refresh_readme import README

PALETTE = """schema = 1
name = "Harbour (fictional)"
[[colour]]
name = "Kelp"
value = "#18b8a8"
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    image = Image.new("RGB", (480, 240), "#000000")
    pen = ImageDraw.Draw(image)
    pen.rectangle((40, 40, 199, 199), fill="#18b8a8")
    pen.rectangle((232, 40, 431, 199), fill="#ff9a1e")
    image.save("sign.png")
    Path("venue.toml").write_text(PALETTE, "utf-8")
    return tmp_path


def readme_example() -> str:
    """Return the README's Python: the indented block that imports marquee."""
    text = README.read_text(encoding="utf-8")
    blocks = re.findall(r"(?:^    .*\n|^\n(?=    ))+", text, re.MULTILINE)
    (found,) = [block for block in blocks if "    import marquee\n" in block]
    return "\n".join(line[4:] for line in found.splitlines())


def test_the_readmes_python_runs_and_writes_the_folder_it_says(folder: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", readme_example()],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "Kelp" in done.stdout
    assert re.search(r"\d\.\d\d A", done.stdout)
    assert (folder / "sign-plan" / "plan.json").is_file()


def test_python_and_the_command_line_write_the_same_bytes(folder: Path) -> None:
    plan = marquee.plan("sign.png", width="120mm", palette=Path("venue.toml"), depth="35mm")
    marquee.write(plan, folder / "ours")
    words = ["--width", "120mm", "--palette", "venue.toml", "--depth", "35mm"]
    assert run(["plan", "sign.png", *words, "--out", "theirs"]) == 0
    ours, theirs = (
        {p.name: p.read_bytes() for p in (folder / name).iterdir()} for name in ("ours", "theirs")
    )
    # The terminal's summary names no folder in the written file; all else is the plan's.
    assert ours == theirs


def test_keywords_win_over_the_project_file_and_sections_reach_every_setting(
    folder: Path,
) -> None:
    (folder / "p.toml").write_text(
        '[artwork]\nfile = "sign.png"\nwidth = "120mm"\n[box]\ndepth = "30mm"\n', "utf-8"
    )
    plan = marquee.plan("p.toml", depth="50mm", sections={"box": {"clearance": "2mm"}})
    assert plan.project.box.depth_mm == 50
    assert plan.project.box.clearance_mm == 2
    assert plan.project.artwork.width_mm == 120
    assert json.loads(marquee.plan_json(plan))["inputs"]["settings"]["box"]["depth_mm"] == 50


def test_importing_marquee_loads_nothing_else() -> None:
    code = (
        "import sys; before = set(sys.modules); import marquee; marquee.__version__;"
        "print(sorted(m for m in set(sys.modules) - before if not m.startswith('marquee')))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(ast.literal_eval(done.stdout))
    assert loaded <= {"__future__", "typing", "collections", "collections.abc", "re"} | {
        name for name in loaded if name.split(".")[0] in sys.stdlib_module_names
    }
    assert not any(name.startswith("marquee.") for name in loaded)


@pytest.mark.parametrize("first", ["from marquee.plan import Plan", "import marquee.plan", "pass"])
@pytest.mark.usefixtures("folder")
def test_plan_can_be_called_whatever_was_imported_before(first: str) -> None:
    code = (
        f"{first}\nimport marquee\nplan = marquee.plan('sign.png', width='120mm')\n"
        "assert isinstance(plan, marquee.Plan)\nprint(plan.chain.count)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert int(done.stdout) > 10


def test_every_flag_of_a_plan_is_a_keyword_and_the_other_way_round() -> None:
    flags = {parameter.name for parameter in plan_command.params} - {
        "source", "sources", "out", "joint", "as_json", "strict", "watch", "cache", "json_schema", "help",
    }  # fmt: skip
    assert set(PLACES) == set(get_type_hints(Settings)) == flags


@pytest.mark.parametrize(
    ("source", "settings", "said"),
    [
        ("sign.png", {}, "width on the cabinet is missing"),
        ("sign.png", {"width": "120"}, "120mm .* or 120in"),
        ("none.png", {"width": "120mm"}, "none.png"),
        ("none.toml", {}, "none.toml"),
        ("sign.png", {"width": "9mm", "brightness": "9%", "luminance": 9.0}, "one, not both"),
        ("sign.png", {"width": "120mm", "part": "ws2812c"}, "ws2812b"),
    ],
)
@pytest.mark.usefixtures("folder")
def test_what_cannot_be_used_is_raised_as_one_kind_of_error(
    source: str, settings: dict[str, str], said: str
) -> None:
    with pytest.raises(marquee.MarqueeError, match=said):
        marquee.plan(source, **settings)  # type: ignore[arg-type]


@pytest.mark.usefixtures("folder")
def test_a_word_that_is_no_setting_names_the_nearest() -> None:
    with pytest.raises(TypeError, match="did you mean 'depth'"):
        marquee.plan("sign.png", width="120mm", dept="3mm")  # type: ignore[call-arg]


def test_a_name_marquee_does_not_have_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'plam'"):
        marquee.plam  # noqa: B018
    assert {"plan", "write", "Plan"} <= set(dir(marquee))
