"""JSON content made safe to show: finite numbers of few digits, text without control characters."""

from __future__ import annotations

import math
from typing import Any

from marquee.errors import printable

# Digits kept: beyond what any maker or model can tell, and stable from run to run.
_DECIMALS = 4


def clean(value: Any) -> Any:  # noqa: ANN401 -- walks JSON of any shape
    """Return JSON content with text safe to show and finite numbers rounded to 4 decimals."""
    if isinstance(value, dict):
        return {key: clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [clean(item) for item in value]
    if isinstance(value, bool) or value is None:
        return value
    if isinstance(value, str):
        return printable(value)
    if isinstance(value, int):
        return int(value)
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(f"plan.json would hold {number}")
    return round(number, _DECIMALS) + 0.0
