"""Ctrl-C while copies are at work leaves no process and no file."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        not sys.platform.startswith("linux"), reason="elsewhere all work is done in one process"
    ),
    pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="one core needs no copies"),
]


def _members(session: int) -> set[int]:
    found = set()
    for path in Path("/proc").iterdir():
        if path.name.isdigit():
            try:
                if os.getsid(int(path.name)) == session:
                    found.add(int(path.name))
            except ProcessLookupError:
                pass
    return found


# The copies a plan of the demo makes one after another: for the walls, the LEDs' light, and files.
@pytest.mark.parametrize("copies", [1, 3])
def test_an_interrupted_plan_leaves_neither_processes_nor_files(
    tmp_path: Path, copies: int
) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "marquee", "demo", "--out", "sign-plan"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    ) as process:
        seen: set[int] = set()
        while len(seen - {process.pid}) < copies:
            assert process.poll() is None, process.communicate()
            seen |= _members(process.pid)
            time.sleep(0.001)
        os.killpg(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert (out, process.returncode) == ("", 130), err
    assert err.strip() == "marquee: stopped; nothing was written"
    assert list(tmp_path.iterdir()) == []
    assert _members(process.pid) == set()
