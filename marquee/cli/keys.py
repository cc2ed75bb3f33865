"""Single keys from a terminal, held for a whole sitting so that a key pressed early is neither lost nor echoed."""

from __future__ import annotations

import os
import re
import sys
from types import TracebackType
from typing import Any

import click

# A key as terminals send it: an escape sequence (ECMA-48 5.4, and SS3 of application mode) or one character.
_KEY = re.compile(r"\x1b(?:\[[0-9;]*[A-Za-z~]|O[A-Za-z])|.", re.DOTALL)


class Keys:
    """The keyboard while the `with` block lasts; the terminal is put back as it was after it."""

    def __init__(self) -> None:
        self._saved: list[Any] | None = None
        self._waiting: list[str] = []

    def __enter__(self) -> Keys:
        try:
            import termios
        except ImportError:  # a system without terminal settings: click knows its way there
            return self
        if sys.stdin.isatty():
            descriptor = sys.stdin.fileno()
            self._saved = termios.tcgetattr(descriptor)
            held = termios.tcgetattr(descriptor)
            held[3] &= ~(termios.ECHO | termios.ICANON | termios.ISIG)
            termios.tcsetattr(descriptor, termios.TCSADRAIN, held)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._saved is not None:
            import termios

            termios.tcsetattr(sys.stdin.fileno(), termios.TCSADRAIN, self._saved)

    def read(self) -> str:
        """Return the next key.

        Raises
        ------
        KeyboardInterrupt
            Ctrl-C.
        EOFError
            Ctrl-D, or the terminal is gone.
        """
        if self._saved is None:
            return click.getchar()
        if not self._waiting:
            sent = os.read(sys.stdin.fileno(), 1024)
            if not sent:
                raise EOFError
            self._waiting = _KEY.findall(sent.decode("utf-8", errors="replace"))
        key = self._waiting.pop(0)
        if key == "\x03":
            raise KeyboardInterrupt
        if key == "\x04":
            raise EOFError
        return key
