"""The plan's folder: written whole or not at all, and nothing of the maker's lost."""

from __future__ import annotations

import ctypes
import hashlib
import json
import os
import shutil
import tempfile
from pathlib import Path

from marquee.errors import OutputError

# Lists the files marquee wrote and their digests, so that a later run knows what is its own.
MANIFEST = ".marquee-files.json"
_AT_FDCWD = -100
_RENAME_EXCHANGE = 2  # renameat2(2), Linux man-pages 6


def check_folder(target: Path) -> None:
    """Refuse a place where the plan's folder may not be put; nothing is written.

    Raises
    ------
    OutputError
        `target` is a file, a folder marquee did not make, or holds a file of ours edited since.
    """
    if not target.exists():
        if target.is_symlink():
            raise OutputError(f"{target}", "is a broken link", "remove it or choose another --out")
        if not target.absolute().parent.is_dir():
            raise OutputError(
                f"{target}",
                f"folder {target.absolute().parent} does not exist",
                "create it first or choose another --out",
            )
        return
    if not target.is_dir():
        raise OutputError(f"{target}", "exists and is not a folder", "choose another --out")
    listed = _manifest(target)
    if listed is None:
        if any(target.iterdir()):
            raise OutputError(
                f"{target}",
                "exists and was not made by marquee",
                "choose another --out or move it away",
            )
        return
    for name, digest in sorted(listed.items()):
        ours = target / name
        if ours.is_file() and hashlib.sha256(ours.read_bytes()).hexdigest() != digest:
            raise OutputError(
                f"{ours}",
                "was edited after marquee wrote it",
                "move your copy elsewhere or choose another --out",
            )


def write_folder(target: Path, files: dict[str, bytes]) -> None:
    """Write all files as the folder `target`, replacing an earlier plan in one step.

    Files the maker added to an earlier plan's folder are kept. The new folder is complete on disk before
    it takes the old one's place.

    Raises
    ------
    OutputError
        As `check_folder`, or the disk refuses (full, read-only).
    """
    check_folder(target)
    place = target.resolve()
    new: Path | None = None
    try:
        new = Path(tempfile.mkdtemp(prefix=f".{place.name[:60]}.", dir=place.parent))
        new.chmod(0o755)
        _fill(new, files)
        if place.exists():
            _keep_theirs(place, new)
        _swap(new, place)
    except OSError as error:
        raise OutputError(
            f"{target}",
            f"cannot be written ({error.strerror or error})",
            "free some space or choose another --out",
        ) from None
    finally:
        if new is not None:
            shutil.rmtree(new, ignore_errors=True)


def write_file(name: str, content: bytes) -> None:
    """Write one new file the maker asked for by name, whole or not at all; an existing one is refused.

    Raises
    ------
    OutputError
        It exists, or the disk refuses.
    """
    path = Path(name)
    part = path.with_name(f".{path.name[:60]}.{os.getpid()}")
    try:
        if path.exists():
            raise OutputError(f"{path}", "exists already", "remove it or choose another name")
        part.write_bytes(content)
        part.rename(path)
    except OSError as error:
        raise OutputError(
            f"{path}", f"cannot be written ({error.strerror or error})", "choose another place"
        ) from None
    finally:
        part.unlink(missing_ok=True)


def _fill(folder: Path, files: dict[str, bytes]) -> None:
    digests = {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}
    manifest = json.dumps({"made_by": "marquee", "files": digests}, indent=1, sort_keys=True)
    for name, content in {**files, MANIFEST: manifest.encode() + b"\n"}.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())


def _manifest(folder: Path) -> dict[str, str] | None:
    try:
        raw = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    files = raw.get("files") if isinstance(raw, dict) and raw.get("made_by") == "marquee" else None
    return {str(k): str(v) for k, v in files.items()} if isinstance(files, dict) else None


def _keep_theirs(old: Path, new: Path) -> None:
    ours = {*(_manifest(old) or {}), MANIFEST}
    for path in sorted(old.rglob("*")):
        name = path.relative_to(old)
        if name.as_posix() in ours or (path.is_dir() and not path.is_symlink()):
            continue
        kept = new / name
        if not kept.exists():
            kept.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(path, kept, follow_symlinks=False)


def _swap(new: Path, place: Path) -> None:
    if not place.exists():
        new.rename(place)
        return
    if _exchange(new, place):
        return
    aside = new.with_name(new.name + ".old")
    place.rename(aside)
    new.rename(place)
    shutil.rmtree(aside, ignore_errors=True)


def _exchange(a: Path, b: Path) -> bool:
    """Swap two folders in one step where the system can; the old one is then at `a`."""
    try:
        renameat2 = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError, TypeError):
        return False
    return bool(
        renameat2(_AT_FDCWD, os.fsencode(a), _AT_FDCWD, os.fsencode(b), _RENAME_EXCHANGE) == 0
    )
