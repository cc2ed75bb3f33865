"""The divided face as pictures need it: sampled to a view, painted, and the places its zones are marked at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.outputs.pictures.canvas import FINER, Canvas, View
from marquee.outputs.pictures.style import Rgb, lightness, mix, plain, rgb
from marquee.values import Adjacency, BBox, Zone, ZoneMap
from marquee.values_pixels import coarse_of

Toward = Literal["top", "bottom", "right"]

# What cells are tinted over: grey enough for a white aperture to stand out.
CELL_GROUND: Rgb = (228, 230, 234)
# Shown for a zone whose colours are unknown, and beside a cycling zone's single colour.
_GREYS: tuple[Rgb, ...] = ((236, 236, 236), (176, 176, 176))
_WHITE: Rgb = (255, 255, 255)
# Width of a cycling zone's stripes [sheet px].
_STRIPE_PX = 5
_MOST_MARKED_APERTURES = 150
# A place towards an edge keeps this share of the most room the zone offers.
_ROOMY = 0.6
# Marks keep this far apart along the edge their lines go to [px].
_APART_PX = 26.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A place on the sheet and how far it is from the edge of what it marks [px]."""

    x: float
    y: float
    clearance_px: float


def sample(
    map_of_px: NDArray[Any], mm_per_px: float, view: View, finer: int = FINER
) -> NDArray[Any]:
    """Return a per-pixel map of the artwork (zone or aperture ids) as the view's canvas pixels see it."""
    step_px = 1.0 / (view.px_per_mm * finer * mm_per_px)
    columns = ((np.arange(view.width_px * finer) + 0.5) * step_px).astype(np.intp)
    rows = ((np.arange(view.height_px * finer) + 0.5) * step_px).astype(np.intp)
    height, width = map_of_px.shape
    # Rows first, which are copied whole, then columns: several times faster than both at once.
    chosen = map_of_px.take(np.minimum(rows, height - 1), axis=0)
    seen: NDArray[Any] = chosen.take(np.minimum(columns, width - 1), axis=1)
    return seen


def cycles(zone: Zone) -> bool:
    """Return whether a zone is shown by stripes: it has several colours or runs the hue cycle."""
    return zone.mode == "hue-cycle" or zone.kind == "mixed"


def zone_colours(zone_map: ZoneMap, zone: Zone) -> tuple[Rgb, ...]:
    """Return a zone's screen colours: one where it is steady, those of its stripes otherwise."""
    colours = tuple(rgb(zone_map.colours[i].srgb) for i in zone.colours)
    if not cycles(zone):
        return colours[:1] or _GREYS[:1]
    if len(colours) == 1:
        return (
            colours[0],
            mix(colours[0], _WHITE if lightness(colours[0]) < 60 else (0, 0, 0), 0.35),
        )
    return colours or _GREYS


def zone_cells(zone_map: ZoneMap, zone_id: int) -> tuple[tuple[Rgb, ...], str, str]:
    """Return the cells a table's row on a zone begins with: its colours, number and name."""
    zone = next(zone for zone in zone_map.zones if zone.id == zone_id)
    return zone_colours(zone_map, zone), f"{zone.id}", plain(zone.name)


def paint_zones(
    canvas: Canvas, labels: NDArray[np.int16], zone_map: ZoneMap, pale: float = 0.0
) -> None:
    """Fill the zones with their colours, mixed with white by `pale`; the rest is left as it is."""
    shown = {z.id: zone_colours(zone_map, z) for z in zone_map.zones}
    table = [_WHITE] * (max(shown, default=0) + 1)
    for zone_id, colours in shown.items():
        table[zone_id] = mix(colours[0], _WHITE, pale)
    entry = labels.astype(np.int32)
    for zone in zone_map.zones:
        if cycles(zone):
            rows, columns = np.nonzero(labels == zone.id)
            turn = (rows + columns) // (_STRIPE_PX * FINER) % len(shown[zone.id])
            entry[rows, columns] = len(table) + turn
            table += [mix(c, _WHITE, pale) for c in shown[zone.id]]
    lit = (labels >= 0).view(np.uint8)
    canvas.pixels = cv2.copyTo(_looked_up(entry, table), lit, canvas.pixels)


def _looked_up(entry: NDArray[np.int32], table: list[Rgb]) -> NDArray[np.uint8]:
    """Return the colours of a table's entries; -1 stands for any."""
    if len(table) > 255:
        return np.array(table, np.uint8)[entry]
    padded = np.zeros((256, 1, 3), np.uint8)
    padded[: len(table), 0] = table
    painted: NDArray[np.uint8] = cv2.applyColorMap(entry.astype(np.uint8), padded)
    return painted


