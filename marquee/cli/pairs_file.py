"""A pairs file that grows while colours are trimmed: every row is on the disk before the next key."""

from __future__ import annotations

import csv
import io
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from marquee.errors import OutputError

if TYPE_CHECKING:
    from marquee.values import Part


class PairsFile:
    """Rows appended to a CSV of matched pairs; an existing file keeps all it holds, and its own columns."""

    def __init__(self, path: Path, part: Part) -> None:
        from marquee.bench.measurements import pair_columns
        from marquee.bench.table import read_table

        self.path, self.rows = path, 0
        self._delimiter = ","
        needed = ("colour", *(channel.lower() for channel in part.channels))
        if path.exists() and path.stat().st_size:
            table = read_table(path, pair_columns(part), needed)
            self._columns = table.columns
            self._delimiter = ";" if table.decimal_comma else ","
            if not path.read_bytes().endswith(b"\n"):
                self._append("\n")
        else:
            self._columns = pair_columns(part)
            self._append(f"# Colours matched by marquee bench trim.\n{','.join(self._columns)}\n")

    def keep(self, fields: dict[str, Any]) -> None:
        """Append a row; fields the file has no column for are left out.

        Raises
        ------
        OutputError
            The disk refuses.
        """
        stream = io.StringIO()
        writer = csv.writer(stream, delimiter=self._delimiter, lineterminator="\n")
        cells = [str(fields.get(column, "")) for column in self._columns]
        if self._delimiter == ";":
            cells = [
                cell.replace(".", ",") if column == "brightness" else cell
                for column, cell in zip(self._columns, cells, strict=True)
            ]
        # A row that begins with # and no colour would be a remark.
        if cells[0].startswith("#") and self._columns[0] != "colour":
            cells[0] = f"'{cells[0]}"
        writer.writerow(cells)
        self._append(stream.getvalue())
        self.rows += 1

    def remark(self, text: str) -> None:
        """Append a remark line, which readers skip."""
        self._append(f"# {' '.join(text.split())}\n")

    def _append(self, text: str) -> None:
        try:
            with self.path.open("a", encoding="utf-8", newline="") as stream:
                stream.write(text)
                stream.flush()
                os.fsync(stream.fileno())
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or error
            raise OutputError(
                f"{self.path}", f"cannot be written ({reason})", "choose another --pairs"
            ) from None
