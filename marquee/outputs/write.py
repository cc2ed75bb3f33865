"""A finished plan as its folder, for programs that call marquee."""

from __future__ import annotations

import os
from pathlib import Path

from marquee.outputs.folder import check_folder, write_folder
from marquee.outputs.plan_files import plan_files
from marquee.plan import Plan


def write(plan: Plan, folder: str | os.PathLike[str]) -> Path:
    """Write the folder that ``marquee plan --out`` would write, whole or not at all, and return its path.

    Parameters
    ----------
    plan : Plan
        What `marquee.plan` returned.
    folder : str or path
        New, empty, or written by marquee before; the maker's own files in it stay.

    Raises
    ------
    OutputError
        The folder is not ours, a file of ours in it was edited, or the disk refuses.
    """
    target = Path(folder)
    check_folder(target)
    write_folder(target, plan_files(plan))
    return target
