"""The power tables, read once: a search asks for their rules thousands of times."""

from __future__ import annotations

import functools
from typing import Any

from marquee.tables.load import load_table


@functools.cache
def power_table(name: str) -> dict[str, Any]:
    """Return a packaged table; callers only read it."""
    return load_table(name)
