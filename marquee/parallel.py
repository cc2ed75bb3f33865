"""Independent jobs shared out over the processor's cores; whatever their number, the results are the same."""

from __future__ import annotations

import os
import pickle
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

# More processes than this gain nothing on the jobs of one plan.
_MOST_WORKERS = 4
# A job's number takes two bytes of the queue, which a pipe of the least size must hold.
_MOST_JOBS = 2048
# Results of one process: job number → what it returned.
_Done = dict[int, Any]


class _Self:
    """Whether this process is a copy at work for another."""

    is_copy = False


def run_all(jobs: Sequence[Callable[[], Any]], workers: int | None = None) -> list[Any]:
    """Return what every job returns, in the order of the jobs.

    Copies of this process (fork) take one job after another beside it and hand the results back pickled. A job that
    fails in a copy, or is lost with it, is done again here, so that its own error is raised, and of several that
    of the first job. Where copying is unsafe, as beside other threads, all jobs are done here one after another.

    Parameters
    ----------
    jobs : sequence of callables
        Pure: none depends on what another leaves behind. Longest first shares the work out best.
    workers : int, optional
        Processes, this one included; as many as there are cores (at most 4) where not given.

    Raises
    ------
    Exception
        Whatever the first failing job raises.
    """
    count = min(_cores() if workers is None else workers, len(jobs))
    done: _Done = {}
    if count > 1 and len(jobs) <= _MOST_JOBS and _is_first():
        with _own_threads_only():
            if _has_one_thread():
                done = _shared(jobs, count - 1)
    return [done[number] if number in done else job() for number, job in enumerate(jobs)]


def _cores() -> int:
    allowed = getattr(os, "sched_getaffinity", None)
    return 1 if allowed is None else min(len(allowed(0)), _MOST_WORKERS)


def _is_first() -> bool:
    """Return whether this process is no helper of another, whose helpers then keep the cores busy."""
    if _Self.is_copy or not hasattr(os, "fork"):
        return False
    if "multiprocessing" in sys.modules:
        from multiprocessing import parent_process

        return parent_process() is None
    return True


@contextmanager
def _own_threads_only() -> Iterator[None]:
    """End the image library's pool of threads for a while: a copy has none of them and would wait for them."""
    library: Any = sys.modules.get("cv2")
    if library is None:
        yield
        return
    before = library.getNumThreads()
    library.setNumThreads(1)
    try:
        yield
    finally:
        library.setNumThreads(before)


@contextmanager
def one_blas_thread() -> Iterator[None]:
    """Let the linear-algebra libraries use one thread for a while, as the command line does for good.

    On matrices as small as ours their threads double the processor time and gain nothing (measured), and sums of
    parts shared out among threads depend on how many there are.
    """
    import scipy.linalg  # noqa: F401 -- numpy and scipy bring a library each; only those loaded are limited
    from threadpoolctl import threadpool_limits

    with threadpool_limits(limits=1, user_api="blas"):
        yield


def _has_one_thread() -> bool:
    """Return whether this process has one thread only, those of libraries counted; OpenBLAS's idle ones are ended."""
    if threading.active_count() != 1:
        return False
    if _threads() != 1 and "numpy" in sys.modules:
        _end_blas_threads()
    return _threads() == 1


def _threads() -> int:
    try:
        return len(list(Path("/proc/self/task").iterdir()))
    except OSError:
        # Another system than Linux: its own libraries may not bear being copied.
        return 0


def _end_blas_threads() -> None:
    """Make OpenBLAS end its pool of threads, as it does whenever a process is copied; it starts them again at need.

    The copy that makes it do so ends at once and touches nothing, which is safe beside any thread.
    """
    with warnings.catch_warnings(), _uninterrupted():
        # Python warns of copies made beside threads; those left are counted after this.
        warnings.simplefilter("ignore", DeprecationWarning)
        try:
            child = os.fork()
        except OSError:
            return
        if not child:
            os._exit(0)
        os.waitpid(child, 0)


def _shared(jobs: Sequence[Callable[[], Any]], copies: int) -> _Done:
    queue, queued = os.pipe()
    os.write(queued, b"".join(number.to_bytes(2, "big") for number in range(len(jobs))))
    os.close(queued)
    running: list[tuple[int, int]] = []
    done: _Done = {}
    try:
        for _ in range(copies):
            with _uninterrupted():
                copy = _start(jobs, queue)
                if copy is None:
                    break
                running.append(copy)
        done = _take(jobs, queue)
        for _, results in running:
            done |= _received(results)
    finally:
        os.close(queue)
        for child, results in running:
            os.close(results)
            # Finished already, unless an interruption led here.
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
    return done


@contextmanager
def _uninterrupted() -> Iterator[None]:
    """Let an interruption wait: in the midst of copying it would be told by the copy, or leave one nobody ends."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _start(jobs: Sequence[Callable[[], Any]], queue: int) -> tuple[int, int] | None:
    """Return the number of a new copy of this process at work, and the pipe its results will come through.

    None where the system grants no further process.
    """
    results, sending = os.pipe()
    try:
        child = os.fork()
    except OSError:
        child = -1
    if child < 0:
        os.close(results)
        os.close(sending)
        return None
    if child:
        os.close(sending)
        return child, results
    try:
        _Self.is_copy = True
        # An interruption is answered by the first process alone.
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
        os.close(results)
        with os.fdopen(sending, "wb") as stream:
            pickle.dump(_take(jobs, queue), stream, pickle.HIGHEST_PROTOCOL)
    finally:
        # Nothing of the first process may be ended, flushed or told twice.
        os._exit(0)


def _take(jobs: Sequence[Callable[[], Any]], queue: int) -> _Done:
    """Do jobs until none is left in the queue, or one fails."""
    done: _Done = {}
    while taken := os.read(queue, 2):
        number = int.from_bytes(taken, "big")
        try:
            done[number] = jobs[number]()
        except Exception:  # noqa: BLE001 -- done again, and raised, by `run_all`
            break
    return done


def _received(results: int) -> _Done:
    with os.fdopen(os.dup(results), "rb") as stream:
        content = stream.read()
    try:
        done: _Done = pickle.loads(content)  # noqa: S301 -- written by a copy of this very process
    except Exception:  # noqa: BLE001 -- a copy that was killed: its jobs are done again
        return {}
    return done
