"""The README's table of exit statuses against what a shell sees."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from marquee.cli.app import Exit
from tests.refresh_readme import README
from tests.workflow.signs import project, two_squares


def shell(folder: Path, line: str, **environment: str) -> tuple[int, str]:
    done = subprocess.run(
        ["bash", "-c", line],
        cwd=folder,
        env={**os.environ, "M": f"{sys.executable} -m marquee", **environment},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stderr


def test_the_readme_lists_every_status_and_no_other() -> None:
    rows = re.findall(r"^\| ([\d, ]+) \|", README.read_text("utf-8"), re.MULTILINE)
    listed = {int(number) for row in rows for number in row.split(",")}
    # A program ended by a signal has status 128 + its number in a shell (POSIX.1-2017, XCU 2.8.2); SIGPIPE is 13.
    assert listed == {*(int(status) for status in Exit), 128 + 13}


@pytest.mark.parametrize(
    ("line", "status"),
    [
        ("$M parts", 0),
        ("$M plan p.toml --depth 8mm --out a", 0),
        ("$M plan p.toml --depth 8mm --out b --strict", 1),
        ("$M plan p.toml --no-such", 2),
        ("$M plan none.toml", 2),
        ("$M compare none none", 2),
        ("$M plan p.toml none.toml --strict", 2),
        ("set -o pipefail; $M parts ws2812b | true", 141),
    ],
)
def test_a_shell_sees_the_status_the_readme_says(tmp_path: Path, line: str, status: int) -> None:
    two_squares(tmp_path / "sign.png")
    project(tmp_path, "p.toml", "sign.png")
    seen, said = shell(tmp_path, line, MARQUEE_CACHE=f"{tmp_path / 'cache'}")
    assert seen == status, said
    assert said.count("\n") == (status == 2)


def test_our_own_fault_is_told_apart_from_the_makers(tmp_path: Path) -> None:
    two_squares(tmp_path / "sign.png")
    # A stage that breaks, as only a fault of ours could make it.
    (tmp_path / "broken.py").write_text(
        "import sys, marquee.box.barriers as b\n"
        "def wrong(*_): raise ZeroDivisionError('of a test')\n"
        "b.build_box = wrong\n"
        "from marquee.cli.app import run\n"
        "sys.exit(run(['plan', 'sign.png', '--width', '120mm']))\n",
        "utf-8",
    )
    code = f'"{sys.executable}" broken.py'
    status, said = shell(tmp_path, code, PYTHONPATH=os.pathsep.join(sys.path), MARQUEE_TRACE="")
    assert status == Exit.OUR_BUG
    assert said.count("\n") == 1
    assert "our bug" in said
