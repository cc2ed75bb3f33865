"""What the texts share: their width, wrapping behind a mark, counted nouns, a supply's name."""

from __future__ import annotations

import textwrap

from marquee.errors import printable

# Columns of all texts: what a terminal shows without breaking lines itself.
WIDTH = 100


def wrapped(head: str, text: str, rest: str | None = None, *, cut: bool = True) -> list[str]:
    """Return a text's lines, safe to show: the first behind `head`, the others behind `rest`.

    Parameters
    ----------
    head, text : str
    rest : str, optional
        Blanks as long as `head` where not given.
    cut : bool
        Whether a word longer than a line is cut; paths and lists to copy are not.
    """
    return textwrap.wrap(
        printable(text),
        WIDTH,
        initial_indent=head,
        subsequent_indent=" " * len(head) if rest is None else rest,
        break_long_words=cut,
        break_on_hyphens=False,
    )


def counted(number: int, noun: str) -> str:
    """Return a number with its noun.

    Examples
    --------
    >>> counted(1, "wall"), counted(3, "wall")
    ('1 wall', '3 walls')
    """
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def money_words(currency: str) -> str:
    """Return what an amount of money is followed by; a tariff may come without its currency."""
    return printable(currency) or "of the tariff's money"


def supply_words(count: int, volts: float, amps: float) -> str:
    """Return what supplies are called: number, where there are several, volts and amperes.

    Examples
    --------
    >>> supply_words(2, 5.0, 40.0)
    '2 × 5 V 40 A'
    """
    several = f"{count} × " if count > 1 else ""
    return f"{several}{volts:g} V {amps:g} A"
