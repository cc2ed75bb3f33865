"""Whether a header's code, beside its values, is still what marquee writes: macros, types, assertions."""

from __future__ import annotations

import re

# A comment that nothing closes ends with the file: trying each `/*` anew would take the square of their number.
COMMENT = re.compile(r"/\*.*?(?:\*/|\Z)|//[^\n]*", re.DOTALL)
_TOKEN = re.compile(r"\w+|[^\w\s]")


def code_differences(text: str, made: str) -> tuple[str, ...]:
    """Return where a header's code first leaves what marquee writes, in one sentence; empty if nowhere.

    Blanks, line ends, comments and whatever stands before and after are left aside.

    Parameters
    ----------
    text : str
        A header, or the program it was pasted into.
    made : str
        The header made from the plan.
    """
    here, wanted = _tokens(text), [word for word, _ in _tokens(made)]
    words = [word for word, _ in here]
    best = max(_starts(words, wanted), key=lambda at: _agreement(words[at:], wanted), default=None)
    if best is None:
        return ("no include guard as marquee writes it was found",)
    same = _agreement(words[best:], wanted)
    if same == len(wanted):
        return ()
    if best + same >= len(here):
        return (f"its code ends before '{wanted[same]}': make it again from the plan",)
    word, line = here[best + same]
    return (
        f"line {line}: the values fit, but '{word}' stands where marquee writes '{wanted[same]}':"
        " edited by hand, or made by another version",
    )


def _starts(words: list[str], wanted: list[str]) -> list[int]:
    head = wanted[:3]  # the guard's #ifndef and name
    return [i for i in range(len(words) - 2) if words[i : i + 3] == head]


def _agreement(words: list[str], wanted: list[str]) -> int:
    for index, (word, want) in enumerate(zip(words, wanted, strict=False)):
        if word != want:
            return index
    return min(len(words), len(wanted))


def _tokens(text: str) -> list[tuple[str, int]]:
    """Words and signs outside comments, each with its line."""
    plain = COMMENT.sub(lambda match: "\n" * match[0].count("\n") + " ", text)
    return [
        (match[0], number)
        for number, line in enumerate(plain.splitlines(), 1)
        for match in _TOKEN.finditer(line)
    ]
