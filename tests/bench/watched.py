"""A program run in a process of its own, with the time and memory that it and all it starts take."""

from __future__ import annotations

import os
import resource
import subprocess
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """Wall and processor time [s], and the most memory at one moment [MB], shared pages counted once."""

    wall_s: float
    cpu_s: float
    peak_mb: float


def environment(folder: Path) -> dict[str, str]:
    """Return an environment with caches of its own: an installed program has its modules compiled already."""
    root = str(Path(__file__).parents[2])
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    return {
        **kept,
        "PYTHONPATH": root,
        "PYTHONPYCACHEPREFIX": str(folder / "compiled"),
        "XDG_CACHE_HOME": str(folder / "cache"),
    }


def run(command: list[str], environment: dict[str, str], *, memory: bool = False) -> Cost:
    """Run a command to its end and return what it cost; looking at its memory takes a little time of its own."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    with tempfile.TemporaryFile() as said:
        process = subprocess.Popen(
            command,
            env=environment,
            stdout=subprocess.DEVNULL,
            stderr=said,
            start_new_session=True,
        )
        most = _Memory(process.pid) if memory else None
        status = process.wait()
        wall_s = time.perf_counter() - start
        if status:
            said.seek(0)
            raise RuntimeError(f"{command} ended with {status}: {said.read().decode()}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Cost(wall_s=wall_s, cpu_s=cpu_s, peak_mb=most.peak_mb() if most else 0.0)


class _Memory:
    """Looks at a session's processes every few milliseconds."""

    def __init__(self, session: int) -> None:
        self._session, self._most_kb = session, 0
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)
        self._thread.start()

    def peak_mb(self) -> float:
        self._ended.set()
        self._thread.join()
        return self._most_kb / 1000

    def _look(self) -> None:
        while not self._ended.wait(0.005):
            pids = [int(p.name) for p in Path("/proc").iterdir() if p.name.isdigit()]
            self._most_kb = max(self._most_kb, sum(self._kb(pid) for pid in pids))

    def _kb(self, pid: int) -> int:
        """Return the memory of a process if it is of the session, its share of what several use together."""
        try:
            if os.getsid(pid) != self._session:
                return 0
            lines = Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii").splitlines()
        except OSError:
            return 0
        return next((int(line.split()[1]) for line in lines if line.startswith("Pss:")), 0)
