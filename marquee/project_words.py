"""What is wrong with a project, in words for a maker: which key, what stands there, how to mend it."""

from __future__ import annotations

import difflib
import itertools
from typing import Any, get_args

from pydantic import BaseModel

from marquee.errors import InputError, MarqueeError

Told = tuple[str, str]
Loc = list[str | int]  # keys, and places in lists

# Whole files that are often given in a project's place: a key only they have, what they are, where they belong.
_OTHERS = (
    ("colour", list, "a palette", 'give it with --palette, or as palette = "…" under [zones]'),
    ("based_on", str, "an LED part", 'give it with --part, or as part = "…" under [leds]'),
    ("response", dict, "an LED part", 'give it with --part, or as part = "…" under [leds]'),
    ("gain", dict, "a calibration", "give it with --calibration, or under [colour]"),
)
_BOUNDS = {
    "greater_than_equal": ("ge", "is below {0:g}", "give {0:g} or more"),
    "less_than_equal": ("le", "is above {0:g}", "give {0:g} or less"),
    "greater_than": ("gt", "is not above {0:g}", "give more than {0:g}"),
    "less_than": ("lt", "is not below {0:g}", "give less than {0:g}"),
}
_LIST = ("is not a list", 'write it in brackets, such as ["120mm", "45mm"]')
_NUMBER = ("is not a number", "write it without unit and quotes, such as 12 or 0.3")
_TABLE = ("is not a table", "put its settings below a line [{key}]")
# How the validation library's kinds begin, what is wrong, how to mend it.
_FORMS = (
    ("literal_error", "is not known", "write {expected}, as it stands here"),
    (
        "string_pattern_mismatch",
        "cannot begin a constant's name",
        "write capitals, digits and single _, such as MY_SIGN",
    ),
    ("float_", *_NUMBER),
    ("int_", *_NUMBER),
    ("bool_", "is neither true nor false", "write true or false, without quotes"),
    ("model_", *_TABLE),
    ("dict_", *_TABLE),
    ("tuple_type", *_LIST),
    ("list_type", *_LIST),
)


def refuse_other_file(raw: dict[str, Any], where: str) -> None:
    """Say so where a palette, a part or a calibration was given for a project.

    Raises
    ------
    InputError
        The file is one of those.
    """
    if "artwork" in raw:
        return
    for key, kind, what, mend in _OTHERS:
        if isinstance(raw.get(key), kind):
            raise InputError(where, f"is {what}, not a project file", mend)


def problem(error: Any, project: type[BaseModel]) -> Told:  # noqa: ANN401 -- pydantic's own loosely typed record
    """Return what is wrong and how to mend it, of one of the validation library's records."""
    loc: Loc = list(error["loc"])
    if error["type"] == "extra_forbidden":
        valid = section_keys(_section_at(loc[:-1], project))
        near = difflib.get_close_matches(f"{loc[-1]}", valid, n=1, cutoff=0.0)
        return (
            f"unknown key '{_typed(loc)}'",
            f"did you mean '{near[0]}'? valid here: {', '.join(valid)}",
        )
    if error["type"] == "missing":
        return _missing(loc, project)
    cause = error.get("ctx", {}).get("error")
    if isinstance(cause, MarqueeError):
        return f"{_typed(loc)}: {cause.what}", cause.mend
    what, mend = _wrong(error, loc)
    return f"{_typed(loc)}: {what}", mend


def section_keys(section: type[BaseModel]) -> list[str]:
    """Return the keys a table of the project file may have, as typed in the file."""
    return [info.alias or name for name, info in section.model_fields.items()]


def _typed(loc: Loc) -> str:
    """Return a key as a maker finds it: tables of a list are counted from 1, as everywhere else.

    Examples
    --------
    >>> _typed(["zones", "override", 0, "at"]), _typed(["box", "depth"])
    ('zones.override 1 at', 'box.depth')
    """
    typed = f"{loc[0]}" if loc else ""
    for before, step in itertools.pairwise(loc):
        if isinstance(step, int):
            typed += f" {step + 1}"
        else:
            typed += f"{' ' if isinstance(before, int) else '.'}{step}"
    return typed


def _missing(loc: Loc, project: type[BaseModel]) -> Told:
    info = _section_at(loc[:-1], project).model_fields.get(f"{loc[-1]}")
    key = (info and info.alias) or f"{loc[-1]}"
    if loc == ["artwork"]:
        return (
            "'artwork' is missing",
            'begin with [artwork], and below it file = "sign.png" and width = "380mm"',
        )
    table = ".".join(step for step in loc[:-1] if isinstance(step, str))
    return f"'{_typed([*loc[:-1], key])}' is missing", f"add {key} under [{table}]"


def _wrong(error: Any, loc: Loc) -> Told:  # noqa: ANN401 -- pydantic's own loosely typed record
    kind, context = error["type"], error.get("ctx", {})
    shown = _shown(error.get("input"))
    if kind in _BOUNDS:
        key, what, mend = _BOUNDS[kind]
        return f"{shown} {what.format(context[key])}", mend.format(context[key])
    for beginning, what, mend in _FORMS:
        if kind.startswith(beginning):
            told = mend.format(expected=context.get("expected", ""), key=_typed(loc))
            return f"{shown} {what}", told
    return f"{shown}: {error['msg'][:1].lower()}{error['msg'][1:]}", "correct that value"


def _shown(value: object) -> str:
    try:
        return repr(value) if isinstance(value, str | int | float) else f"a {type(value).__name__}"
    except ValueError:  # more digits than Python writes out
        return "a number of thousands of digits"


def _section_at(loc: Loc, project: type[BaseModel]) -> type[BaseModel]:
    section = project
    for step in loc:
        if isinstance(step, int):
            continue
        info = next((i for n, i in section.model_fields.items() if step in {n, i.alias}), None)
        candidates = [] if info is None else [info.annotation, *get_args(info.annotation)]
        section = next(
            (c for c in candidates if isinstance(c, type) and issubclass(c, BaseModel)), section
        )
    return section
