"""Completion after Tab in a real bash, zsh and fish, set up by the lines the README gives."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pexpect
import pytest

from tests.firmware.compilers import need
from tests.refresh_readme import README

# What is typed before Tab, and what stands there, or is offered, after it.
TYPED = [
    ("marquee comp", "compare"),
    ("marquee plan --json-s", "--json-schema"),
    ("marquee plan sign.toml --part sk6812-rgbw-n", "sk6812-rgbw-nw"),
    ("marquee plan --diffuser draf", "drafting-film"),
    ("marquee plan --controller rp20", "rp2040"),
    ("marquee plan --arrangement b", "board"),
    ("marquee plan si", "sign.toml"),
    ("marquee plan my", "my sign.png"),
    ("marquee plan --palette si", "sign.toml"),
    ("marquee compare ol", "old-plan/"),
    ("marquee light si", "sign.toml"),
    ("marquee bench fi", "fit"),
]


def told(shell: str) -> str:
    """Return the README's line for a shell's start-up file."""
    lines = README.read_text("utf-8").splitlines()
    (line,) = [text.strip() for text in lines if f"{shell}_source" in text]
    return line.split("#")[0].strip()


@pytest.fixture(name="home")
def _home(tmp_path: Path) -> Path:
    home = tmp_path / "home"
    home.mkdir()
    (home / "my sign.png").touch()
    (home / "sign.toml").touch()
    (home / "old-plan").mkdir()
    return home


@pytest.fixture(name="program")
def _program(tmp_path: Path, home: Path) -> dict[str, str]:
    """Return an environment in which `marquee` is found, as after installing it."""
    (tmp_path / "bin").mkdir()
    path = tmp_path / "bin" / "marquee"
    path.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m marquee "$@"\n', "utf-8")
    path.chmod(0o755)
    return {
        **os.environ,
        "PATH": f"{path.parent}:{os.environ['PATH']}",
        "TERM": "dumb",
        "HOME": str(home),
        "PS1": "ready> ",
    }


def at_prompt(
    words: list[str], home: Path, program: dict[str, str]
) -> Iterator[pexpect.spawn[str]]:
    shell = pexpect.spawn(
        words[0],
        words[1:],
        cwd=str(home),
        env=program,
        encoding="utf-8",
        timeout=60,
        dimensions=(50, 200),
    )
    shell.expect_exact("ready> ")
    shell.sendline(told(words[0]))
    shell.expect_exact("ready> ")
    yield shell
    shell.close(force=True)


@pytest.fixture(name="bash")
def _bash(home: Path, program: dict[str, str]) -> Iterator[pexpect.spawn[str]]:
    need("bash")
    yield from at_prompt(["bash", "--norc", "--noprofile", "-i"], home, program)


@pytest.fixture(name="zsh")
def _zsh(home: Path, program: dict[str, str]) -> Iterator[pexpect.spawn[str]]:
    need("zsh")
    yield from at_prompt(["zsh", "-f", "-i"], home, program)


@pytest.mark.parametrize(("typed", "completed"), TYPED)
def test_tab_completes_in_bash(bash: pexpect.spawn[str], typed: str, completed: str) -> None:
    bash.send(f"{typed}\t")
    bash.expect_exact(completed.replace(" ", "\\ "))


def test_tab_twice_lists_what_is_possible(bash: pexpect.spawn[str]) -> None:
    bash.send("marquee plan --wall\t\t")
    bash.expect(r"--wall +--wall-gap")


@pytest.mark.native
def test_tab_completes_in_zsh(zsh: pexpect.spawn[str]) -> None:
    for typed, completed in TYPED:
        zsh.send(f"{typed}\t")
        zsh.expect_exact(completed.replace(" ", "\\ "))
        # The line is emptied, not broken off: Ctrl-C could come while the shell is still completing.
        zsh.send("\x15\r")
        zsh.expect_exact("ready> ")


@pytest.mark.native
def test_tab_lists_what_is_possible_in_zsh_with_what_it_means(zsh: pexpect.spawn[str]) -> None:
    zsh.send("marquee plan --wall\t")
    zsh.expect(r"--wall +-- Thickness of the barrier sheet")
    zsh.expect(r"--wall-gap +-- Gap from wall top to diffuser")


def said_by_fish(script: str, home: Path, program: dict[str, str]) -> str:
    """Return what fish prints, the program's completion taken as the README says."""
    need("fish")
    done = subprocess.run(
        ["fish", "--no-config", "-c", f"{told('fish')}; {script}"],
        cwd=home,
        env=program,
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    assert done.stderr == ""
    return done.stdout


@pytest.mark.native
def test_tab_completes_in_fish(home: Path, program: dict[str, str]) -> None:
    offered = "; ".join(f"complete -C '{typed}'; echo =====" for typed, _ in TYPED)
    # A tab parts each offer from what it means.
    said = said_by_fish(offered, home, program)
    lists = [block.strip().splitlines() for block in said.split("=====\n")]
    for (typed, completed), offers in zip(TYPED, lists[:-1], strict=True):
        assert [offer.split("\t")[0] for offer in offers] == [completed], typed


@pytest.mark.native
def test_fish_says_what_a_command_means(home: Path, program: dict[str, str]) -> None:
    said = said_by_fish("complete -C 'marquee compa'", home, program)
    assert said.startswith("compare\tTell what changed between two plans")
