"""The three standard streams, which whoever starts the program may hand over closed, full or broken."""

from __future__ import annotations

import errno
import io
import os
import sys

# What a disk says that takes no more.
_NO_ROOM = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO})


def prepare_streams() -> None:
    """Open what was handed over closed (``>&-``), and let a terminal show escapes for what it cannot show.

    Without the first, the next file opened would take the closed stream's number and its output.
    """
    for number in (0, 1, 2):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest free number, which is this one
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def flush_output() -> None:
    """Send what was said, so that a reader who went away is noticed here."""
    if sys.stdout is not None:
        sys.stdout.flush()


def drop_output() -> None:
    """Send what is still to be said nowhere, so that the interpreter's last flush does not fail."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)


def has_no_room(error: Exception) -> bool:
    """Return whether the error is of a disk or a stream that takes no more."""
    return isinstance(error, OSError) and error.errno in _NO_ROOM
