"""What to cut: wall strips nested on sheets, and the face with its openings and islands."""

from __future__ import annotations

import dataclasses

import numpy as np

from marquee.box.cut_face import find_openings
from marquee.box.cut_islands import find_islands, leave_bridges
from marquee.box.cut_joints import join_runs
from marquee.box.cut_nesting import most_length_mm, nest
from marquee.box.cut_notches import Bands, led_rows, openings_along, row_bands, row_ends
from marquee.box.cut_print import print_laps, print_pieces
from marquee.box.cut_remarks import cut_remarks
from marquee.box.cut_runs import Run, find_runs, opened_at, stretch
from marquee.box.cut_sides import box_sides
from marquee.box.cut_strips import Worked, divide, make_strip
from marquee.box.cut_tapers import opening_shapes, path_points, stretches_over
from marquee.project_cut import CutSettings
from marquee.values import Box, Chain, Path_mm, Point, ZoneMap
from marquee.values_cut import CutPlan, Opening, Strip


def plan_cut(zone_map: ZoneMap, box: Box, chain: Chain, settings: CutSettings) -> CutPlan:
    """Return everything that is cut.

    A wall becomes one strip as far as the sheet reaches: bends are scored and folded, corners sharper than the
    stated fold are mitred. Where walls meet, the two straightest go on as one strip and the third ends on it: by a
    tee halving where it comes near to square, else butted and bevelled; where two cross near to square, each is
    halved. Strips stand on the LED plane and are notched where LED rows pass.

    Parameters
    ----------
    zone_map : ZoneMap
        For the face's edges.
    box : Box
        Walls, their thickness and height [mm].
    chain : Chain
        LED rows that pass under walls.
    settings : CutSettings
    """
    openings = find_openings(zone_map)
    strips, notch_areas, rows, tapers = _strips(box, chain, openings, settings)
    islands, remarks = find_islands(openings, zone_map.width_mm, zone_map.height_mm, settings)
    sides = () if settings.sides == "none" else box_sides(box, strips, most_length_mm(settings))
    sheets = nest((*strips, *sides), settings)
    plan = CutPlan(
        width_mm=box.width_mm,
        height_mm=box.height_mm,
        wall_thickness_mm=box.wall_thickness_mm,
        wall_height_mm=box.wall_height_mm,
        kerf_mm=settings.kerf_mm,
        walls_compensated=settings.compensate != "none",
        face_compensated=settings.compensate == "all",
        bridges_cut=settings.bridges == "cut",
        page=settings.page,
        page_overlap_mm=settings.page_overlap_mm,
        notch_height_mm=settings.notch_height_mm,
        strips=strips,
        sheets=sheets,
        openings=leave_bridges(openings, islands) if settings.bridges == "cut" else openings,
        islands=islands,
        notch_areas_mm=notch_areas,
        rows_mm=rows,
        tapers_mm=tapers,
        sides=sides,
        gaps=box.gaps,
    )
    plan = dataclasses.replace(plan, print_pieces_mm=print_pieces(plan, settings))
    plan = dataclasses.replace(plan, print_laps=print_laps(plan, settings))
    return cut_remarks(plan, settings, zone_map, remarks)


# A ring's seam keeps this far from joints and LED rows [mm] (common practice, no source).
_SEAM_ROOM_MM = 12.0
_Walls = tuple[
    tuple[Strip, ...], tuple[Path_mm, ...], tuple[tuple[Point, Point], ...], tuple[Path_mm, ...]
]


def _strips(
    box: Box, chain: Chain, openings: tuple[Opening, ...], settings: CutSettings
) -> _Walls:
    """Return the strips, the areas kept free for LED rows, the rows, and where walls taper."""
    import shapely

    rows = led_rows(chain, box.width_mm, box.height_mm)
    bands = row_bands(chain, rows, settings.notch_width_mm, box)
    runs, junctions = find_runs(box, settings.most_fold_degrees)
    runs = [_with_calm_seam(run, bands, box) if run.closed else run for run in runs]
    spans = [openings_along(run, bands, box.wall_thickness_mm) for run in runs]
    lit = opening_shapes(openings)
    tapers = [stretches_over(run, lit, box.wall_thickness_mm) for run in runs]
    endings, halvings = join_runs(runs, junctions, box, settings)
    parts = divide(runs, endings, halvings, spans, most_length_mm(settings), settings)
    strips = tuple(
        make_strip(
            part,
            parts,
            runs[part.run],
            Worked(halvings.get(part.run, []), spans[part.run], tapers[part.run]),
            box,
            settings,
        )
        for part in parts
    )
    areas = tuple(path_points(shapely.get_coordinates(band.area)[:-1]) for band in bands)
    tapered = tuple(
        path_points(stretch(run.xy_mm, run.stations_mm, a, b))
        for run, found in zip(runs, tapers, strict=True)
        for a, b, _ in found
    )
    return strips, areas, row_ends(rows), tapered


def _with_calm_seam(run: Run, bands: Bands, box: Box) -> Run:
    """Return a ring opened in the middle of its longest stretch that no LED row or wall meets."""
    at = run.stations_mm
    spans = openings_along(run, bands, box.wall_thickness_mm)
    spans += [(place, place, -1) for place, _ in run.nodes]
    middles = (at[:-1] + at[1:]) / 2
    room = _SEAM_ROOM_MM
    busy = np.array([any(a - room < m < b + room for a, b, _ in spans) for m in middles])
    worth = np.diff(at).round(2) * np.where(busy, 0.01, 1)
    return opened_at(run, float(middles[np.argmax(worth)]))
