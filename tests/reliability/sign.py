"""A small sign for tests that run the program, and the program run as a person's shell would."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw

ROOT = Path(__file__).parents[2]


def draw_sign(path: Path) -> None:
    """Save a black face with an amber square and a teal disc, 120 × 45 px."""
    picture = Image.new("RGB", (120, 45), "#000000")
    pen = ImageDraw.Draw(picture)
    pen.rectangle((6, 6, 50, 38), fill="#ff9a1e")
    pen.ellipse((65, 7, 110, 38), fill="#12b0a4")
    picture.save(path)


def marquee(
    *arguments: str, cwd: Path, after: str = "", environment: Mapping[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    """Run the program; `after` is what a shell line has after it, such as ``>&- | head -1``."""
    base = {"PATH": os.environ["PATH"]} if environment is not None else dict(os.environ)
    base["PYTHONPATH"] = str(ROOT)
    base.update(environment or {})
    options: dict[str, Any] = {"cwd": cwd, "env": base, "capture_output": True, "timeout": 300}
    command = [sys.executable, "-m", "marquee", *arguments]
    if after:
        line = f'set -o pipefail; "$@" {after}'
        command = ["bash", "-c", line, "bash", *command]
    return subprocess.run(
        command, check=False, encoding="utf-8", errors="backslashreplace", **options
    )
