"""The reference firmware beside its constants: sources a maker can read, build and change."""

from __future__ import annotations

from importlib import resources

from marquee.outputs.header import FILE_NAME, header_text
from marquee.plan import Plan

SOURCES = ("sign.c", "frame.h", "frame.c", "send.h", "send.c", "trim.h", "trim.c", "Makefile")
_PREFIX_IN_SOURCES = "MARQUEE_"


def firmware_files(plan: Plan) -> dict[str, bytes]:
    """Return file name → content of the example program and the plan's constants header.

    The sources use the plan's own prefix.

    Raises
    ------
    HeaderProofError
        The header does not say what the plan says: a fault of marquee's own; nothing may be written.
    """
    prefix = f"{plan.project.firmware.prefix}_"
    folder = resources.files("marquee").joinpath("firmware_example")
    files = {FILE_NAME: header_text(plan).encode("ascii")}
    for name in SOURCES:
        text = folder.joinpath(name).read_text(encoding="ascii")
        files[name] = text.replace(_PREFIX_IN_SOURCES, prefix).encode("ascii")
    return files
