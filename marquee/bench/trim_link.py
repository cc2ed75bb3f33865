"""The sign's trim mode over a serial line, as trim.h of the example program describes it."""

from __future__ import annotations

import re
import time
from dataclasses import dataclass
from typing import Protocol

from marquee.errors import InputError

BAUD = 38400
# A board that resets when its port is opened needs its loader's time: up to 2 s on common ones (from memory).
_HELLO_TRIES, _HELLO_WAIT_S, _ANSWER_WAIT_S = 16, 0.5, 3.0
_HELLO = re.compile(r"trim 1 zones (\d+) channels (\d+) global (\d+) crc ([0-9A-F]{8})")
_SHOWN = re.compile(r"(\d+)=(\d+(?:,\d+)*)")
# Lines a noisy start may bring before the answer, and how much of a line that does not end is kept.
_MOST_NOISE, _LONGEST_LINE = 20, 4096


class Port(Protocol):
    """A serial port that reads what is there, or nothing within its time-out."""

    def read(self, size: int = 1, /) -> bytes:
        """Return up to `size` bytes, fewer after the time-out."""

    def write(self, data: bytes, /) -> int | None:
        """Send bytes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hello:
    """What a sign says of itself: zones, channels, bits of its global setting, checksum of its constants."""

    zones: int
    channels: int
    global_bits: int
    crc32: int


class TrimLink:
    """A sign in trim mode; each request waits for its answer."""

    def __init__(self, port: Port, where: str) -> None:
        self._port, self._where = port, where
        self._waiting = b""

    def hello(self) -> Hello:
        """Switch trim mode on and return what the sign says of itself.

        Raises
        ------
        InputError
            Nothing that is a sign of ours answers.
        """
        for _ in range(_HELLO_TRIES):
            self._port.write(b"!")
            until = time.monotonic() + _HELLO_WAIT_S
            while (line := self._line(until)) is not None:
                # Characters of a frame cut short may stand before it.
                if match := _HELLO.search(line):
                    zones, channels, bits = (int(match[k]) for k in (1, 2, 3))
                    return Hello(
                        zones=zones, channels=channels, global_bits=bits, crc32=int(match[4], 16)
                    )
        raise InputError(
            self._where,
            f"no sign answered within {_HELLO_TRIES * _HELLO_WAIT_S:.0f} s",
            "check the port's name and that the example program with trim.c runs on the board",
        )

    def show(
        self, zone: int, codes: tuple[int, ...], global_code: int | None
    ) -> tuple[tuple[int, ...], int | None]:
        """Let a zone show bytes; return the bytes and the global setting it really shows.

        Raises
        ------
        InputError
            The sign refuses them or falls silent.
        """
        values = codes if global_code is None else (*codes, global_code)
        return self._shown(f"{zone}={','.join(str(v) for v in values)}", len(codes), global_code)

    def only(self, zone: int, channels: int, global_code: int | None) -> None:
        """Darken all other zones."""
        self._shown(f"only {zone}", channels, global_code)

    def all(self) -> None:
        """Show every zone again."""
        self._ask("all", "all")

    def run(self) -> None:
        """Leave trim mode: the sign forgets it and runs on as planned."""
        self._ask("run", "run")

    def _shown(
        self, request: str, channels: int, global_code: int | None
    ) -> tuple[tuple[int, ...], int | None]:
        answer = self._ask(request, None)
        match = _SHOWN.fullmatch(answer)
        values = () if match is None else tuple(int(v) for v in match[2].split(","))
        if len(values) != channels + (global_code is not None):
            raise self._odd(request, answer)
        return values[:channels], (values[channels] if global_code is not None else None)

    def _ask(self, request: str, wanted: str | None) -> str:
        self._port.write(f"{request}\n".encode("ascii"))
        until = time.monotonic() + _ANSWER_WAIT_S
        for _ in range(_MOST_NOISE):
            line = self._line(until)
            if line is None:
                raise InputError(
                    self._where,
                    f"the sign did not answer '{request}'",
                    "check the cable and start again",
                )
            if _HELLO.search(line):
                continue  # a second answer to the first call
            if wanted is not None and line != wanted:
                raise self._odd(request, line)
            return line
        raise self._odd(request, "too many lines")

    def _odd(self, request: str, answer: str) -> InputError:
        return InputError(
            self._where,
            f"the sign answered '{answer[:60]}' to '{request}'",
            "load the program and constants of this very plan onto the board",
        )

    def _line(self, until: float) -> str | None:
        """Return the next line without its end, or None if none is complete by then."""
        while b"\n" not in self._waiting:
            if time.monotonic() > until:
                return None
            self._waiting = (self._waiting + self._port.read(64))[-_LONGEST_LINE:]
        line, _, self._waiting = self._waiting.partition(b"\n")
        return line.decode("ascii", errors="replace").strip()
