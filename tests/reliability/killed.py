"""Run by tests: write a plan folder in a child that is killed at its n-th look at the disk, for every n.

`python killed.py FOLDER [two-renames]` prints one line of JSON a kill: what then stands at the place. The audit
events of PEP 578 come before each open, rename, link, mkdir and remove, so that every state the disk passes
through between two of them is met.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import signal
import sys
from collections.abc import Callable
from pathlib import Path

from marquee.outputs import folder as written
from marquee.outputs.leftovers import restore_aside

OLD = {"plan.json": b"old plan", "summary.txt": b"old words", "wiring.svg": b"only in the old"}
NEW = {"plan.json": b"new plan", "summary.txt": b"new words", "lit.png": b"only in the new"}
THEIRS = {"notes.txt": b"the maker's", "photos/bench.jpg": b"the maker's too"}
WATCHED = [
    "open",
    "os.rename",
    "os.link",
    "os.mkdir",
    "os.rmdir",
    "os.remove",
    "os.chmod",
    "os.listdir",
    "os.scandir",
    "shutil.rmtree",
    "ctypes.dlsym",
    "ctypes.call_function",
    "tempfile.mkdtemp",
    "tempfile.mkstemp",
    "fcntl.flock",
]


def content_of(folder: Path) -> dict[str, str]:
    """Return every file's digest by name, hidden ones too."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def make_old(place: Path) -> None:
    """Put an earlier plan there, with files the maker added."""
    if place.exists():
        shutil.rmtree(place)
    written.write_folder(place, OLD)
    for name, content in THEIRS.items():
        (place / name).parent.mkdir(exist_ok=True)
        (place / name).write_bytes(content)


def killed_at(step: int, write: Callable[[], object]) -> bool:
    """Write in a child that dies at its n-th look at the disk; return whether it did."""
    child = os.fork()
    if child == 0:
        left = step

        def count(event: str, _arguments: object) -> None:
            nonlocal left
            if event in WATCHED:
                left -= 1
                if left < 0:
                    os.kill(os.getpid(), signal.SIGKILL)

        sys.addaudithook(count)
        write()
        os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.WIFSIGNALED(status)


def main() -> None:
    """Kill at every step in turn until a child lives to its end."""
    parent = Path(sys.argv[1])
    if "two-renames" in sys.argv:
        setattr(written, "_exchange", lambda _a, _b: False)  # noqa: B010 -- as on a disk without it
    place = parent / "sign-plan"
    killed, step = True, 0
    while killed:
        make_old(place)
        killed = killed_at(step, lambda: written.write_folder(place, NEW))
        missing = not place.exists()
        if missing:
            restore_aside(place)
        print(
            json.dumps(
                {
                    "step": step,
                    "killed": killed,
                    "missing": missing,
                    "content": content_of(place) if place.exists() else None,
                    "beside": len(list(parent.iterdir())) - 1,
                }
            ),
            flush=True,
        )
        step += 1
    written.write_folder(place, OLD)
    print(json.dumps({"left": [path.name for path in parent.iterdir()]}))


if __name__ == "__main__":
    main()
