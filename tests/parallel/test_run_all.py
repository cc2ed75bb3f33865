"""Sharing out work changes nothing but the time it takes.

Each case runs in a process of its own with one thread, as the program does; the test's own may hold others.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(
    sys.platform != "linux", reason="elsewhere all work is done in one process"
)

HEAD = """
import os, signal, sys, time
from pathlib import Path
from marquee.errors import InputError
from marquee.parallel import run_all
FIRST = os.getpid()

def slow(value):
    time.sleep(0.05)
    return value, os.getpid() != FIRST
"""


def _run(code: str, folder: Path, timeout: float = 60) -> subprocess.CompletedProcess[str]:
    path = folder / "case.py"
    path.write_text(HEAD + code, encoding="utf-8")
    return subprocess.run(
        [sys.executable, path],
        capture_output=True,
        text=True,
        check=False,
        timeout=timeout,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )


def test_copies_take_part_and_results_keep_the_order_of_the_jobs(tmp_path: Path) -> None:
    code = """
made = run_all([lambda n=n: slow(n) for n in range(20)], 3)
assert [value for value, _ in made] == list(range(20))
assert {away for _, away in made} == {False, True}
try:
    os.waitpid(-1, os.WNOHANG)
except ChildProcessError:
    print("no process is left")
"""
    done = _run(code, tmp_path)
    assert (done.stdout, done.stderr) == ("no process is left\n", "")


def test_one_worker_or_one_job_stays_in_the_process(tmp_path: Path) -> None:
    code = """
print(run_all([lambda n=n: slow(n) for n in range(3)], 1))
print(run_all([lambda: slow(7)], 4), run_all([], 4))
"""
    done = _run(code, tmp_path)
    assert done.stdout == "[(0, False), (1, False), (2, False)]\n[(7, False)] []\n"


def test_no_copy_is_made_beside_another_thread(tmp_path: Path) -> None:
    code = """
import threading
held = threading.Event()
threading.Thread(target=held.wait, daemon=True).start()
print([away for _, away in run_all([lambda n=n: slow(n) for n in range(6)], 3)])
"""
    assert _run(code, tmp_path).stdout == f"{[False] * 6}\n"


def test_copies_are_made_once_the_image_librarys_threads_have_ended(tmp_path: Path) -> None:
    code = """
os.environ["OPENBLAS_NUM_THREADS"] = "1"
import cv2
import numpy as np

def threads():
    return len(os.listdir("/proc/self/task"))

def blur():
    time.sleep(0.05)
    cv2.GaussianBlur(np.zeros((2000, 2000, 3), np.uint8), (0, 0), 3)
    return os.getpid() != FIRST

cv2.setNumThreads(3)
blur()
print(threads(), {*run_all([blur] * 8, 2)} == {False, True}, threads())
blur()
print(threads())
"""
    assert _run(code, tmp_path).stdout == "3 True 1\n3\n"


def test_copies_are_made_once_the_linear_algebra_librarys_threads_have_ended(
    tmp_path: Path,
) -> None:
    # OpenBLAS ends its threads before a process is copied (its blas_thread_shutdown, registered by pthread_atfork) and
    # starts them again at need, in the process and in its copies.
    code = """
os.environ["OPENBLAS_NUM_THREADS"] = "3"
import numpy as np

def threads():
    return len(os.listdir("/proc/self/task"))

def multiply():
    time.sleep(0.05)
    a = np.full((300, 300), 2.0)
    return (a @ a)[7, 7], os.getpid() != FIRST

multiply()
# Never more than there are cores.
print(threads() == min(3, len(os.sched_getaffinity(0))))
made = run_all([multiply] * 8, 2)
print({value for value, _ in made}, {away for _, away in made} == {False, True})
"""
    done = _run(code, tmp_path)
    assert (done.stdout, done.stderr) == ("True\n{np.float64(1200.0)} True\n", "")


def test_no_copy_is_made_beside_a_thread_python_does_not_know(tmp_path: Path) -> None:
    # POSIX fork: a copy has only the thread that made it; whatever the other one held stays held.
    code = """
import ctypes
import numpy as np
libc = ctypes.CDLL(None)
held = ctypes.c_ulong()
libc.pthread_create(ctypes.byref(held), None, libc.pause, None)
print([away for _, away in run_all([lambda n=n: slow(n) for n in range(6)], 3)], flush=True)
os._exit(0)
"""
    assert _run(code, tmp_path).stdout == f"{[False] * 6}\n"


def test_planning_leaves_the_linear_algebra_libraries_their_threads(tmp_path: Path) -> None:
    # threadpoolctl 3 tells what each library is set to.
    code = """
