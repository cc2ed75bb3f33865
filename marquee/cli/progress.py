"""One line on the terminal that says what is being worked on; silent where nobody is watching."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable
from types import TracebackType
from typing import ParamSpec, TypeVar

from marquee.errors import printable
from marquee.stage import Runner, call

P = ParamSpec("P")
T = TypeVar("T")
# Stage → what a maker would call it, in the order they run.
_STAGES = {
    "find_zones": "zones",
    "build_box": "walls",
    "place_leds": "LED places",
    "with_slots": "LED places",
    "plan_cut": "what to cut",
    "transfer_light": "light in the box",
    "solve_drive": "colours",
    "light_face": "light on the face",
    "light_unwalled": "light without walls",
    "plan_power": "supply and wires",
    "choose_constants": "firmware constants",
    "estimate_budget": "firmware constants",
}


class Progress:
    """The line while the `with` block lasts; gone after it.

    Parameters
    ----------
    is_wanted : bool
        False where another process has the line.
    """

    def __init__(self, *, is_wanted: bool = True) -> None:
        self._shown = 0
        self._is_watched = is_wanted and sys.stderr is not None and sys.stderr.isatty()

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.clear()

    def say(self, text: str) -> None:
        """Put `text` in the place of what the line said."""
        if not self._is_watched:
            return
        # One cell is kept free: some terminals wrap a line that fills them.
        room = max(shutil.get_terminal_size().columns - 1, 10)
        line = printable(text)[:room]
        sys.stderr.write(f"\r{line.ljust(self._shown)}")
        sys.stderr.flush()
        self._shown = len(line)

    def clear(self) -> None:
        """Leave the terminal's line as empty as it was."""
        if self._shown:
            sys.stderr.write(f"\r{' ' * self._shown}\r")
            sys.stderr.flush()
            self._shown = 0

    def telling(self, run: Runner = call) -> Runner:
        """Return a runner that says which stage `run` is at."""

        def told(stage: Callable[P, T], /, *inputs: P.args, **named: P.kwargs) -> T:
            word = _STAGES.get(getattr(stage, "__name__", ""))
            if word is not None:
                self.say(f"planning: {word} …")
            return run(stage, *inputs, **named)

        return told
