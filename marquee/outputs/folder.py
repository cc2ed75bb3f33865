"""The plan's folder: written whole or not at all, and nothing of the maker's lost."""

from __future__ import annotations

import ctypes
import errno
import filecmp
import hashlib
import json
import os
import shutil
import tempfile
from contextlib import ExitStack
from pathlib import Path

from marquee.errors import OutputError
from marquee.outputs.leftovers import (
    ASIDE,
    Claim,
    claim,
    clear_leftovers,
    prefix_of,
    restore_aside,
)

# Lists the files marquee wrote and their digests, so that a later run knows what is its own.
MANIFEST = ".marquee-files.json"
_AT_FDCWD = -100
_RENAME_EXCHANGE = 2  # renameat2(2), Linux man-pages 6
# Two runs that end at one moment take turns; more in a row than this are not met by chance.
_TRIES = 20


def check_folder(target: Path) -> None:
    """Refuse a place where the plan's folder may not be put; nothing is written.

    Raises
    ------
    OutputError
        `target` is a file, a folder marquee did not make, the one the shell is in, one that may not be
        written, or holds a file of ours edited since.
    """
    edited: Path | None = None
    try:
        _check_place(target)
        for _ in range(_TRIES):
            listed = _manifest(target)
            edited = None if listed is None else _edited(target, listed)
            if edited is None or _manifest(target) == listed:
                break  # else another run has put its plan there meanwhile: look again
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or f"{error}"
        raise OutputError(
            f"{target}", f"cannot be used ({reason})", "choose another --out"
        ) from None
    if edited is not None:
        raise OutputError(
            f"{edited}",
            "was edited after marquee wrote it",
            "move your copy elsewhere or choose another --out",
        )


def write_folder(target: Path, files: dict[str, bytes]) -> None:
    """Write all files as the folder `target`, replacing an earlier plan in one step.

    Files the maker added to an earlier plan's folder are kept. The new folder is complete on disk before
    it takes the old one's place, so that whatever stops the program leaves the one or the other; what a
    stopped run left beside it is cleared by the next.

    Raises
    ------
    OutputError
        As `check_folder`, a file the maker added has the name of one of ours, or the disk refuses (full,
        read-only).
    """
    place = target.resolve()
    new: Path | None = None
    mine: Claim | None = None
    try:
        restore_aside(place)
        check_folder(target)
        clear_leftovers(place)
        new, mine = _unfinished(place)
        _fill(new, files)
        _put(new, place)
    except OSError as error:
        raise OutputError(
            f"{target}",
            f"cannot be written ({error.strerror or error})",
            "free some space or choose another --out",
        ) from None
    finally:
        if new is not None:
            shutil.rmtree(new, ignore_errors=True)
        if mine is not None:
            mine.release()


def make_parent(target: Path) -> None:
    """Make the folder that several plans' folders are to lie in, if only it is missing.

    Raises
    ------
    OutputError
        It may not be made there.
    """
    parent = target.parent
    if not parent.exists():
        _check_place(parent)
        try:
            parent.mkdir()
        except OSError as error:
            raise OutputError(
                f"{parent}", f"cannot be made ({error.strerror})", "choose another --out"
            ) from error


def _check_place(target: Path) -> None:
    if "\0" in f"{target}":
        raise OutputError(f"{target}", "is no name for a folder", "choose another --out")
    if not target.exists():
        if target.is_symlink():
            raise OutputError(f"{target}", "is a broken link", "remove it or choose another --out")
        parent = target.absolute().parent
        if not parent.is_dir():
            raise OutputError(
                f"{target}",
                f"folder {parent} does not exist",
                "create it first or choose another --out",
            )
        _refuse_unwritable(parent, target)
        return
    if not target.is_dir():
        raise OutputError(f"{target}", "exists and is not a folder", "choose another --out")
    if _manifest(target) is None and any(target.iterdir()):
        raise OutputError(
            f"{target}",
            "exists and was not made by marquee",
            "choose another --out or move it away",
        )
    place = target.resolve()
    inside = f"{target / 'sign-plan'}"
    if os.path.ismount(place):
        raise OutputError(f"{target}", "is a whole disk", f"name a folder in it: --out {inside}")
    if _here().is_relative_to(place):
        raise OutputError(
            f"{target}", "is the folder you are in", f"name a folder in it: --out {inside}"
        )
    _refuse_unwritable(place, target)
    _refuse_unwritable(place.parent, target)


def _here() -> Path:
    try:
        return Path.cwd()
    except OSError:  # removed since the shell went there
        return Path("/")


def _refuse_unwritable(folder: Path, target: Path) -> None:
    if not os.access(folder, os.W_OK | os.X_OK):
        raise OutputError(f"{target}", f"you may not write in {folder}", "choose another --out")


