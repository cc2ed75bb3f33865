"""One way to read a maker's TOML file: project, palette, part or calibration."""

from __future__ import annotations

import os
import stat
import tomllib
from pathlib import Path
from typing import Any

from marquee.errors import InputError

_MOST_BYTES = 1_000_000
# A response table of 256 pairs on one line is 4,000 characters with 256 dots.
_LONGEST_LINE, _MOST_DOTS = 20_000, 2_000
_ESCAPES = "in TOML text a backslash begins an escape: part folders with /"


def read_toml(path: Path, kind: str) -> dict[str, Any]:
    """Return the tables of a maker's file.

    Parameters
    ----------
    path : Path
        The file; only a regular one is opened, so that a pipe or device cannot hang us.
    kind : str
        What it should be, such as ``palette file``, for the message.

    Raises
    ------
    InputError
        Missing, not a file, larger than 1 MB, not UTF-8 (a byte order mark is fine) or not TOML.
    """
    where = f"{path}"
    name_one = f"name a {kind} (.toml)"
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise InputError(where, "is not a file", name_one)
        if status.st_size > _MOST_BYTES:
            raise InputError(where, f"is larger than 1 MB, too large for a {kind}", name_one)
        text = path.read_bytes().decode("utf-8-sig")
        _refuse_endless(text, where)
        tables = tomllib.loads(text)
    except FileNotFoundError:
        raise InputError(where, "does not exist", path_mend(where, name_one)) from None
    except UnicodeDecodeError as error:
        raise InputError(where, f"byte {error.start} is not UTF-8", "save it as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(where, f"is not TOML ({error})", _toml_mend(f"{error}")) from None
    except RecursionError:
        raise InputError(where, "is nested too deeply", name_one) from None
    except (OSError, ValueError) as error:  # a NUL in the name, a number of 5,000 digits
        reason = getattr(error, "strerror", None) or f"{error}"
        raise InputError(where, f"cannot be read ({reason})", "check the path") from None
    _refuse_endless_numbers(tables, where)
    return tables


def _refuse_endless(text: str, where: str) -> None:
    """Refuse a line no person writes: the reader's time grows with the square of a key's dots."""
    for number, line in enumerate(text.splitlines(), 1):
        if len(line) > _LONGEST_LINE or line.count(".") > _MOST_DOTS:
            raise InputError(
                where,
                f"line {number} is endless ({len(line)} characters)",
                "break it into several",
            )


def _refuse_endless_numbers(tables: dict[str, Any], where: str) -> None:
    """Refuse whole numbers beyond 64 bits (TOML 1.0.0, Integer), which break whatever is done with them."""
    left: list[tuple[str, Any]] = list(tables.items())
    while left:
        key, value = left.pop()
        if isinstance(value, dict):
            left += [(f"{key}.{name}", inner) for name, inner in value.items()]
        elif isinstance(value, list):
            left += [(key, inner) for inner in value]
        elif isinstance(value, int) and not -(2**63) <= value < 2**63:
            raise InputError(where, f"{key} is beyond all numbers used here", "correct that value")


def path_mend(name: str, otherwise: str) -> str:
    r"""Return how to mend a path that leads nowhere, a path of another system being told.

    Examples
    --------
    >>> path_mend("art\\sign.png", "check the path")
    'this system parts folders with /: write art/sign.png'
    """
    if any(c in name for c in "\b\t\n\f\r"):  # "C:\temp" read as a tab
        return _ESCAPES
    if "\\" not in name or os.sep == "\\":
        return otherwise
    return f"this system parts folders with /: write {name.replace(chr(92), '/')}"


def _toml_mend(problem: str) -> str:
    if "hex value" in problem or "escaped" in problem.lower():
        return _ESCAPES
    if problem.startswith(("Invalid value", "Expected newline")):
        return 'correct that line: text and lengths stand in quotes, as in width = "380mm"'
    if problem.startswith("Cannot overwrite"):
        return "the same name stands twice: take one of the two lines away"
    return "correct that line"
