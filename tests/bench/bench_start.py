"""Start of the program against a bare click program, and of the small commands. Run: python -m tests.bench.bench_start."""

from __future__ import annotations

import statistics
import sys
import tempfile
from pathlib import Path

from tests.bench.watched import Cost, environment, run

BARE = """
import click

@click.group()
@click.version_option("1")
def main():
    "A program with nothing in it."

@main.command()
def first():
    "A command."

main()
"""
COMMANDS = (
    ["--help"],
    ["--version"],
    ["plan", "--help"],
    ["parts"],
    ["parts", "ws2812b"],
    ["colour", "#1f7a8c"],
    ["power", "--leds", "300", "--part", "ws2815"],
)
ROUNDS = 15


def main() -> None:
    """Print milliseconds and the ratio to the bare program: least processor time, median wall time."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        bare = folder / "bare.py"
        bare.write_text(BARE, encoding="utf-8")
        commands = [[sys.executable, str(bare), "--help"]]
        commands += [[sys.executable, "-m", "marquee", *words] for words in COMMANDS]
        around = environment(folder)
        for command in commands:
            run(command, around)
        # In turn, so that whatever else the machine does falls on all alike.
        rounds = [[run(command, around) for command in commands] for _ in range(ROUNDS)]
    for number, words in enumerate([["bare click program --help"], *COMMANDS]):
        _tell(" ".join(words), [costs[number] for costs in rounds], [costs[0] for costs in rounds])


def _tell(name: str, costs: list[Cost], bare: list[Cost]) -> None:
    cpu_s, wall_s = _least_and_median(costs)
    bare_cpu_s, bare_wall_s = _least_and_median(bare)
    print(
        f"{name:40} {1000 * cpu_s:6.0f} ms CPU ({cpu_s / bare_cpu_s:.2f} ×), "
        f"{1000 * wall_s:6.0f} ms wall ({wall_s / bare_wall_s:.2f} ×)"
    )


def _least_and_median(costs: list[Cost]) -> tuple[float, float]:
    return min(c.cpu_s for c in costs), statistics.median(c.wall_s for c in costs)


if __name__ == "__main__":
    main()