def outline_zones(canvas: Canvas, labels: NDArray[np.int16], colour: Rgb, width_px: float) -> None:
    """Draw a line wherever one zone ends."""
    edge = np.zeros(labels.shape, np.bool_)
    np.not_equal(labels[:, 1:], labels[:, :-1], out=edge[:, 1:])
    edge[1:] |= labels[1:] != labels[:-1]
    size = max(1, round(width_px * FINER))
    canvas.lay(cv2.dilate(edge.view(np.uint8), np.ones((size, size), np.uint8)), colour)


def zone_marks(zone_map: ZoneMap, view: View, toward: Toward) -> dict[int, Mark]:
    """Return a roomy place of each zone towards an edge, in sheet coordinates of the front view.

    Places keep apart along that edge where the zones allow, so that lines from there do not run into each other.
    """
    labels = sample(zone_map.zone_of_px, zone_map.mm_per_px, view, 1)
    marks: dict[int, Mark] = {}
    for zone in sorted(zone_map.zones, key=lambda z: (z.area_mm2, z.id)):
        taken = [m.y if toward == "right" else m.x for m in marks.values()]
        marks[zone.id] = _roomy(labels, zone.id, zone.bbox_mm, view, (toward, taken))
    return marks


def aperture_marks(zone_map: ZoneMap, view: View) -> dict[int, Mark]:
    """Return the most roomy place of each of the larger apertures."""
    held, factor = coarse_of(zone_map, "aperture_of_px")
    ids = sample(held, zone_map.mm_per_px * factor, view, 1)
    largest = sorted(zone_map.apertures, key=lambda a: (-a.area_mm2, a.id))
    chosen = largest[:_MOST_MARKED_APERTURES]
    return {a.id: _roomy(ids, a.id, a.bbox_mm, view) for a in chosen}


def _roomy(
    ids: NDArray[Any],
    wanted: int,
    bbox_mm: BBox,
    view: View,
    toward: tuple[Toward, list[float]] | None = None,
) -> Mark:
    left, top = (max(0, int(v * view.px_per_mm) - 1) for v in bbox_mm[:2])
    right, bottom = (int(v * view.px_per_mm) + 2 for v in bbox_mm[2:])
    inside = (ids[top:bottom, left:right] == wanted).astype(np.uint8)
    if not inside.any():
        x, y = view.at((bbox_mm[0] + bbox_mm[2]) / 2, (bbox_mm[1] + bbox_mm[3]) / 2)
        return Mark(x=x, y=y, clearance_px=0.0)
    room = cv2.distanceTransform(np.pad(inside, 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
    share = 1.0 if toward is None else _ROOMY
    rows, columns = np.nonzero(room >= room.max() * share)
    xs, ys = view.x + left + columns + 0.5, view.y + top + rows + 0.5
    cost = np.zeros(len(rows))
    if toward is not None:
        edge, taken = toward
        cost += {"top": rows, "bottom": -rows, "right": -columns}[edge]
        along = rows if edge == "right" else columns
        cost += 0.02 * np.abs(along - inside.shape[0 if edge == "right" else 1] / 2)
        for other in taken:
            away = np.abs((ys if edge == "right" else xs) - other)
            cost += 60.0 * np.maximum(0.0, 1 - away / _APART_PX)
    # Of the best places the middle one, so that marks sit centred on flat sides.
    best = np.flatnonzero(cost <= cost.min() + 1e-9)
    chosen = int(best[len(best) // 2])
    clearance = float(room[rows[chosen], columns[chosen]])
    return Mark(x=float(xs[chosen]), y=float(ys[chosen]), clearance_px=clearance)


def nearest_place(zone_map: ZoneMap, pair: Adjacency, view: View) -> tuple[float, float] | None:
    """Return where on the sheet two neighbours come nearest (the middle of such a stretch)."""
    labels = sample(zone_map.zone_of_px, zone_map.mm_per_px, view, 1)
    first, second = (labels == i for i in pair.zones)
    if not (first.any() and second.any()):
        return None
    away = cv2.distanceTransform((~first).astype(np.uint8), cv2.DIST_L2, 5)
    rows, columns = np.nonzero(second & (away <= away[second].min() + 0.5))
    row, column = int(rows[len(rows) // 2]), int(columns[len(columns) // 2])
    theirs = np.argwhere(first)
    other = theirs[int(((theirs - (row, column)) ** 2).sum(axis=1).argmin())]
    return view.x + (column + other[1] + 1) / 2, view.y + (row + other[0] + 1) / 2


def cell_colour(zone_map: ZoneMap, zone_id: int, pale: float) -> Rgb:
    """Return the pale tint of a zone's cell: of its colour, or of grey where it cycles or is unknown."""
    zone = next((z for z in zone_map.zones if z.id == zone_id), None)
    colour = _GREYS[1] if zone is None or cycles(zone) else zone_colours(zone_map, zone)[0]
    return mix(colour, CELL_GROUND, pale)
