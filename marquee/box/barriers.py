"""Zones to box: the shortest walls that keep the zones' light apart, and the cells between them."""

from __future__ import annotations

import numpy as np

from marquee.box.cells import cut_cells
from marquee.box.ground import MARGIN_MM, Ground, survey
from marquee.box.network import Line, Network, network_of_labels, repaired
from marquee.box.partition import shortest_labels
from marquee.box.relax import relax
from marquee.box.remarks import box_findings
from marquee.box.taut import Shores
from marquee.errors import QuantityError
from marquee.project import BoxSettings
from marquee.values import Box, Wall, ZoneMap

_MOST_REPAIRS, _MANY_NODES = 3, 1000


def build_box(zone_map: ZoneMap, settings: BoxSettings) -> Box:
    """Return the box with walls that form a closed, near-shortest partition of the face.

    Every cell holds apertures of one zone only and every wall ends at the rim, at other walls or in itself.
    Walls keep the clearance where there is room; where two zones come nearer, a wall runs centred in the gap.

    Parameters
    ----------
    zone_map : ZoneMap
    settings : BoxSettings
        Depth, wall thickness, gap under the diffuser and clearance [mm].

    Raises
    ------
    QuantityError
        The walls would be as thick as the face is wide, or have no height left.
    """
    _check(zone_map, settings)
    ground = survey(zone_map, settings.clearance_mm + settings.wall_thickness_mm / 2)
    network = draw_network(ground)
    cells = cut_cells(network, ground, settings.wall_thickness_mm)
    walls = _walls(network)
    findings, gaps = box_findings(zone_map, ground, walls, cells, settings)
    return Box(
        width_mm=zone_map.width_mm,
        height_mm=zone_map.height_mm,
        depth_mm=settings.depth_mm,
        wall_thickness_mm=settings.wall_thickness_mm,
        wall_gap_mm=settings.wall_gap_mm,
        walls=walls,
        cells=cells,
        findings=findings,
        gaps=gaps,
    )


def _check(zone_map: ZoneMap, settings: BoxSettings) -> None:
    smallest = min(zone_map.width_mm, zone_map.height_mm)
    if settings.wall_thickness_mm >= smallest:
        raise QuantityError(
            "box.wall_thickness",
            f"{settings.wall_thickness_mm:g} mm is as much as the face is high or wide ({smallest:.4g} mm)",
            "use a thinner sheet, or check the artwork's width",
        )
    if settings.wall_gap_mm >= settings.depth_mm:
        raise QuantityError(
            "box.wall_gap",
            f"{settings.wall_gap_mm:g} mm leaves no wall in a box {settings.depth_mm:g} mm deep",
            "make the gap smaller or the box deeper",
        )


def draw_network(ground: Ground) -> Network:
    """Return the walls' centre lines, pulled taut and simplified."""
    if len(ground.zones) < 2:
        return network_of_labels(np.zeros_like(ground.nearest), ground)
    shores = Shores(ground)
    network = network_of_labels(shortest_labels(ground), ground)
    relax(network, ground, shores)
    for _ in range(_MOST_REPAIRS if len(network.node_mm) <= _MANY_NODES else 1):
        before = network.total_mm
        network = repaired(network, ground)
        if len(network.node_mm) > _MANY_NODES:
            break
        relax(network, ground, shores)
        if abs(network.total_mm - before) < 0.01:
            break
    _simplify(network)
    return repaired(network, ground)


def _simplify(network: Network) -> None:
    """Drop vertices that matter less than the margin kept for it; ends and rings' first points stay."""
    import shapely

    for line in network.lines:
        path = shapely.get_coordinates(
            shapely.simplify(shapely.LineString(line.path_mm), 0.6 * MARGIN_MM)
        )
        line.xy_mm = path[:-1] if line.closed else path


def _walls(network: Network) -> tuple[Wall, ...]:
    lines = sorted(network.lines, key=_order)
    return tuple(
        Wall(
            id=k,
            zones=(min(line.zones), max(line.zones)),
            path_mm=tuple((float(x), float(y)) for x, y in line.path_mm),
            length_mm=line.length_mm,
        )
        for k, line in enumerate(lines)
    )


def _order(line: Line) -> tuple[int, int, float, float]:
    low, high = sorted(line.zones)
    x, y = line.xy_mm[0]
    return low, high, round(float(x), 6), round(float(y), 6)
