"""marquee at a controlling terminal of its own, where Ctrl-C is the signal it is for a maker."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pexpect


@contextmanager
def typed_at(folder: Path, *words: str, **environment: str) -> Iterator[pexpect.spawn[str]]:
    """Run a command line in a folder; a loaded machine takes its time, so each wait may be long."""
    terminal = pexpect.spawn(
        sys.executable,
        ["-m", "marquee", *words],
        cwd=str(folder),
        env={**os.environ, "TERM": "xterm", **environment},
        encoding="utf-8",
        timeout=90,
        dimensions=(50, 120),
    )
    try:
        yield terminal
    finally:
        terminal.close(force=True)


def status_of(terminal: pexpect.spawn[str]) -> int | None:
    """Wait for the end and return the exit status."""
    terminal.expect(pexpect.EOF)
    terminal.close()
    return terminal.exitstatus
