"""Completion after Tab in a real bash, and the scripts for the other shells."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pexpect
import pytest

from tests.refresh_readme import README

BASH = shutil.which("bash")


@pytest.fixture
def program(tmp_path: Path) -> dict[str, str]:
    """Return an environment in which `marquee` is found, as after installing it."""
    (tmp_path / "bin").mkdir()
    path = tmp_path / "bin" / "marquee"
    path.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m marquee "$@"\n', "utf-8")
    path.chmod(0o755)
    return {**os.environ, "PATH": f"{path.parent}:{os.environ['PATH']}", "TERM": "dumb"}


@pytest.fixture
def bash(tmp_path: Path, program: dict[str, str]) -> Iterator[pexpect.spawn[str]]:
    if BASH is None:
        pytest.skip("needs bash")
    home = tmp_path / "home"
    home.mkdir()
    (home / "my sign.png").touch()
    (home / "sign.toml").touch()
    (home / "old-plan").mkdir()
    shell = pexpect.spawn(
        BASH,
        ["--norc", "--noprofile", "-i"],
        cwd=str(home),
        env=program | {"PS1": "ready> ", "HOME": str(home)},
        encoding="utf-8",
        timeout=60,
        dimensions=(50, 200),
    )
    shell.expect_exact("ready> ")
    # The line the README tells to put into ~/.bashrc.
    (line,) = [
        text.strip() for text in README.read_text("utf-8").splitlines() if "bash_source" in text
    ]
    shell.sendline(line.split("#")[0].strip())
    shell.expect_exact("ready> ")
    yield shell
    shell.close(force=True)


@pytest.mark.parametrize(
    ("typed", "completed"),
    [
        ("marquee comp", "marquee compare "),
        ("marquee plan --json-s", "marquee plan --json-schema "),
        ("marquee plan sign.toml --part sk6812-rgbw-n", "sk6812-rgbw-nw "),
        ("marquee plan --diffuser draf", "drafting-film "),
        ("marquee plan --controller rp2040", "rp2040 "),
        ("marquee plan --arrangement b", "board "),
        ("marquee plan si", "sign.toml "),
        ("marquee plan my", "my\\ sign.png "),
        ("marquee compare ol", "old-plan/"),
        ("marquee light si", "sign.toml "),
        ("marquee bench fi", "marquee bench fit "),
    ],
)
def test_tab_completes_in_bash(bash: pexpect.spawn[str], typed: str, completed: str) -> None:
    bash.send(f"{typed}\t")
    bash.expect_exact(completed)


def test_tab_twice_lists_what_is_possible(bash: pexpect.spawn[str]) -> None:
    bash.send("marquee plan --wall\t\t")
    bash.expect(r"--wall +--wall-gap")


@pytest.mark.parametrize(("shell", "word"), [("zsh", "#compdef marquee"), ("fish", "complete ")])
def test_other_shells_get_their_script_as_the_readme_says(
    program: dict[str, str], shell: str, word: str
) -> None:
    assert f"_MARQUEE_COMPLETE={shell}_source marquee" in README.read_text("utf-8")
    done = subprocess.run(
        ["marquee"],
        env=program | {"_MARQUEE_COMPLETE": f"{shell}_source"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert word in done.stdout
    assert "marquee" in done.stdout