os.environ["OPENBLAS_NUM_THREADS"] = "3"
import scipy.linalg
from threadpoolctl import threadpool_info
from marquee.parallel import one_blas_thread

def told():
    return [pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "blas"]

before = told()
with one_blas_thread():
    print(set(told()))
print(told() == before, set(before) == {min(3, len(os.sched_getaffinity(0)))})
"""
    assert _run(code, tmp_path).stdout == "{1}\nTrue True\n"


def test_a_copy_makes_no_copies_of_itself(tmp_path: Path) -> None:
    code = """
def inner():
    here = os.getpid()
    time.sleep(0.05)
    return here, set(run_all([lambda: (time.sleep(0.02), os.getpid())[1] for _ in range(4)], 2))

made = run_all([inner] * 4, 2)
away = [(here, done) for here, done in made if here != FIRST]
print(bool(away), all(done == {here} for here, done in away))
"""
    assert _run(code, tmp_path).stdout == "True True\n"


@pytest.mark.parametrize("workers", [1, 2, 4])
def test_the_first_failing_jobs_own_error_is_raised_whoever_met_it(
    tmp_path: Path, workers: int
) -> None:
    code = f"""
def job(n):
    time.sleep(0.02)
    if n in (5, 6, 11):
        raise InputError(f"job {{n}}", "went wrong", "mend it")
    return n

try:
    run_all([lambda n=n: job(n) for n in range(12)], {workers})
except InputError as error:
    print(error)
"""
    done = _run(code, tmp_path)
    assert (done.stdout, done.stderr) == ("job 5: went wrong; mend it\n", "")


def test_the_jobs_of_a_copy_that_is_killed_are_done_again(tmp_path: Path) -> None:
    code = """
def job(n):
    time.sleep(0.05)
    if os.getpid() != FIRST:
        os.kill(os.getpid(), signal.SIGKILL)
    return n

print(run_all([lambda n=n: job(n) for n in range(9)], 3))
"""
    assert _run(code, tmp_path).stdout == f"{list(range(9))}\n"


def test_a_result_that_cannot_be_handed_over_is_made_again_here(tmp_path: Path) -> None:
    code = """
made = run_all([lambda n=n: (time.sleep(0.03), lambda: n)[1] for n in range(6)], 2)
print([one() for one in made])
"""
    done = _run(code, tmp_path)
    assert (done.stdout, done.stderr) == ("[0, 1, 2, 3, 4, 5]\n", "")


def test_large_results_of_all_copies_arrive_whole(tmp_path: Path) -> None:
    code = """
import hashlib
made = run_all([lambda n=n: bytes([n]) * 3_000_000 for n in range(12)], 4)
print(all(part == bytes([n]) * 3_000_000 for n, part in enumerate(made)))
"""
    assert _run(code, tmp_path).stdout == "True\n"


def test_text_waiting_to_be_printed_is_printed_once(tmp_path: Path) -> None:
    code = """
sys.stdout.write("waiting, ")
run_all([lambda: time.sleep(0.02)] * 6, 3)
print("done")
"""
    assert _run(code, tmp_path).stdout == "waiting, done\n"


@pytest.mark.parametrize("whom", ["the first process", "all, as a terminal does"])
def test_an_interruption_ends_every_process_at_once(tmp_path: Path, whom: str) -> None:
    code = f"""
def job(n):
    Path({str(tmp_path)!r}, f"at-{{os.getpid()}}").touch()
    time.sleep(60)

try:
    run_all([lambda n=n: job(n) for n in range(3)], 3)
except KeyboardInterrupt:
    print("interrupted")
"""
    path = tmp_path / "case.py"
    path.write_text(HEAD + code, encoding="utf-8")
    begun = time.monotonic()
    with subprocess.Popen(
        [sys.executable, path],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    ) as process:
        while len(list(tmp_path.glob("at-*"))) < 3:
            assert time.monotonic() < begun + 30
            time.sleep(0.01)
        if whom == "the first process":
            process.send_signal(signal.SIGINT)
        else:
            os.killpg(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=30)
    assert (out, err) == ("interrupted\n", "")
    for mark in tmp_path.glob("at-*"):
        assert not Path("/proc", mark.name.removeprefix("at-")).exists()


def test_more_than_a_byte_counts_of_jobs_are_shared_out_too(tmp_path: Path) -> None:
    code = """
made = run_all([lambda n=n: (n, os.getpid() != FIRST, time.sleep(0.0005)) for n in range(1500)], 2)
print([n for n, _, _ in made] == list(range(1500)), {away for _, away, _ in made})
"""
    assert _run(code, tmp_path).stdout == "True {False, True}\n"
