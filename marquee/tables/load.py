"""One way to read a table of figures: TOML rows, none without a source."""

from __future__ import annotations

import difflib
import tomllib
from importlib import resources
from typing import Any

from marquee.errors import InputError, TableError

# How a figure is known. Rules of thumb carry the fourth mark and outputs print it beside the result.
STATUSES = (
    "data sheet",
    "standard, quoted second-hand",
    "data sheet, quoted second-hand",
    "published page",
    "measured",
    "computed",
    "from memory",
    "common practice, no source",
)


def table_text(name: str) -> str:
    """Return the text of a packaged table, such as ``wire.toml`` or ``parts/ws2812b.toml``."""
    return resources.files("marquee.tables").joinpath(name).read_text(encoding="utf-8")


def load_table(name: str) -> dict[str, Any]:
    """Return a packaged table with every row checked for status and source.

    A row is any table holding a ``source`` or being an element of an array of tables.

    Raises
    ------
    TableError
        Not TOML, a row without source, or an unknown status.
    """
    return check_table(tomllib.loads(table_text(name)), name)


def check_table(table: dict[str, Any], name: str) -> dict[str, Any]:
    """Return `table` once every row in it has a source and a known status."""
    for key, value in table.items():
        if isinstance(value, list) and value and isinstance(value[0], dict):
            for number, row in enumerate(value, 1):
                check_row(row, f"{name} [[{key}]] row {number}")
        elif isinstance(value, dict):
            if "value" in value or "source" in value:
                check_row(value, f"{name} {key}")
            else:
                check_table(value, f"{name} [{key}]")
    return table


def check_row(row: dict[str, Any], where: str) -> None:
    """Refuse a row without a source or with an unknown status.

    Raises
    ------
    TableError
        Either.
    """
    if not str(row.get("source", "")).strip():
        raise TableError(where, "has no source", 'add source = "title, edition, table"')
    if row.get("status") not in STATUSES:
        raise TableError(
            where, f"has status {row.get('status')!r}", f"use one of: {', '.join(STATUSES)}"
        )


def check_keys(table: dict[str, Any], valid: tuple[str, ...], where: str) -> None:
    """Refuse a key of the maker's file that it may not have, naming the nearest one it may.

    Raises
    ------
    InputError
        An unknown key.
    """
    for key in table:
        if key not in valid:
            near = difflib.get_close_matches(key, valid, n=1, cutoff=0.0)
            raise InputError(
                where,
                f"unknown key '{key}'",
                f"did you mean '{near[0]}'? valid here: {', '.join(valid)}",
            )
