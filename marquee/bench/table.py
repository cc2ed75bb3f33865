"""A maker's CSV file to rows whose every complaint names file and line.

Lines that begin with # are remarks. The first other line names the columns. Fields are parted by commas, or by
semicolons as spreadsheets of many countries do, which then write 0,5 for a half.
"""

from __future__ import annotations

import csv
import difflib
import hashlib
import math
import re
import stat
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from marquee.errors import InputError, printable

# A remark, but not a row that begins with a colour such as #18b8a8.
_REMARK = re.compile(r"\s*#(?![0-9a-fA-F]{3,8}\s*[,;])")
_MOST_BYTES = 1_000_000
_MOST_NAMED, _MOST_GATHERED = 6, 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One row: where it stands and its fields by column, stripped; empty ones are left out."""

    place: str
    fields: dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A file's rows; `name` is its base name, `sha256` of its bytes, `dates` as its column `date` gives them."""

    name: str
    sha256: str
    columns: tuple[str, ...]
    lines: tuple[Line, ...]
    decimal_comma: bool

    @property
    def dates(self) -> tuple[str, ...]:
        """All dates its rows state, in order, each once."""
        return tuple(
            dict.fromkeys(line.fields["date"] for line in self.lines if "date" in line.fields)
        )


@dataclass(slots=True)
class Problems:
    """What is wrong with a file's rows, gathered so that a maker mends them in one go."""

    found: list[tuple[str, str, str]] = field(default_factory=list)

    def add(self, place: str, what: str, mend: str) -> None:
        """Note one problem of one row; a file with very many is given up on."""
        self.found.append((place, what, mend))
        if len(self.found) >= _MOST_GATHERED:
            self.raise_any()

    def raise_any(self) -> None:
        """Raise all that was noted as one error.

        Raises
        ------
        InputError
            Something was noted.
        """
        if not self.found:
            return
        place, what, mend = self.found[0]
        others = [f"{p.rsplit(':', 1)[-1]}: {w}" for p, w, _ in self.found[1:_MOST_NAMED]]
        more = len(self.found) - 1 - len(others)
        also = f"; also line {', line '.join(others)}" if others else ""
        tail = f" and {more} more" if more > 0 else ""
        raise InputError(place, f"{what}{also}{tail}", mend)


def read_table(path: Path, known: Sequence[str], needed: Sequence[str]) -> Table:
    """Return the rows of a CSV file.

    Parameters
    ----------
    path : Path
        The file.
    known, needed : sequence of str
        Columns it may have, and those it must have.

    Raises
    ------
    InputError
        Unreadable, not UTF-8, no columns, an unknown (the nearest is named), missing or repeated column, or
        a row of another length.
    """
    raw = _bytes_of(path)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path}", f"byte {error.start} is not UTF-8", "save it as CSV UTF-8"
        ) from None
    rows = ["" if _REMARK.match(line) else line for line in text.splitlines()]
    head = next((line for line in rows if line.strip()), "")
    semicolon = head.count(";") > head.count(",")
    reader = csv.reader(rows, delimiter=";" if semicolon else ",", skipinitialspace=True)
    columns: tuple[str, ...] = ()
    lines: list[Line] = []
    problems = Problems()
    try:
        for cells in reader:
            stripped = [cell.strip() for cell in cells]
            if not any(stripped):
                continue
            place = f"{path.name}:{reader.line_num}"
            if not columns:
                columns = _columns(stripped, place, known, needed)
            elif len(stripped) > len(columns) and any(stripped[len(columns) :]):
                problems.add(
                    place,
                    f"has {len(stripped)} fields under {len(columns)} columns",
                    'put a field that holds a comma in quotes: "rgb(20, 180, 160)"',
                )
            else:
                filled = {c: v for c, v in zip(columns, stripped, strict=False) if v}
                lines.append(Line(place=place, fields=filled))
    except csv.Error as error:
        raise InputError(
            f"{path.name}:{reader.line_num}", f"is not CSV ({error})", "correct it"
        ) from None
    if not columns:
        raise InputError(f"{path}", "names no columns", f"begin it with {','.join(needed)}")
    problems.raise_any()
    return Table(
        name=path.name,
        sha256=hashlib.sha256(raw).hexdigest(),
        columns=columns,
        lines=tuple(lines),
        decimal_comma=semicolon,
    )


def number_in(
    line: Line, column: str, table: Table, problems: Problems, least: float, most: float
) -> float:
    """Return a field's number; NaN after noting that it is missing, no number or out of range."""
    text = line.fields.get(column)
    if text is None:
        problems.add(line.place, f"{column} is missing", f"fill in {column}, or leave the row out")
        return math.nan
    share = text.endswith("%")
    plain = text.removesuffix("%").strip()
    if table.decimal_comma:
        plain = plain.replace(",", ".")
    try:
        value = float(plain) / (100.0 if share else 1.0)
    except ValueError:
        problems.add(line.place, f"{column} is '{text}', not a number", "write it like 12.5")
        return math.nan
    if not (math.isfinite(value) and least <= value <= most):
        problems.add(
            line.place,
            f"{column} is {printable(text)}",
            f"{column} runs from {least:g} to {most:g}",
        )
        return math.nan
    return value


def codes_in(
    line: Line, channels: Sequence[str], table: Table, problems: Problems
) -> tuple[int, ...] | None:
    """Return the row's bytes in channel order; None after noting what is wrong with them."""
    found: list[int] = []
    for channel in channels:
        value = number_in(line, channel.lower(), table, problems, 0, 255)
        if math.isnan(value):
            continue
        if value != int(value):
            problems.add(
                line.place, f"{channel.lower()} is {value:g}", "a byte is a whole number, 0 to 255"
            )
            continue
        found.append(int(value))
    return tuple(found) if len(found) == len(channels) else None


def measured_lines(table: Table, columns: Iterable[str]) -> tuple[Line, ...]:
    """Return the rows that have something in at least one of the columns: others are still to be measured."""
    wanted = tuple(columns)
    return tuple(line for line in table.lines if any(c in line.fields for c in wanted))


def _bytes_of(path: Path) -> bytes:
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise InputError(f"{path}", "is not a file", "name a CSV file")
        if status.st_size > _MOST_BYTES:
            raise InputError(f"{path}", "is too large for measurements", "name a CSV file")
        return path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or f"{error}"
        raise InputError(
            f"{path}", f"cannot be read ({reason})", "see 'marquee bench new DIR' for templates"
        ) from None


def _columns(
    names: list[str], place: str, known: Sequence[str], needed: Sequence[str]
) -> tuple[str, ...]:
    columns = [name if name in known else name.lower() for name in names]
    while columns and not columns[-1]:
        columns.pop()
    for column in columns:
        if column not in known:
            near = difflib.get_close_matches(column, known, n=1, cutoff=0.0)
            raise InputError(
                place,
                f"unknown column '{column}'",
                f"did you mean '{near[0]}'? valid here: {', '.join(known)}",
            )
        if columns.count(column) > 1:
            raise InputError(place, f"the column '{column}' stands twice", "name each column once")
    missing = [column for column in needed if column not in columns]
    if missing:
        raise InputError(
            place, f"the column '{missing[0]}' is missing", f"needed: {', '.join(needed)}"
        )
    return tuple(columns)
