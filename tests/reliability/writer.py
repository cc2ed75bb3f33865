"""Run by tests: `python writer.py PLACE LETTER TIMES` writes a plan folder whose every file says LETTER, again and again."""

from __future__ import annotations

import sys
from pathlib import Path

from marquee.outputs.folder import write_folder


def files_of(letter: str) -> dict[str, bytes]:
    """Return a plan's worth of files, some of them only in this one."""
    names = [f"{number}.png" for number in range(6)] + [f"only-{letter}.txt", "deep/plan.json"]
    return {name: letter.encode() * 20_000 for name in names}


if __name__ == "__main__":
    place, letters, times = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
    print("ready", flush=True)
    for turn in range(times):
        write_folder(place, files_of(letters[turn % len(letters)]))
