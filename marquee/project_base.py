"""What all tables of the project file are made of: frozen sections, lengths, areas and shares as typed."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, PlainSerializer, PlainValidator

from marquee.errors import QuantityError, printable
from marquee.units import parse_current_a, parse_fraction, parse_length_mm


def _length(value: object) -> object:
    if isinstance(value, str):
        return parse_length_mm(value, "")
    if isinstance(value, int | float) and not isinstance(value, bool):
        return parse_length_mm(f"{value}", "")
    raise QuantityError("", f"{value!r} is not a length", 'write it like "380mm"')


def _length_or_zero(value: object) -> object:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise QuantityError("", f"{value!r} is not a length", 'write it like "1mm"')
    return parse_length_mm(f"{value}", "", zero_ok=True)


def _area(value: object) -> object:
    if not isinstance(value, str):
        raise QuantityError("", f"{value!r} is not an area", 'write "2mm2" or "0.1cm2"')
    match = re.fullmatch(r"\s*(\d+(?:[.,]\d*)?|[.,]\d+)\s*(mm|cm)(?:2|²)\s*", value)
    if match is None:
        raise QuantityError("", f"'{value}' is not an area", 'write "2mm2" or "0.1cm2"')
    return float(match[1].replace(",", ".")) * (100.0 if match[2] == "cm" else 1.0)


def _fraction(value: object) -> object:
    return parse_fraction(f"{value}", "") if isinstance(value, str | int | float) else value


def _current(value: object) -> object:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise QuantityError("", f"{value!r} is not a current", 'write it like "0.5A"')
    return parse_current_a(f"{value}", "")


def _file_name(value: object) -> str:
    if not isinstance(value, str) or not value or "\0" in value:
        raise QuantityError("", f"{value!r} is not a file name", "give the path of a file")
    return value


# A path as the system gives it, whose bytes need not be text.
FileName = Annotated[str, PlainValidator(_file_name), PlainSerializer(printable)]
# A length as typed ("16.7mm"), held in mm. JSON of a resolved project gives plain mm.
Length = Annotated[float, BeforeValidator(_length)]
LengthOrZero = Annotated[float, BeforeValidator(_length_or_zero)]
Area = Annotated[float, BeforeValidator(_area)]
Fraction = Annotated[float, BeforeValidator(_fraction)]
Current = Annotated[float, BeforeValidator(_current)]


class Section(BaseModel):
    """A table of the project file: frozen, unknown keys refused, keys without their unit suffix."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        populate_by_name=True,
        allow_inf_nan=False,
        str_max_length=4096,
    )
