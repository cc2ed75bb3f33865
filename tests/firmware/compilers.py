"""The compilers on this machine and the ways a header must pass through them."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

STRICT = [
    "-Wall",
    "-Wextra",
    "-Wpedantic",
    "-Wconversion",
    "-Wshadow",
    "-Wundef",
    "-Wunused",
    "-Werror",
]
C = ("c99", "gnu99", "c11", "gnu11", "c17", "c2x", "gnu2x")
CPP = ("c++98", "gnu++98", "c++11", "c++14", "c++17", "gnu++17", "c++20")
# avr-gcc 5.4 (Debian 12) knows C up to C11 and C++ up to C++1z.
AVR_C = ("c99", "gnu99", "c11", "gnu11")
AVR_CPP = ("c++98", "gnu++98", "c++11", "c++14", "c++1z")
AVR = ("-mmcu=atmega328p", "-Os")
BARE_ARM = ("-mcpu=cortex-m0plus", "-mthumb", "-Os", "-ffreestanding")
# Other word sizes and byte orders: RISC-V, and big-endian MIPS and PowerPC.
OTHER_TARGETS = ("riscv32-unknown-elf", "mips-unknown-elf", "powerpc64-unknown-elf")


def _bare(target: str) -> tuple[str, ...]:
    return (f"--target={target}", "-ffreestanding", "-Os")


MATRIX = (
    *(("gcc", std, ()) for std in C),
    *(("clang", std, ()) for std in C),
    *(("g++", std, ()) for std in CPP),
    *(("clang++", std, ()) for std in CPP),
    *(("avr-gcc", std, AVR) for std in AVR_C),
    *(("avr-g++", std, AVR) for std in AVR_CPP),
    *(("clang", "c99", _bare(target)) for target in OTHER_TARGETS),
    *(("clang++", "c++11", _bare(target)) for target in OTHER_TARGETS),
    *(("arm-none-eabi-gcc", std, BARE_ARM) for std in C),
    *(("arm-none-eabi-g++", std, BARE_ARM) for std in CPP),
)
FAST = (
    ("gcc", "c99", ()),
    ("g++", "c++98", ()),
    ("g++", "c++11", ()),
    ("clang", "c2x", ()),
    ("avr-gcc", "c99", AVR),
    ("avr-g++", "gnu++98", AVR),
)
Way = tuple[str, str, tuple[str, ...]]


def need(*tools: str) -> None:
    """Skip where a tool is missing, fail where CI must have it."""
    missing = [tool for tool in tools if shutil.which(tool) is None]
    if missing and os.environ.get("CI"):
        pytest.fail(f"missing here: {' '.join(missing)}")
    if missing:
        pytest.skip(f"missing: {' '.join(missing)}")


def is_cpp(compiler: str) -> bool:
    return compiler.endswith("++")


def run(*command: str | Path) -> str:
    done = subprocess.run(
        [str(word) for word in command], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, f"{' '.join(map(str, command))}\n{done.stdout}{done.stderr}"
    return done.stdout


def compile_unit(way: Way, source: Path, output: Path, *extra: str) -> None:
    compiler, std, flags = way
    language = "c++" if is_cpp(compiler) else "c"
    run(
        compiler,
        f"-std={std}",
        *STRICT,
        *flags,
        *extra,
        "-x",
        language,
        "-c",
        source,
        "-o",
        output,
    )


def way_id(way: Way) -> str:
    target = next((f"-{f.split('=')[1].split('-')[0]}" for f in way[2] if f.startswith("--t")), "")
    return f"{way[0]}-{way[1]}{target}"
