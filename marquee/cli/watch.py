"""Planning again whenever the artwork, palette, part, calibration or project is saved.

The few files are looked at three times a second (time, size, number): unlike the system's notices that works on
network drives too, needs no further package, and sees editors that save by putting a new file in the old one's place.
"""

from __future__ import annotations

import hashlib
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from marquee.cli.make import make, remembering, written
from marquee.cli.progress import Progress
from marquee.cli.source import project_from
from marquee.errors import MarqueeError, printable
from marquee.keywords import is_project

if TYPE_CHECKING:
    from marquee.cache.remember import Remembering
    from marquee.project import Project

_LOOK_S = 0.3
# Time without a file that an editor may take between removing the old one and putting the new one in its place.
_GONE_LOOKS = 4
# More lines of changes than this are cut: the rest is in summary.txt.
_MOST_LINES = 24

Seen = dict[Path, tuple[int, int, int] | None]


def watch(source: str, flags: dict[str, Any], target: Path, is_remembered: bool) -> int:
    """Plan once, then at every change until Ctrl-C, which ends it with status 0.

    Raises
    ------
    MarqueeError
        The first plan cannot be made; later ones are told in a line and the watch goes on.
    """
    memory = remembering(is_remembered, stays=True)
    try:
        _Watch(source, flags, target, memory).run()
    except KeyboardInterrupt:
        click.echo(
            f"\nmarquee: watch ended; {printable(f'{target}')}/ holds the last plan", err=True
        )
    return 0


class _Watch:
    def __init__(
        self, source: str, flags: dict[str, Any], target: Path, memory: Remembering | None
    ) -> None:
        self._source, self._flags, self._target = source, flags, target
        self._memory = memory
        self._files: list[Path] = []
        self._seen: Seen = {}
        self._content: dict[Path, bytes] = {}
        self._plan_json: bytes = b""

    def run(self) -> None:
        """Plan, then look, settle and plan again for ever."""
        self._first()
        while True:
            time.sleep(_LOOK_S)
            if _look(self._files) == self._seen:
                continue
            self._settle()
            changed = [path for path in self._files if _content(path) != self._content[path]]
            if changed:
                self._again(changed)

    def _first(self) -> None:
        from marquee.outputs.summary import summary_text

        project = self._project()
        with Progress() as progress:
            plan, files = make(project, self._target, self._memory, progress)
        self._plan_json = files["plan.json"]
        click.echo(summary_text(plan, written(self._target, files)), nl=False)
        names = ", ".join(printable(path.name) for path in self._files)
        click.echo(f"watching {names}; Ctrl-C ends", err=True)

    def _project(self) -> Project:
        """Return the project, its files noted before any is read: what is saved meanwhile is planned next."""
        self._note(self._files or [Path(self._source)])
        project = project_from(self._source, dict(self._flags))
        self._note(watched_files(self._source, project))
        return project

    def _note(self, files: list[Path]) -> None:
        self._files = files
        self._seen = {path: self._seen.get(path) or _state(path) for path in files}
        self._content = {path: _content(path) for path in files}

    def _settle(self) -> None:
        """Wait until nothing changes from one look to the next, and a file just gone has had time to come back."""
        gone_looks = 0
        while True:
            before = self._seen = _look(self._files)
            time.sleep(_LOOK_S)
            now = _look(self._files)
            gone_looks = gone_looks + 1 if None in now.values() else 0
            if now == before and (gone_looks == 0 or gone_looks >= _GONE_LOOKS):
                return

    def _again(self, changed: list[Path]) -> None:
        start = time.monotonic()
        try:
            project = self._project()
            with Progress() as progress:
                plan, files = make(project, self._target, self._memory, progress)
        except MarqueeError as error:
            click.echo(f"marquee: {error} (still watching)", err=True)
            return
        took_s = time.monotonic() - start
        names = ", ".join(printable(path.name) for path in changed)
        warnings = len(plan.findings)
        click.echo(
            f"{time.strftime('%H:%M:%S')}  {names} saved: planned again in {took_s:.1f} s; "
            f"{warnings} warning{'' if warnings == 1 else 's'}"
        )
        click.echo(_changes(self._plan_json, files["plan.json"]), nl=False)
        self._plan_json = files["plan.json"]


def watched_files(source: str, project: Project) -> list[Path]:
    """Return the files a plan is made from, the project file first."""
    names = [
        source,
        project.artwork.file,
        project.zones.palette,
        project.leds.part if is_project(project.leds.part) else None,
        project.colour.calibration,
    ]
    return list(dict.fromkeys(Path(name) for name in names if name is not None))


def _look(files: list[Path]) -> Seen:
    return {path: _state(path) for path in files}


def _state(path: Path) -> tuple[int, int, int] | None:
    try:
        known = path.stat()
    except (OSError, ValueError):
        return None
    return known.st_mtime_ns, known.st_size, known.st_ino


def _content(path: Path) -> bytes:
    """Return the digest of a file, so that one saved as it was is not planned again; b"" if it is not there."""
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").digest()
    except (OSError, ValueError):
        return b""


def _changes(old: bytes, new: bytes) -> str:
    from marquee.outputs.compare import compare_plans
    from marquee.outputs.compare_read import PlanFile
    from marquee.outputs.compare_text import change_lines

    changes = compare_plans(PlanFile.model_validate_json(old), PlanFile.model_validate_json(new))
    lines = change_lines(changes) or ["no difference in the plan"]
    if len(lines) > _MOST_LINES:
        left = len(lines) - _MOST_LINES
        lines = [*lines[:_MOST_LINES], f"and {left} more lines: see summary.txt"]
    return "".join(f"  {line}\n" for line in lines)
