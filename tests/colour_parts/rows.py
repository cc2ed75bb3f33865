from __future__ import annotations

import csv
from pathlib import Path

DATA = Path(__file__).parents[1] / "data" / "colour_parts"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, delimiter="\t"))
