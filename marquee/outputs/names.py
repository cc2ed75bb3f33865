"""Names from files as identifiers and as text inside comments: nothing a file says can become code."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

# C99 5.2.4.1 (from memory) guarantees 63 significant characters of a macro name; with the longest prefix
# of 20 and "_Z_" this leaves room.
NAME_LENGTH = 31
COMMENT_LENGTH = 60
_UNSAFE_IN_COMMENT = re.compile(r"[^A-Za-z0-9 .,:;+\-=()_%@!&']")


def identifier(text: str) -> str:
    """Return `text` as upper-case ASCII words joined by single underscores, at most 31 characters.

    It never starts or ends with an underscore; with a prefix before it, it can neither be reserved nor begin
    with a digit.

    Examples
    --------
    >>> identifier("Façade: */ #2"), identifier("火")
    ('FACADE_2', 'UNNAMED')
    """
    ascii_text = _decomposed(text).encode("ascii", "ignore").decode("ascii").upper()
    words = re.sub(r"[^A-Z0-9]+", "_", ascii_text).strip("_")
    return words[:NAME_LENGTH].strip("_") or "UNNAMED"


def unique_identifiers(texts: Iterable[str]) -> tuple[str, ...]:
    """Return one identifier for each text, later equals ending in _2, _3 and so on, within the length.

    Examples
    --------
    >>> unique_identifiers(["a b", "A-B", "a_b 2"])
    ('A_B', 'A_B_2', 'A_B_2_2')
    """
    taken: set[str] = set()
    names: list[str] = []
    for text in texts:
        base = name = identifier(text)
        number = 2
        while name in taken:
            tail = f"_{number}"
            name = base[: NAME_LENGTH - len(tail)].rstrip("_") + tail
            number += 1
        taken.add(name)
        names.append(name)
    return tuple(names)


def comment_text(text: str) -> str:
    """Return `text` for inside a comment: printable ASCII that cannot end it, at most 60 characters.

    Examples
    --------
    >>> comment_text("red */ int x; ??/")
    'red __ int x; ___'
    """
    plain = "".join(c for c in _decomposed(text) if not unicodedata.combining(c))
    safe = _UNSAFE_IN_COMMENT.sub("_", plain)
    return " ".join(safe.split())[:COMMENT_LENGTH].strip() or "-"


def base_name(path: str) -> str:
    """Return the last part of a path of either kind of slash."""
    return path.replace("\\", "/").rsplit("/", 1)[-1]


def _decomposed(text: str) -> str:
    return unicodedata.normalize("NFKD", text)
