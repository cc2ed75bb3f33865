"""The one way things go wrong: what, where and how to mend it; and findings, which stop nothing."""

from __future__ import annotations

from dataclasses import dataclass


def printable(text: str) -> str:
    """Return `text` safe for a terminal and for one line: controls, bidi marks and lone surrogates escaped."""
    return "".join(
        c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text
    )


# More of a value than this helps nobody find it.
_LONGEST = 1000


def _short(text: str) -> str:
    shown = printable(text[: 2 * _LONGEST])
    return shown if len(shown) <= _LONGEST else f"{shown[:_LONGEST]} …"


class MarqueeError(Exception):
    """A problem of the user's input: one line on stderr, exit status 2.

    Parameters
    ----------
    where : str
        File, option, zone or table row at fault.
    what : str
        The value found and the limit it breaks.
    mend : str
        What to type or edit.
    """

    def __init__(self, where: str, what: str, mend: str) -> None:
        self.where, self.what, self.mend = _short(where), _short(what), _short(mend)
        super().__init__(f"{self.where}: {self.what}; {self.mend}")


class InputError(MarqueeError):
    """An artwork, palette or project file that cannot be used."""


class QuantityError(MarqueeError, ValueError):
    """An option or a field whose value is out of range or in the wrong form.

    Also a ValueError, so that the validation library reports it with the field it stands in.
    """


class TableError(MarqueeError):
    """A figure table with a missing source, an unknown column or an impossible value."""


class UnknownNameError(MarqueeError):
    """A part, palette, material or zone that does not exist; the mend names the nearest ones."""


class OutputError(MarqueeError):
    """A folder or file that may not or cannot be written."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What the maker should know but what stops nothing.

    `code` is stable (``zones.thin-stroke``), `where` names the zone, place in mm or option, `message`
    says what was found with figures, and what to do about it.
    """

    code: str
    where: str
    message: str
