"""What a killed run leaves beside the plan's folder or a file: told from another run's work by a lock, and cleared."""

from __future__ import annotations

import hashlib
import os
import shutil
from dataclasses import dataclass
from pathlib import Path

try:
    import fcntl
except ImportError:  # no such locks on this system: nothing is cleared there
    fcntl = None  # type: ignore[assignment]

# How the name of a folder set aside ends.
ASIDE = ".old"


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """An open folder, locked where the disk has locks; the system drops the lock of a killed process."""

    fd: int
    locked: bool

    def still_at(self, path: Path) -> bool:
        """Return whether the folder still stands at that place."""
        return stands_at(self.fd, path)

    def release(self) -> None:
        """Give the folder free."""
        os.close(self.fd)


def claim(folder: Path, *, wait: bool = True) -> Claim | None:
    """Return the folder opened and locked, once no other run holds it; None where there is no such folder.

    Parameters
    ----------
    folder : Path
        A folder.
    wait : bool
        Whether to wait for another run; without, one that is held is returned not locked.
    """
    try:
        fd = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
    except FileNotFoundError:
        return None
    return Claim(fd=fd, locked=lock(fd, wait=wait))


def lock(fd: int, *, wait: bool = True) -> bool:
    """Lock what is open there, once no other run holds it; return whether it is locked, which not every disk can."""
    try:
        if fcntl is not None:
            fcntl.flock(fd, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except OSError:
        return False
    return fcntl is not None


def stands_at(fd: int, path: Path) -> bool:
    """Return whether what is open there still has that name."""
    try:
        return os.path.samestat(os.fstat(fd), path.stat())
    except OSError:
        return False


def prefix_of(place: Path) -> str:
    """Return how the names of a place's unfinished folders and files begin; they end in eight random characters."""
    digest = hashlib.sha256(os.fsencode(place.name)).hexdigest()[:8]
    return f".{place.name[:40]}.{digest}."


def clear_leftovers(place: Path) -> None:
    """Remove the unfinished folders of killed runs beside `place`; those of runs at work are locked."""
    for folder in _beside(place):
        held = claim(folder, wait=False)
        if held is None:
            continue
        try:
            if held.locked and held.still_at(folder):
                shutil.rmtree(folder, ignore_errors=True)
        finally:
            held.release()


def clear_files(place: Path) -> None:
    """Remove the unfinished files of killed runs beside a file; those of runs at work are locked."""
    for path in _named_alike(place):
        if path.is_symlink() or not path.is_file():
            continue
        try:
            fd = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
        except OSError:
            continue
        try:
            if lock(fd, wait=False) and stands_at(fd, path):
                path.unlink(missing_ok=True)
        except OSError:
            pass  # another's, perhaps
        finally:
            os.close(fd)


def restore_aside(place: Path) -> None:
    """Put back the folder that a run, killed between two renames, had set aside.

    Only where the system cannot exchange two folders in one step does a run set one aside.
    """
    if place.exists():
        return
    for folder in _beside(place):
        if folder.name.endswith(ASIDE):
            held = claim(folder, wait=False)
            if held is None:
                continue
            try:
                if held.locked and not place.exists():
                    folder.rename(place)
            finally:
                held.release()


def _beside(place: Path) -> list[Path]:
    return [path for path in _named_alike(place) if path.is_dir() and not path.is_symlink()]


def _named_alike(place: Path) -> list[Path]:
    start = prefix_of(place)
    try:
        return sorted(path for path in place.parent.iterdir() if path.name.startswith(start))
    except OSError:
        return []
