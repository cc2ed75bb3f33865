"""The folder that holds remembered values: ours alone, bounded in size, and safe to delete at any moment."""

from __future__ import annotations

import contextlib
import os
import stat
import tempfile
import time
from pathlib import Path

# Two hundred plans of the demo's size; a 24-megapixel sign takes some 100 MB a version.
LIMIT_BYTES = 512 * 1024 * 1024
# Pruning goes down to this share, so that it is not done again at once.
_KEPT_SHARE = 0.8
# Nobody writes one value for so long: a temporary file this old was left by a run that was killed.
_STALE_S = 3600.0
_ENDING = ".value"
# Set to a folder, or to "off".
ENVIRONMENT = "MARQUEE_CACHE"


class Store:
    """Keys → bytes in one folder. Whatever the disk refuses is as if it had never been stored."""

    def __init__(self, folder: Path, limit_bytes: int = LIMIT_BYTES) -> None:
        self._folder = folder
        self._limit_bytes = limit_bytes

    def get(self, key: str) -> bytes | None:
        """Return what was put under the key, or None."""
        path = self._folder / (key + _ENDING)
        try:
            content = path.read_bytes()
            os.utime(path)  # the longest unused go first
        except OSError:
            return None
        return content

    def put(self, key: str, content: bytes) -> None:
        """Keep bytes under a key, whole or not at all; of several runs at once the last one wins."""
        if len(content) > self._limit_bytes // 4:
            return
        name = None
        try:
            handle, name = tempfile.mkstemp(dir=self._folder, prefix=".new-")
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
            Path(name).replace(self._folder / (key + _ENDING))
        except OSError:
            if name is not None:
                with contextlib.suppress(OSError):
                    Path(name).unlink()

    def drop(self, key: str) -> None:
        """Forget what is under the key."""
        with contextlib.suppress(OSError):
            (self._folder / (key + _ENDING)).unlink()

    def prune(self) -> None:
        """Remove the longest unused values while the folder is over its limit, and what killed runs left."""
        entries: list[tuple[float, int, str]] = []
        now = time.time()
        with contextlib.suppress(OSError), os.scandir(self._folder) as found:
            for entry in found:
                with contextlib.suppress(OSError):
                    known = entry.stat(follow_symlinks=False)
                    if entry.name.endswith(_ENDING):
                        entries.append((known.st_mtime, known.st_size, entry.path))
                    elif entry.name.startswith(".new-") and now - known.st_mtime > _STALE_S:
                        Path(entry.path).unlink()
        total = sum(size for _, size, _ in entries)
        if total <= self._limit_bytes:
            return
        for _, size, path in sorted(entries):
            if total <= _KEPT_SHARE * self._limit_bytes:
                break
            with contextlib.suppress(OSError):
                Path(path).unlink()
            total -= size


def open_store() -> Store | None:
    """Return the store in the platform's cache folder, or where MARQUEE_CACHE says; None where there is none.

    There is none where the environment says ``off``, the folder cannot be made, or it is not the user's own or
    open to others (mode 0700 is asked for): nothing is read that someone else may have put there.
    """
    told = os.environ.get(ENVIRONMENT, "")
    if told.lower() == "off":
        return None
    try:
        folder = Path(told) if told else _platform_folder()
        if not (told or _has_home()):
            return None
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        known = folder.lstat()
    except (OSError, ValueError, RuntimeError):
        return None
    if not stat.S_ISDIR(known.st_mode):
        return None
    if hasattr(os, "geteuid") and (known.st_uid != os.geteuid() or known.st_mode & 0o077):
        return None
    return Store(folder)


def _platform_folder() -> Path:
    from platformdirs import user_cache_path

    return user_cache_path("marquee", appauthor=False) / "values"


def _has_home() -> bool:
    """Tell whether the user has a home; an empty HOME would put the folder at the root of the disk."""
    return Path.home().is_absolute() and Path.home() != Path("/")
