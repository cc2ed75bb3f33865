"""A row of cabinets: several projects planned at once in processes of their own, and their joint lists."""

from __future__ import annotations

import contextlib
import json
import multiprocessing
import os
import signal
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from marquee.cli.make import default_folder, make, remembering
from marquee.cli.progress import Progress
from marquee.cli.source import project_from
from marquee.errors import MarqueeError, QuantityError, printable

if TYPE_CHECKING:
    from marquee.outputs.joint import Sign
    from marquee.project import Project

JOINT_FOLDER = "row-plan"


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One sign to plan."""

    source: str
    project: Project
    folder: Path
    is_remembered: bool
    with_json: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What became of a job; `plan_json` where it was asked for."""

    sign: Sign
    plan_json: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What was asked for beside the projects."""

    out: str | None
    joint: str
    is_remembered: bool
    as_json: bool
    strict: bool


def plan_row(sources: Sequence[str], flags: dict[str, Any], row: Row) -> int:
    """Return the exit status of planning several projects: 2 if one failed, though the others were planned.

    Raises
    ------
    MarqueeError
        A source named twice, or a folder that may not be written: before any work.
    """
    from marquee.outputs.folder import check_folder, make_parent

    twice = [source for source, times in Counter(sources).items() if times > 1]
    if twice:
        raise QuantityError(twice[0], "is named twice", "name each project once")
    joint = Path(row.joint)
    check_folder(joint)
    done, jobs = _jobs(sources, flags, row)
    if jobs and row.out is not None:
        make_parent(jobs[0].folder)
    try:
        with Progress() as progress:
            done |= _run(jobs, progress)
    except KeyboardInterrupt:
        # Plans finished before stay; none is half written.
        click.echo("marquee: stopped; folders already finished stay as they are", err=True)
        return 130
    return _tell([done[source] for source in sources], joint, row)


def _jobs(
    sources: Sequence[str], flags: dict[str, Any], row: Row
) -> tuple[dict[str, Done], list[Job]]:
    """Return those that cannot even be read, and the jobs of the others."""
    failed: dict[str, Done] = {}
    projects: dict[str, Project] = {}
    for source in sources:
        try:
            projects[source] = project_from(source, dict(flags))
        except MarqueeError as error:
            failed[source] = _failed(source, f"{error}")
    jobs = [
        Job(
            source=source,
            project=projects[source],
            folder=Path(row.out or ".") / name,
            is_remembered=row.is_remembered,
            with_json=row.as_json,
        )
        for source, name in folder_names(projects, row.joint if row.out is None else "").items()
    ]
    return failed, jobs


def folder_names(projects: dict[str, Project], taken: str) -> dict[str, str]:
    """Return the folder of each project: after its artwork, or where that is not its alone, after its file.

    Raises
    ------
    QuantityError
        Two projects would still go to one folder.
    """
    ways: tuple[Callable[[str], str], ...] = (
        lambda source: default_folder(projects[source]),
        lambda source: f"{Path(source).stem}-plan",
        lambda source: f"{Path(source).resolve().parent.name}-plan",
        lambda source: f"{Path(source).resolve().parent.name}-{Path(source).stem}-plan",
    )
    names: dict[str, str] = {}
    left = list(projects)
    for way in ways:
        tried = {source: way(source) for source in left}
        # Names that differ only in case are one folder on some systems.
        times = Counter(name.casefold() for name in [*tried.values(), *names.values(), taken])
        names |= {source: n for source, n in tried.items() if times[n.casefold()] == 1}
        left = [source for source in left if source not in names]
    if left:
        raise QuantityError(
            " and ".join(left[:2]),
            "would be planned into one folder",
            "rename one of the files, or plan it alone with --out",
        )
    return {source: names[source] for source in projects}


def _failed(source: str, problem: str, is_bug: bool = False) -> Done:
    from marquee.outputs.joint import Sign

    return Done(sign=Sign(source=source, problem=problem, is_bug=is_bug))


def plan_one(job: Job) -> Done:
    """Return what became of one job; any error is told, none raised, so that the others go on."""
    from marquee.outputs.joint import sign_of

    quiet = Progress(is_wanted=False)  # the line is the first process's
    try:
        plan, files = make(job.project, job.folder, remembering(job.is_remembered), quiet)
    except MarqueeError as error:
        return _failed(job.source, f"{error}")
    except MemoryError:
        return _failed(job.source, "memory: too little for this; plan it alone")
    except Exception as error:  # noqa: BLE001 -- one sign's trouble is not the others'
        if os.environ.get("MARQUEE_TRACE"):
            import traceback

            traceback.print_exc()
        name = type(error).__name__
        told = f"our bug: {name}: {error}; run again with MARQUEE_TRACE=1 and report it"
        return _failed(job.source, told, is_bug=True)
    return Done(
        sign=sign_of(job.source, f"{job.folder}", plan),
        plan_json=files["plan.json"].decode() if job.with_json else "",
    )


def cores() -> int:
    """Return how many processors this program may use."""
    allowed = getattr(os, "sched_getaffinity", None)
    return (os.cpu_count() or 1) if allowed is None else len(allowed(0))


def _run(jobs: Sequence[Job], progress: Progress) -> dict[str, Done]:
    done: dict[str, Done] = {}
    workers = min(cores(), len(jobs))
    done.update(_outcomes(jobs, workers, progress, 0))
    # A process the system ended (mostly for want of memory) takes its neighbours' work with it: once more, alone.
    lost = [job for job in jobs if job.source not in done]
    for job in lost:
        done.update(_outcomes([job], 1, progress, len(done)))
        if job.source not in done:
            done[job.source] = _failed(
                job.source,
                "process: ended by the system, mostly for want of memory; plan it alone or make the "
                "picture smaller",
            )
    return done


def _outcomes(
    jobs: Sequence[Job], workers: int, progress: Progress, before: int
) -> Iterator[tuple[str, Done]]:
    if not jobs:
        return
    pool = ProcessPoolExecutor(
        workers, multiprocessing.get_context("spawn"), initializer=_leave_interrupts
    )
    ended = 0
    try:
        waiting: dict[Future[Done], Job] = {pool.submit(plan_one, job): job for job in jobs}
        progress.say(_state(before, len(jobs) + before, workers))
        for future in as_completed(waiting):
            with contextlib.suppress(BrokenProcessPool):
                yield waiting[future].source, future.result()
                ended += 1
                if ended < len(jobs):
                    progress.say(_state(before + ended, len(jobs) + before, workers))
        pool.shutdown()
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        for process in multiprocessing.active_children():
            process.terminate()
        raise


def _state(ended: int, number: int, workers: int) -> str:
    at_work = min(workers, number - ended)
    return f"planning {number} signs: {ended} done, {at_work} at work …"


def _leave_interrupts() -> None:
    """End a worker without a word when Ctrl-C reaches it; the first process tells the maker."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _tell(done: Sequence[Done], joint: Path, row: Row) -> int:
    from marquee.outputs.clean import clean
    from marquee.outputs.folder import write_folder
    from marquee.outputs.joint import joint_dict, joint_files, joint_text

    signs = [one.sign for one in done]
    files = joint_files(signs) if any(not sign.problem for sign in signs) else {}
    if files:
        write_folder(joint, files)
    if row.as_json:
        told = {"signs": [_sign_dict(one) for one in done], "joint": clean(joint_dict(signs))}
        click.echo(json.dumps(told, indent=1, ensure_ascii=False))
    else:
        written = f"{joint}/ with {', '.join(files)}" if files else None
        click.echo(joint_text(signs, written), nl=False)
    for sign in signs:
        if sign.problem:
            click.echo(f"marquee: {printable(f'{sign.source}: {sign.problem}')}", err=True)
    if any(sign.is_bug for sign in signs):
        return 70
    if any(sign.problem for sign in signs):
        return 2
    return int(row.strict and any(sign.warnings for sign in signs))


def _sign_dict(one: Done) -> dict[str, Any]:
    sign = one.sign
    if sign.problem:
        return {"source": printable(sign.source), "problem": sign.problem, "plan": None}
    return {
        "source": printable(sign.source),
        "folder": printable(sign.folder),
        "problem": None,
        "plan": json.loads(one.plan_json),
    }
