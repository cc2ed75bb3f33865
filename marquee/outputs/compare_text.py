"""What changed between two plans, as a maker reads it and as JSON."""

from __future__ import annotations

from typing import Any

from marquee.outputs.compare_change import SUBJECTS, Change
from marquee.outputs.words import counted, wrapped

_LABEL = 11


def compare_text(changes: tuple[Change, ...], names: tuple[str, str]) -> str:
    """Return the changes one a line under their subjects, then what stayed the same."""
    head = f"{names[0]} → {names[1]}"
    if not changes:
        return f"{head}: no difference; both plan the same sign\n"
    lines = [f"{head}: {counted(len(changes), 'difference')}", *change_lines(changes)]
    told = {change.subject for change in changes}
    same = [subject for subject in SUBJECTS if subject not in told]
    if same:
        lines.append(f"{'unchanged':<{_LABEL}}{', '.join(same)}")
    return "\n".join(lines) + "\n"


def change_lines(changes: tuple[Change, ...]) -> list[str]:
    """Return the changes one a line under their subjects, wrapped."""
    lines = []
    for subject in SUBJECTS:
        label = subject
        for change in changes:
            if change.subject == subject:
                head, rest = f"{label:<{_LABEL}}", " " * (_LABEL + 2)
                lines += wrapped(head, _line(change), rest, cut=False)
                label = ""
    return lines


def _line(change: Change) -> str:
    note = f" ({change.note})" if change.note else ""
    if change.subject == "warnings":
        if change.after is None:
            return f"gone: {change.what}"
        return f"{'new' if change.before is None else 'now'}: {change.what}: {change.after}"
    if change.before is None:
        return f"new: {change.what} {change.after}".rstrip() + note
    if change.after is None:
        return f"gone: {change.what} {change.before}".rstrip() + note
    return f"{change.what} {change.before} → {change.after}{note}"


def compare_dict(changes: tuple[Change, ...], names: tuple[str, str]) -> dict[str, Any]:
    """Return the changes for other programs; `exact` are the unrounded values, where there are any."""
    return {
        "before": names[0],
        "after": names[1],
        "changes": [
            {
                "subject": change.subject,
                "what": change.what,
                "before": change.before,
                "after": change.after,
                "note": change.note or None,
                "exact": change.exact,
            }
            for change in changes
        ],
    }
