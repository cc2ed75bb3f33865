"""Every loader of a maker's file, and the one thing asked of it: read the file, or refuse it in a line that names it."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from marquee.artwork.palette import read_palette
from marquee.bench.calibration_file import part_as_measured
from marquee.bench.measurements import read_currents, read_pairs, read_readings
from marquee.cli.header import _read
from marquee.colour.parts import load_part
from marquee.errors import MarqueeError
from marquee.outputs.header_read import edited_by_hand
from marquee.project import read_project

CORPUS = Path(__file__).parents[1] / "data" / "fuzz"
# The readings of one file take milliseconds; processor time, since the machine is shared.
_MOST_S = 5.0
_LONGEST_LINE = 3_200

LOADERS: dict[str, tuple[str, Callable[[Path], Any]]] = {
    "project": (".toml", read_project),
    "palette": (".toml", lambda path: read_palette(str(path))),
    "part": (".toml", lambda path: load_part(str(path))),
    "calibration": (
        ".toml",
        lambda path: part_as_measured(load_part("ws2812b"), str(path), "cie-1931-2"),
    ),
    "pairs": (".csv", lambda path: read_pairs(path, load_part("ws2812b"))),
    "readings": (".csv", lambda path: read_readings(path, load_part("ws2812b"))),
    "currents": (".csv", lambda path: read_currents(path, load_part("ws2812b"))),
    "header": (".h", lambda path: edited_by_hand(_read(path), str(path))),
}


def corpus(kind: str) -> list[bytes]:
    """Return the kept files of a kind: whole ones, and ones that once got through the net."""
    return [path.read_bytes() for path in sorted((CORPUS / kind).iterdir())]


def read_or_refuse(kind: str, folder: Path, content: bytes) -> str | None:
    """Read a file of a kind; None where it was read, else the one line it was refused with.

    Anything else that is raised, and a line that names no file or no mend, fails the test.
    """
    suffix, load = LOADERS[kind]
    path = folder / f"maker{suffix}"
    path.write_bytes(content)
    start = time.process_time()
    refused: MarqueeError | None = None
    try:
        load(path)
    except MarqueeError as error:
        refused = error
    assert time.process_time() - start < _MOST_S
    if refused is None:
        return None
    told = str(refused)
    assert path.name in refused.where, told
    assert refused.what, told
    assert refused.mend, told
    assert told.isprintable(), told  # so one line, and nothing that moves a terminal's cursor
    assert len(told) <= _LONGEST_LINE, told
    return told
