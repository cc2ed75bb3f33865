"""How warm the closed box gets, roughly, and what that does to red."""

from __future__ import annotations

from marquee.errors import Finding
from marquee.power.tables import cited, power_table
from marquee.values import Box, Part
from marquee.values_power import MOST_SAID_RISE_K

# The sum is good to this factor (the note beside its figure).
_GOOD_TO = 2.0


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
    heat = (
        f"Heat in the box: {planned_w:.1f} W / ({k:g} W/m²K x {box_area_m2(box):.3f} m²) = {_said(planned_k)}"
        f" above the room as planned, {_said(worst_k)} at worst"
        f" ({worst_w:.1f} W); good to a factor of {_GOOD_TO:g}: {source}."
    )
    if planned_k > MOST_SAID_RISE_K:
        return (heat,)
    red = f"Red then gives about {loss * planned_k:.0%} less light than at room temperature."
    return heat, red


def hot_box(
    planned_w: float, dark_w: float, worst_w: float, box: Box | None, part: Part
) -> tuple[Finding, ...]:
    """Return a remark where the closed box may get warmer than the LEDs may be, the sum's error allowed for.

    Parameters
    ----------
    planned_w, dark_w, worst_w : float
        Heat in the box as planned, all dark, and with every channel as full as the cap allows [W].
    box : Box or None
        None where its size is not known: then nothing is said.
    part : Part
        Its highest operating temperature counts; where its file gives none, a common one.
    """
    if box is None:
        return ()
    room_c, _ = heat_figure("room_c")
    most_c, whose = _most_c(part)
    rise_k, most_k = box_rise_k(planned_w, box), (most_c - room_c) / _GOOD_TO
    if rise_k <= most_k:
        return ()
    allowed_w = planned_w * most_k / rise_k
    share = (allowed_w - dark_w) / max(planned_w - dark_w, 1e-12)
    dimmer = f"set colour.brightness to {share:.0%} of its present value"
    message = (
        f"{planned_w:.1f} W as planned warm the closed box {_said(rise_k)} above the room, good to a factor of"
        f" {_GOOD_TO:g}; {whose}: {dimmer if share >= 0.01 else 'take fewer LEDs'}, let air through the box, or give"
        f" it a metal back or more depth. With all channels full ({worst_w:.1f} W) it gets hotter still, and glue,"
        " paint and diffuser may soften: watch the first hour with a thermometer inside"
    )
    return (Finding(code="power.hot-box", where="box", message=message),)


def _most_c(part: Part) -> tuple[float, str]:
    if part.operating_c is None:
        most_c, source = heat_figure("most_c")
        return most_c, f"{most_c:g} °C should not be passed ({source})"
    return part.operating_c[1], f"{part.name} is made for at most {part.operating_c[1]:g} °C"


def _said(rise_k: float) -> str:
    return (
        f"over {MOST_SAID_RISE_K:.0f} K" if rise_k > MOST_SAID_RISE_K else f"about {rise_k:.0f} K"
    )
