"""The face: rim, openings as smooth paths, and bridges for islands."""

from __future__ import annotations

import numpy as np

from marquee.outputs.drawings.drawing import (
    BRIDGE,
    CUT,
    GAP,
    LASER_NOTES,
    NOTE,
    Drawing,
    Smooth,
    width_mm,
)
from marquee.values import Gap, Path_mm
from marquee.values_cut import Bridge, CutPlan, Ring

# More gaps than this are told in plan.json only; nearer than this to another they are not ringed [mm].
_MOST_GAPS, _GAP_APART_MM = 40, 6.0
# Numbers smaller than this cannot be read [mm].
_LEAST_MM = 0.9


def face_drawing(cut: CutPlan, title: str) -> Drawing:
    """Return the face seen from the front with what is cut away."""
    drawing = Drawing(title=title, right_mm=cut.width_mm, bottom_mm=cut.height_mm)
    half = cut.kerf_mm / 2 if cut.face_compensated else 0.0
    drawing.rectangle(CUT, -half, -half, cut.width_mm + half, cut.height_mm + half)
    for opening in cut.openings:
        _ring(drawing, opening.outline, -half)
        for hole in opening.holes:
            _ring(drawing, hole, half)
    for island in cut.islands:
        for bridge in island.bridges:
            if not cut.bridges_cut:
                drawing.stroke(BRIDGE, _sides(bridge))
    _name_islands(drawing, cut)
    _mark_gaps(drawing, cut)
    drawing.heading("FRONT VIEW", f"{title}: the face, 1:1, mm")
    drawing.legend()
    drawing.notes([*_notes(cut), *LASER_NOTES])
    return drawing


def _ring(drawing: Drawing, ring: Ring, outwards_mm: float) -> None:
    if not outwards_mm:
        drawing.smooths.append(Smooth(layer=CUT, ring=ring))
        return
    import shapely

    moved = shapely.buffer(shapely.Polygon(ring.flat_mm), outwards_mm, join_style="mitre")
    for part in shapely.get_parts(moved):
        if isinstance(part, shapely.Polygon):
            xy = shapely.get_coordinates(part.exterior)[:-1]
            drawing.stroke(CUT, [(float(x), float(y)) for x, y in xy])


def _sides(bridge: Bridge) -> Path_mm:
    import shapely

    line = shapely.LineString([bridge.start_mm, bridge.end_mm])
    area = shapely.buffer(line, bridge.width_mm / 2, cap_style="flat")
    return tuple((float(x), float(y)) for x, y in shapely.get_coordinates(area)[:-1])


def _name_islands(drawing: Drawing, cut: CutPlan) -> None:
    """Put each island's number where it is widest, clear of islands within it."""
    import shapely

    if not cut.islands:
        return
    openings = [shapely.Polygon(o.outline.flat_mm) for o in cut.openings]
    tree = shapely.STRtree(openings)
    for island in cut.islands:
        shape = shapely.Polygon(island.outline_mm)
        inner = [openings[int(k)] for k in tree.query(shape, "contains")]
        solid = shapely.difference(shape, shapely.union_all(inner))
        if not isinstance(solid, shapely.Polygon | shapely.MultiPolygon) or solid.is_empty:
            continue
        radius = shapely.get_coordinates(shapely.maximum_inscribed_circle(solid, tolerance=0.2))
        size = min(3.0, 0.9 * float(np.hypot(*(radius[1] - radius[0]))))
        if size >= _LEAST_MM:
            x, y = radius[0]
            at = (float(x), float(y) + 0.36 * size)
            drawing.label(NOTE, f"I{island.id}", at, size, anchor="middle")


def _shown_gaps(cut: CutPlan) -> list[Gap]:
    """Return the gaps that are ringed: none too near to one before it, and no more than can be read."""
    shown: list[Gap] = []
    for gap in cut.gaps:
        x, y = gap.at_mm
        if len(shown) < _MOST_GAPS and all(
            np.hypot(x - g.at_mm[0], y - g.at_mm[1]) >= _GAP_APART_MM for g in shown
        ):
            shown.append(gap)
    return shown


def _mark_gaps(drawing: Drawing, cut: CutPlan) -> None:
    """Ring and number the narrow gaps."""
    turns = np.arange(24) * np.pi / 12
    for number, gap in enumerate(_shown_gaps(cut)):
        x, y = gap.at_mm
        ring = [(float(x + 2 * np.cos(t)), float(y + 2 * np.sin(t))) for t in turns]
        drawing.stroke(GAP, ring)
        text = f"G{number}"
        if x + 2.6 + width_mm(text, 2.5) < cut.width_mm:
            drawing.label(GAP, text, (x + 2.6, y + 0.9), 2.5)
        else:
            drawing.label(GAP, text, (x - 2.6, y + 0.9), 2.5, anchor="end")


def _gap_notes(cut: CutPlan) -> list[str]:
    """Return the ringed gaps with their places, those that need the same together, and how many more there are."""
    if not cut.gaps:
        return []
    shown = _shown_gaps(cut)
    alike: dict[tuple[str, str], list[str]] = {}
    for number, gap in enumerate(shown):
        key = (f"{gap.gap_mm:.1f}", f"{gap.add_mm:.1f}")
        alike.setdefault(key, []).append(f"G{number} ({gap.at_mm[0]:.0f}, {gap.at_mm[1]:.0f})")
    lines = [
        f"Face narrower than a wall ({cut.wall_thickness_mm:g} mm) between two colours. Taper the wall's top there "
        "(walls.svg), or draw more opaque face in between:"
    ]
    lines += [
        f"gap {wide} mm, add {add} mm: {', '.join(places)}"
        for (wide, add), places in sorted(alike.items(), key=lambda item: float(item[0][0]))
    ]
    rest = len(cut.gaps) - len(shown)
    return [*lines, *([f"{rest} more close by are listed in plan.json."] if rest else [])]


def _notes(cut: CutPlan) -> list[str]:
    kerf = (
        f"Cut lines lie {cut.kerf_mm / 2:g} mm (half a kerf) in the waste: inside the openings, outside the rim."
        if cut.face_compensated
        else f"Cut lines are the finished edges: no kerf is in them. A kerf of {cut.kerf_mm:g} mm widens openings by half "
        "of it on each side; set your machine to cut inside the openings and outside the rim."
    )
    lines = [
        f"{len(cut.openings)} opening{'' if len(cut.openings) == 1 else 's'} in {cut.width_mm:g} × {cut.height_mm:.4g} mm.",
        kerf,
    ]
    count = len(cut.islands)
    if count:
        held = (
            "Their bridges are left standing by the cut lines."
            if cut.bridges_cut
            else "Bridges drawn across the openings are proposals: leave the cut lines out where they cross, or glue the "
            "islands to the diffuser."
        )
        lines.append(
            f"{count} island{'' if count == 1 else 's'} inside openings (I0 …) would fall out. {held}"
        )
    return [*lines, *_gap_notes(cut)]
