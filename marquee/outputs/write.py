"""A finished plan as its folder, and the schema of its plan.json, for programs that call marquee."""

from __future__ import annotations

import json
import os
from importlib.resources import files
from pathlib import Path
from typing import Any

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


def schema_text() -> str:
    """Return the JSON Schema (draft 2020-12) of plan.json as published in the package."""
    return files("marquee").joinpath("outputs/plan.schema.json").read_text(encoding="utf-8")


def plan_schema() -> dict[str, Any]:
    """Return the same, parsed."""
    schema: dict[str, Any] = json.loads(schema_text())
    return schema