def _edited(folder: Path, listed: dict[str, str]) -> Path | None:
    """Return the first file of ours that is not as we wrote it."""
    for name, digest in sorted(listed.items()):
        ours = folder / name
        try:
            content = ours.read_bytes()
        except (FileNotFoundError, IsADirectoryError, NotADirectoryError):
            continue
        if hashlib.sha256(content).hexdigest() != digest:
            return ours
    return None


def _unfinished(place: Path) -> tuple[Path, Claim]:
    """Return a new locked folder beside `place`."""
    while True:
        new = Path(tempfile.mkdtemp(prefix=prefix_of(place), dir=place.parent))
        mine = claim(new)
        if mine is not None:
            if mine.still_at(new):
                return new, mine
            mine.release()  # another run took it for a leftover before it was locked


def _fill(folder: Path, files: dict[str, bytes]) -> None:
    digests = {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}
    manifest = json.dumps({"made_by": "marquee", "files": digests}, indent=1, sort_keys=True)
    for name, content in {**files, MANIFEST: manifest.encode() + b"\n"}.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        _write_through(path, content)


def _write_through(path: Path, content: bytes) -> None:
    """Write a file that is on the disk, not only on its way there, before its name is."""
    with path.open("wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def _manifest(folder: Path) -> dict[str, str] | None:
    try:
        raw = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    files = raw.get("files") if isinstance(raw, dict) and raw.get("made_by") == "marquee" else None
    return {str(k): str(v) for k, v in files.items()} if isinstance(files, dict) else None


def _put(new: Path, place: Path) -> None:
    """Give the finished folder its place; another run that does the same goes before or after, never between."""
    asides: list[Path] = []
    with ExitStack() as held:
        for _ in range(_TRIES):
            old = claim(place)
            if old is None:
                new.chmod(0o777 & ~_umask())
                done = _renamed(new, place)
            else:
                held.callback(old.release)
                done = old.still_at(place) and _replaced(new, place, asides)
            if done:
                for aside in asides:
                    # Half removed it must not look like one that is to be put back.
                    shutil.rmtree(aside.rename(f"{aside}.gone"), ignore_errors=True)
                return
    raise OSError(errno.EBUSY, "other runs keep writing there")


def _replaced(new: Path, place: Path, asides: list[Path]) -> bool:
    new.chmod(place.stat().st_mode & 0o7777)
    _keep_theirs(place, new)
    if _exchange(new, place):
        return True
    # Where the system cannot exchange two folders the old one is set aside first.
    aside = new.with_name(f"{new.name}.{len(asides)}{ASIDE}")
    place.rename(aside)
    try:
        done = _renamed(new, place)
    except OSError:
        aside.rename(place)
        raise
    asides.append(aside)
    return done


def _renamed(new: Path, place: Path) -> bool:
    try:
        new.rename(place)
    except OSError as error:
        if error.errno in {errno.EEXIST, errno.ENOTEMPTY}:  # another run was faster
            return False
        raise
    return True


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def _keep_theirs(old: Path, new: Path) -> None:
    ours = {*(_manifest(old) or {}), MANIFEST}
    our_folders = {folder.as_posix() for name in ours for folder in Path(name).parents}
    for path in sorted(old.rglob("*")):
        name = path.relative_to(old)
        if name.as_posix() in ours or name.as_posix() in our_folders:
            continue
        kept = new / name
        if path.is_dir() and not path.is_symlink():
            kept.mkdir(parents=True, exist_ok=True)
        elif not os.path.lexists(kept):
            kept.parent.mkdir(parents=True, exist_ok=True)
            _keep(path, kept)
        elif not filecmp.cmp(path, kept, shallow=False):
            raise OutputError(
                f"{path}",
                "is yours but has the name of a file marquee writes",
                "move it elsewhere or choose another --out",
            )


def _keep(path: Path, kept: Path) -> None:
    """Let a file stand in the new folder too: the same file where the disk can, else a copy."""
    try:
        os.link(path, kept, follow_symlinks=False)
    except OSError:
        if path.is_symlink() or path.is_file():
            shutil.copy2(path, kept, follow_symlinks=False)
        if kept.is_file() and not kept.is_symlink():
            with kept.open("rb") as stream:
                os.fsync(stream.fileno())


def _exchange(a: Path, b: Path) -> bool:
    """Swap two folders in one step where the system can; the old one is then at `a`."""
    try:
        renameat2 = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError, TypeError):
        return False
    return bool(
        renameat2(_AT_FDCWD, os.fsencode(a), _AT_FDCWD, os.fsencode(b), _RENAME_EXCHANGE) == 0
    )
