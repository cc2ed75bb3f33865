"""The power tables, read once: a search asks for their rules thousands of times."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Any

from marquee.tables.load import load_table


@functools.cache
def power_table(name: str) -> dict[str, Any]:
    """Return a packaged table; callers only read it."""
    return load_table(name)


def figure(table: str, group: str, key: str) -> float:
    """Return a single figure of a packaged table, in the unit its row states."""
    return float(power_table(table)[group][key]["value"])


def cited(row: Mapping[str, Any]) -> str:
    """Return where a row's figure stands, with its mark."""
    return f"{row['source']} [{row['status']}]"
