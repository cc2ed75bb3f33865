"""Put the demo's present output and picture into the README: python -m tests.refresh_readme."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from marquee.cli.app import run

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
PICTURE = ROOT / "tests" / "data" / "readme" / "overview.png"
BEGIN, END = "<!-- demo output: begin -->\n", "<!-- demo output: end -->\n"


def stages(summary: str) -> str:
    """Return the stage lines of a summary, which end at its first empty line."""
    return summary.split("\n\n", maxsplit=1)[0]


def shown(readme: str) -> str:
    """Return the stage lines that the README shows."""
    block = readme.split(BEGIN)[1].split(END, maxsplit=1)[0]
    return "\n".join(line.removeprefix("    ") for line in block.strip("\n").splitlines())


def main() -> None:
    """Run the demo and rewrite what the README shows of it."""
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "demo-plan"
        if run(["demo", "--out", str(target)]) != 0:
            raise SystemExit(1)
        shutil.copyfile(target / "overview.png", PICTURE)
        text = stages((target / "summary.txt").read_text(encoding="utf-8"))
    block = "".join(f"    {line}\n" for line in text.splitlines())
    readme = README.read_text(encoding="utf-8")
    head, tail = readme.split(BEGIN)[0], readme.split(END)[1]
    README.write_text(f"{head}{BEGIN}\n{block}\n{END}{tail}", encoding="utf-8")


if __name__ == "__main__":
    main()
