"""How warm the closed box gets, roughly, and what that does to red."""

from __future__ import annotations

from marquee.power.tables import cited, power_table
from marquee.values import Box


def heat_figure(key: str) -> tuple[float, str]:
    """Return a figure of the heat table and where it stands."""
    row = power_table("data_line.toml")["heat"][key]
    return float(row["value"]), cited(row)


def box_area_m2(box: Box) -> float:
    """Return the outside of the box that gives off heat [m²]: all sides but the back."""
    width, height, depth = box.width_mm / 1000, box.height_mm / 1000, box.depth_mm / 1000
    return width * height + 2 * depth * (width + height)


def box_rise_k(heat_w: float, box: Box) -> float:
    """Return the rise of the air in the box above the room [K]: ΔT = P / (k A).

    One k for the whole wall, still air both sides, heat spread evenly: good to a factor of 2. All
    electrical power counts as heat; the few per cent that leave as light are on the safe side.

    Examples
    --------
    >>> from marquee.values import Box
    >>> box = Box(
    ...     width_mm=500,
    ...     height_mm=200,
    ...     depth_mm=50,
    ...     wall_thickness_mm=3,
    ...     wall_gap_mm=0,
    ...     walls=(),
    ...     cells=(),
    ... )
    >>> round(box_rise_k(10.0, box), 1)
    16.8
    """
    return heat_w / (heat_figure("wall_w_per_m2_k")[0] * box_area_m2(box))


def heat_notes(planned_w: float, worst_w: float, box: Box | None) -> tuple[str, ...]:
    """Return what the heat comes to, in words."""
    if box is None:
        return (f"Heat in the box: {planned_w:.1f} W as planned, {worst_w:.1f} W at worst.",)
    k, source = heat_figure("wall_w_per_m2_k")
    loss, _ = heat_figure("red_loss_per_k")
    planned_k, worst_k = box_rise_k(planned_w, box), box_rise_k(worst_w, box)
    return (
        f"Heat in the box: {planned_w:.1f} W / ({k:g} W/m²K x {box_area_m2(box):.3f} m²) = about"
        f" {planned_k:.0f} K above the room as planned, {worst_k:.0f} K at worst"
        f" ({worst_w:.1f} W); good to a factor of 2: {source}.",
        f"Red then gives about {min(1.0, loss * planned_k):.0%} less light than at room temperature.",
    )
