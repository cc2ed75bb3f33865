"""One difference between two plans, and how two figures or words become one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

# Subjects in the order they are told, and what each is about.
SUBJECTS = (
    "artwork", "settings", "face", "colours", "zones", "bytes", "walls", "LEDs", "light",
    "power", "running", "parts", "firmware", "warnings",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One difference, in words with units; `before` or `after` is None where the thing is new or gone.

    `exact` are both values unrounded where they are numbers or lists.
    """

    subject: str
    what: str
    before: str | None
    after: str | None
    note: str = ""
    exact: tuple[Any, Any] | None = None


def differ(
    subject: str,
    what: str,
    before: float | None,
    after: float | None,
    form: str | Callable[[float], str],
    unit: str = "",
) -> Iterator[Change]:
    """Yield the change of one figure, where both plans state it and it differs in the digits shown."""
    if before is None or after is None:
        return
    shown = tuple(
        (f"{value:{form}}" if isinstance(form, str) else form(value)) + unit
        for value in (before, after)
    )
    if shown[0] != shown[1]:
        yield Change(
            subject=subject, what=what, before=shown[0], after=shown[1], exact=(before, after)
        )


def say(subject: str, what: str, before: str | None, after: str | None) -> Iterator[Change]:
    """Yield the change of one word, where both plans state it and it differs."""
    if before is not None and after is not None and before != after:
        yield Change(subject=subject, what=what, before=before, after=after)


def three_digits(value: float) -> str:
    """Return a figure with its three leading digits and no exponent."""
    return f"{float(f'{value:.3g}'):.10g}"
