"""parts.csv: what to buy for one cabinet, with the maker's prices."""

from __future__ import annotations

import csv
import io

from marquee.plan import Plan
from marquee.values import PartsRow

_HEAD = ("item", "quantity", "unit", "price", "cost", "note")


def parts_csv(plan: Plan) -> str:
    """Return the parts list as CSV (RFC 4180, but lines end in one newline), the sum in its last row."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(_HEAD)
    for row in plan.power.parts:
        writer.writerow(_cells(row))
    if plan.power.parts_cost is not None:
        without = sum(row.cost is None for row in plan.power.parts)
        note = f"{without} rows have no price" if without else ""
        currency = plan.power.currency
        writer.writerow(("sum", "", currency, "", f"{plan.power.parts_cost:.2f}", note))
    return stream.getvalue()


def _cells(row: PartsRow) -> tuple[str, ...]:
    return (
        row.item,
        f"{row.quantity:g}",
        row.unit,
        "" if row.price is None else f"{row.price:g}",
        "" if row.cost is None else f"{row.cost:.2f}",
        row.note,
    )
