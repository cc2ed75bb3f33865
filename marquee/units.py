"""Quantities as a maker types them, with their unit, to the unit used inside."""

from __future__ import annotations

import math
import re

from marquee.errors import QuantityError

# mm per unit; inch: exactly 25.4 mm (International yard and pound agreement, 1959).
_LENGTHS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
_LARGEST_MM = 100_000.0
_QUANTITY = re.compile(
    r"\s*([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z\"″%/]*)\s*"
)


def parse_length_mm(text: str, where: str, *, zero_ok: bool = False) -> float:
    """Return a length in mm from text such as ``380mm``, ``38 cm``, ``0.38m`` or ``15in``.

    Parameters
    ----------
    text : str
        Number and unit; a bare number is refused because it reads two ways.
    where : str
        The option or field, for the message.
    zero_ok : bool
        Whether 0 is allowed; a negative length never is.

    Raises
    ------
    QuantityError
        No unit, unknown unit, not a number, not finite, zero or negative, or above 100 m.

    Examples
    --------
    >>> parse_length_mm("15in", "--width")
    381.0
    """
    number, unit = _split(text, where, "380mm, 38cm, 0.38m or 15in")
    if unit in {'"', "″"}:
        unit = "in"
    if unit == "" and number > 0:
        raise QuantityError(
            where,
            f"'{text}' has no unit",
            f"write {number:g}mm ({number / 25.4:.3g}in) or {number:g}in ({number * 25.4:.4g}mm)",
        )
    if unit and unit not in _LENGTHS_MM:
        raise QuantityError(where, f"'{unit}' is not a known length unit", "use mm, cm, m or in")
    length_mm = number * _LENGTHS_MM.get(unit, 1.0)
    if length_mm < 0 or (length_mm == 0 and not zero_ok):
        raise QuantityError(
            where, f"{text.strip()} is not above zero", "give a positive length such as 380mm"
        )
    if length_mm > _LARGEST_MM:
        raise QuantityError(where, f"{text.strip()} is longer than 100 m", "check the unit")
    return length_mm


def parse_current_a(text: str, where: str) -> float:
    """Return a current in A from text such as ``0.5A`` or ``500mA``; a bare number is in A.

    Raises
    ------
    QuantityError
        Not a number, another unit, negative, or above 100 A.

    Examples
    --------
    >>> parse_current_a("350mA", "--extra")
    0.35
    """
    number, unit = _split(text, where, "0.5A or 500mA")
    if unit.lower() not in {"", "a", "ma"}:
        raise QuantityError(where, f"'{unit}' is not a unit of current", "use A or mA")
    current_a = number / 1000 if unit.lower() == "ma" else number
    if not 0 <= current_a <= 100:
        raise QuantityError(where, f"{text.strip()} is outside 0 to 100 A", "check the unit")
    return current_a


def parse_fraction(text: str, where: str) -> float:
    """Return a fraction 0 to 1 from ``30%`` or ``0.3``.

    Raises
    ------
    QuantityError
        Not a number, or outside 0 (exclusive) to 1.

    Examples
    --------
    >>> parse_fraction("30%", "--brightness")
    0.3
    """
    number, unit = _split(text, where, "30% or 0.3")
    if unit not in {"", "%"}:
        raise QuantityError(where, f"'{unit}' is not a share", "write 30% or 0.3")
    fraction = number / 100 if unit == "%" else number
    if not 0 < fraction <= 1:
        raise QuantityError(where, f"{text.strip()} is outside 0 to 100%", "write 30% or 0.3")
    return fraction


def states_size(name: str) -> bool:
    """Return whether a file of this name may state its own size in mm, cm or in, as drawings do."""
    return name.lower().endswith((".svg", ".svgz"))


def format_length(length_mm: float) -> str:
    """Return mm with up to two decimals and the unit.

    Examples
    --------
    >>> format_length(16.666)
    '16.67 mm'
    """
    return f"{length_mm:.2f}".rstrip("0").rstrip(".") + " mm"


def _split(text: str, where: str, forms: str) -> tuple[float, str]:
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise QuantityError(
            where, f"'{text}' is not a number with a unit", f"write it like {forms}"
        )
    number = float(match[1].replace(",", "."))
    if not math.isfinite(number):
        raise QuantityError(where, f"'{text}' is not finite", f"write it like {forms}")
    return number, match[2]
