"""One project planned and written to its folder, through the cache or not."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from marquee.cli.options import note
from marquee.cli.progress import Progress
from marquee.cli.source import project_from

if TYPE_CHECKING:
    from marquee.cache.remember import Remembering
    from marquee.plan import Plan
    from marquee.project import Project
    from marquee.stage import Runner


def remembering(is_wanted: bool, stays: bool = False) -> Remembering | None:
    """Return the runner that remembers, or None where it is not wanted.

    Where the system gives no folder for it, one that `stays` for several plans remembers in memory only.
    """
    if not is_wanted:
        return None
    from marquee.cache.store import ENVIRONMENT, open_store

    store = open_store()
    told = os.environ.get(ENVIRONMENT, "")
    if store is None and told and told.lower() != "off":
        note(
            f"{ENVIRONMENT}: {told} is no folder of yours alone (mode 0700): nothing is kept there"
        )
    if store is None and not stays:
        return None
    from marquee.cache.remember import Remembering

    return Remembering(store)


@contextmanager
def runner(is_remembered: bool) -> Iterator[Runner]:
    """Give what runs stages, through the cache where that is wanted and there is one."""
    from marquee.stage import call

    memory = remembering(is_remembered)
    if memory is None:
        yield call
        return
    yield memory
    memory.end_round()


def planned(source: str, flags: dict[str, Any], is_remembered: bool = True) -> Plan:
    """Return the plan of what stands on the command line, for a command that writes none.

    Raises
    ------
    MarqueeError
        Whatever of the maker's cannot be used.
    """
    from marquee.plan import make_plan

    project = project_from(source, flags)
    with runner(is_remembered) as run:
        return make_plan(project, run)


def default_folder(project: Project) -> str:
    """Return the name of the folder a project's plan goes to if none is given."""
    return f"{Path(project.artwork.file).stem or 'marquee'}-plan"


def make(
    project: Project, target: Path, memory: Remembering | None, progress: Progress
) -> tuple[Plan, dict[str, bytes]]:
    """Return the plan and its files, written to `target`.

    Raises
    ------
    MarqueeError
        Whatever of the maker's cannot be used, and a folder that may not be written, before any work.
    """
    from marquee.outputs.folder import check_folder, write_folder
    from marquee.outputs.plan_files import plan_files
    from marquee.plan import make_plan
    from marquee.stage import call

    check_folder(target)
    progress.say("planning: artwork …")
    plan = make_plan(project, progress.telling(memory or call))
    progress.say("drawing …")
    files = plan_files(plan, remembered=None if memory is None else memory.files)
    progress.say("writing …")
    write_folder(target, files)
    if memory is not None:
        memory.end_round()
    return plan, files


def written(target: Path, files: dict[str, bytes]) -> str:
    """Return what the summary says of the folder."""
    return f"{target}/ with {', '.join(files)}"
