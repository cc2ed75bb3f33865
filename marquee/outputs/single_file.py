"""One file the maker asked for by name: written whole or not at all, and a killed run's leftover cleared by the next."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from marquee.errors import OutputError
from marquee.outputs.leftovers import clear_files, lock, prefix_of, stands_at


def write_file(name: str, content: bytes) -> None:
    """Write one new file the maker asked for by name, whole or not at all; an existing one is refused.

    Raises
    ------
    OutputError
        It exists, or the disk refuses.
    """
    path = Path(name)
    try:
        if path.exists():
            raise OutputError(f"{path}", "exists already", "remove it or choose another name")
        with _complete(path, content) as part:
            part.rename(path)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise OutputError(
            f"{path}", f"cannot be written ({reason})", "choose another place"
        ) from None


def replace_file(path: Path, content: bytes, kept: Path | None) -> None:
    """Write a file whole; what stood there before gets the new name `kept` too, so that no moment has neither.

    Raises
    ------
    OSError
        The disk refuses; what stood there still does.
    """
    with _complete(path, content) as part:
        if kept is not None:
            try:
                kept.hardlink_to(path)
            except OSError:  # a disk without links
                with _complete(kept, path.read_bytes()) as copy:
                    copy.rename(kept)
        part.replace(path)


@contextlib.contextmanager
def _complete(path: Path, content: bytes) -> Iterator[Path]:
    """Give a finished file beside `path`, on the disk and locked; it is gone afterwards unless it got another name."""
    clear_files(path)
    fd, part = _unfinished(path)
    try:
        with os.fdopen(os.dup(fd), "wb") as stream:
            stream.write(content)
        os.fsync(fd)
        yield part
    finally:
        part.unlink(missing_ok=True)
        os.close(fd)


def _unfinished(path: Path) -> tuple[int, Path]:
    """Return a new file beside `path`, open and locked, with the rights a file of the maker's has."""
    while True:
        fd, name = tempfile.mkstemp(prefix=prefix_of(path), dir=path.parent)
        lock(fd)
        if stands_at(fd, Path(name)):
            mask = os.umask(0o077)
            os.umask(mask)
            with contextlib.suppress(OSError):  # a disk without rights
                os.fchmod(fd, 0o666 & ~mask)
            return fd, Path(name)
        os.close(fd)  # another run took it for a leftover before it was locked
