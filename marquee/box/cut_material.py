"""Material to buy beside LEDs and wiring: sheets for what is cut, face, diffuser, paint, and the controller's board."""

from __future__ import annotations

from dataclasses import replace

from marquee.project import Project
from marquee.values_box import Box
from marquee.values_cut import CutPlan
from marquee.values_power import PartsRow, Power


def with_material(power: Power, cut: CutPlan, box: Box, project: Project) -> Power:
    """Return the power plan with the material at the end of its parts list, and its cost in its sum.

    Parameters
    ----------
    power : Power
    cut : CutPlan
    box : Box
    project : Project
        Names of diffuser, paint and controller, and the maker's prices by the parts list's keys.
    """
    prices = project.power.prices
    rows = (*sheet_rows(cut), *box_rows(box, project))
    priced = tuple(_priced(row, prices) for row in rows)
    costs = [row.cost for row in (*power.parts, *priced) if row.cost is not None]
    return replace(power, parts=(*power.parts, *priced), parts_cost=sum(costs) if costs else None)


def sheet_rows(cut: CutPlan) -> tuple[PartsRow, ...]:
    """Return the sheets of wall material, one row a size; empty where nothing is cut from them."""
    sizes: dict[tuple[float, float], list[int]] = {}
    for sheet in cut.sheets:
        sides = (sheet.width_mm, sheet.height_mm)
        sizes.setdefault((max(sides), min(sides)), []).append(len(sheet.parts))
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


def box_rows(box: Box, project: Project) -> tuple[PartsRow, ...]:
    """Return face, diffuser and back as large as the face, what paints the inside, and the controller's board."""
    size = f"{box.width_mm:.4g} × {box.height_mm:.4g} mm"
    sides = "and sides " if project.cut.sides == "none" else ""
    return (
        PartsRow(
            item=f"opaque sheet for the face, {size}",
            quantity=1,
            unit="pc",
            note="cut by face.svg or face.dxf",
            key="face",
        ),
        PartsRow(
            item=f"diffuser {project.box.diffuser}, {size}",
            quantity=1,
            unit="pc",
            note="its rim lies on the box: add what holds it",
            key="diffuser",
        ),
        PartsRow(
            item=f"back {sides}of the box, {size}, {box.depth_mm:.4g} mm deep inside",
            quantity=1,
            unit="pc",
            note="stiff and opaque; carries the LEDs"
            + ("; sides = 'cut' under [cut] draws the sides" if sides else ""),
            key="back",
        ),
        PartsRow(
            item=f"{project.box.paint} for the inside",
            quantity=round(_inside_m2(box), 2),
            unit="m2",
            note="back, sides and both faces of the walls, one coat",
            key="paint_m2",
        ),
        PartsRow(
            item=f"controller board with {project.firmware.controller}",
            quantity=1,
            unit="pc",
            note="flashed with the constants",
            key="controller",
        ),
    )


def _inside_m2(box: Box) -> float:
    """Return the area of the back, the sides and both faces of the walls [m²]."""
    rim_mm = 2 * (box.width_mm + box.height_mm)
    walls_mm2 = 2 * box.total_length_mm * box.wall_height_mm
    return (box.width_mm * box.height_mm + rim_mm * box.depth_mm + walls_mm2) / 1e6


def _priced(row: PartsRow, prices: dict[str, float]) -> PartsRow:
    if row.key not in prices:
        return row
    return replace(row, price=prices[row.key], cost=row.quantity * prices[row.key])
