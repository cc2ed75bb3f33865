"""A program at a pseudo-terminal: keys in, what it shows out."""

from __future__ import annotations

import os
import pty
import select
import subprocess
import sys
import time
from pathlib import Path

WAIT_S = 90.0  # a loaded machine takes its time to plan


class Terminal:
    """Runs marquee with its input and output on a pseudo-terminal of its own."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        # The terminal must be the program's own for its Ctrl-C to become a signal (setsid(1), util-linux).
        self._master, slave = pty.openpty()
        self.process = subprocess.Popen(
            ["setsid", "--ctty", sys.executable, "-m", "marquee", *arguments],
            stdin=slave, stdout=slave, stderr=slave, cwd=folder,
            env={**os.environ, "TERM": "xterm"},
        )  # fmt: skip
        os.close(slave)
        self.shown = ""

    def expect(self, text: str) -> str:
        """Wait until a text is shown after all that was waited for before; return what came before it."""
        until = time.monotonic() + WAIT_S
        while text not in self.shown:
            left = until - time.monotonic()
            assert left > 0, f"'{text}' was not shown but {self.shown!r}"
            if not self._more(left):
                break
        assert text in self.shown, f"'{text}' was not shown but {self.shown!r}"
        before, _, self.shown = self.shown.partition(text)
        return before

    def press(self, keys: str) -> None:
        os.write(self._master, keys.encode())

    def finish(self) -> int:
        """Return the exit status."""
        until = time.monotonic() + WAIT_S
        while self.process.poll() is None and time.monotonic() < until:
            self._more(0.1)
        status = self.process.wait(timeout=10)
        while self._more(0.1):
            pass
        os.close(self._master)
        return status

    def _more(self, wait_s: float) -> bool:
        ready, _, _ = select.select([self._master], [], [], min(wait_s, 1.0))
        if not ready:
            return self.process.poll() is None
        try:
            got = os.read(self._master, 4096)
        except OSError:  # the other side has ended
            return False
        self.shown += got.decode(errors="replace")
        return bool(got)
