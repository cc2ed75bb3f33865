"""Sheet material to buy for what is cut."""

from __future__ import annotations

from dataclasses import replace

from marquee.values_cut import CutPlan
from marquee.values_power import PartsRow, Power


def with_sheets(power: Power, cut: CutPlan, prices: dict[str, float]) -> Power:
    """Return the power plan with the sheets at the end of its parts list, and their cost in its sum.

    Parameters
    ----------
    power : Power
    cut : CutPlan
    prices : dict
        What the maker pays, by the parts list's keys: `sheet` is one sheet of wall material.
    """
    rows = tuple(_priced(row, prices) for row in sheet_rows(cut))
    costs = [row.cost for row in (*power.parts, *rows) if row.cost is not None]
    return replace(power, parts=(*power.parts, *rows), parts_cost=sum(costs) if costs else None)


def sheet_rows(cut: CutPlan) -> tuple[PartsRow, ...]:
    """Return the sheets of wall material, one row a size; empty where nothing is cut from them."""
    sizes: dict[tuple[float, float], list[int]] = {}
    for sheet in cut.sheets:
        sizes.setdefault((sheet.width_mm, sheet.height_mm), []).append(len(sheet.parts))
    return tuple(
        PartsRow(
            item=f"opaque sheet, {cut.wall_thickness_mm:g} mm, {wide:.4g} × {high:.4g} mm",
            quantity=len(counts),
            unit="pc",
            note=f"{sum(counts)} flat part{'' if sum(counts) == 1 else 's'}, walls.svg",
            key="sheet",
        )
        for (wide, high), counts in sizes.items()
    )


def _priced(row: PartsRow, prices: dict[str, float]) -> PartsRow:
    if row.key not in prices:
        return row
    return replace(row, price=prices[row.key], cost=row.quantity * prices[row.key])
