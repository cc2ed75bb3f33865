"""The light map brought to a view: luminance between the grid's elements, and what shines through the face."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.colour.adapt import adaptation_matrix, observed_white_xyz
from marquee.colour.constants import D65_XYZ, XYZ_TO_SRGB
from marquee.outputs.pictures.canvas import View
from marquee.outputs.pictures.face import sample
from marquee.outputs.pictures.sheet import sixteenths
from marquee.plan import Plan

# Luminance weights of linear sRGB: second row of IEC 61966-2-1's matrix to XYZ.
_LUMA = np.linalg.inv(XYZ_TO_SRGB)[1].astype(np.float32)


def map_over(plan: Plan, view: View, values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return values on the light grid, (ny, nx) or (ny, nx, 3), at every sheet pixel of a view.

    Between elements they are interpolated; within a cell from that cell's elements only, because there is a
    wall between it and the others. What shines over a wall, where colours touch, is its zone's nearest cell's;
    over the rest of the walls they are interpolated from all.
    """
    transfer = plan.transfer
    columns = _place_in(transfer.x_mm, view.width_px, view.px_per_mm)
    rows = _place_in(transfer.y_mm, view.height_px, view.px_per_mm)
    across, down = np.meshgrid(columns, rows)

    def between(
        source: NDArray[np.float32], part: tuple[slice, slice] = (slice(None), slice(None))
    ) -> NDArray[np.float32]:
        out: NDArray[np.float32] = cv2.remap(
            source, across[part], down[part], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        return out

    source = np.ascontiguousarray(values, np.float32)
    result = between(source)
    if len(plan.box.cells) < 2:
        return result
    cell_of_px = _cells(plan, view)
    shown_of_px = _shown(plan, view, cell_of_px)
    cell_of_element = cell_of_px[
        np.ix_(
            np.minimum((transfer.y_mm * view.px_per_mm).astype(int), view.height_px - 1),
            np.minimum((transfer.x_mm * view.px_per_mm).astype(int), view.width_px - 1),
        )
    ]
    for number in range(1, len(plan.box.cells) + 1):
        own = cell_of_element == number
        if own.any():
            inside = (shown_of_px == number).view(np.uint8)
            x, y, width, height = cv2.boundingRect(inside)
            part = (slice(y, y + height), slice(x, x + width))
            kept = inside[part].view(np.bool_)
            result[part][kept] = between(source[nearest_of(own)], part)[kept]
    return result


def _cells(plan: Plan, view: View) -> NDArray[np.int32]:
    """Return 1, 2, … where the cells lie on a view, in their order, and 0 over walls."""
    owner = np.zeros((view.height_px, view.width_px), np.int32)
    for number, cell in enumerate(plan.box.cells, 1):
        rings = [
            sixteenths(np.array(r) * view.px_per_mm) for r in (cell.outline_mm, *cell.holes_mm)
        ]
        cv2.fillPoly(owner, rings, number, cv2.LINE_8, 4)
    return owner


def _shown(plan: Plan, view: View, cell_of_px: NDArray[np.int32]) -> NDArray[np.int32]:
    """Return the cells with what is lit over walls added to the nearest cell of its own zone.

    A wall between touching colours ends in a knife edge along the artwork's own edge.
    """
    zone = sample(plan.zone_map.zone_of_px, plan.zone_map.mm_per_px, view, finer=1)
    shown = cell_of_px.copy()
    over = (cell_of_px == 0) & (zone >= 0)
    for z in np.unique(zone[over]).tolist():
        own = [n for n, cell in enumerate(plan.box.cells, 1) if cell.zone == z]
        cells = np.isin(cell_of_px, own)
        if cells.any():
            here = np.nonzero(over & (zone == z))
            rows, columns = nearest_of(cells)
            shown[here] = cell_of_px[rows[here], columns[here]]
    return shown


def nearest_of(own: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return, for every element, row and column of the nearest one of those wanted."""
    _, labels = cv2.distanceTransformWithLabels(
        (~own).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    rows, columns = np.nonzero(own)
    found = np.zeros(int(labels.max()) + 1, np.intp)
    found[labels[rows, columns]] = np.arange(len(rows))
    return rows[found[labels]], columns[found[labels]]


def _place_in(
    centres_mm: NDArray[np.float64], size_px: int, px_per_mm: float
) -> NDArray[np.float32]:
    """Return, for each pixel centre, where it lies among the grid's element numbers."""
    wanted_mm = np.arange(0.5, size_px) / px_per_mm
    return np.interp(wanted_mm, centres_mm, np.arange(len(centres_mm))).astype(np.float32)


def open_share(plan: Plan, view: View) -> NDArray[np.float32]:
    """Return the share of each sheet pixel of a view that is aperture, 0 to 1."""
    zone_of_px = plan.zone_map.zone_of_px
    size = (view.width_px, view.height_px)
    finer = zone_of_px.shape[1] >= view.width_px
    lit = cv2.compare(zone_of_px, -1, cv2.CMP_GT)
    share = cv2.resize(lit, size, interpolation=cv2.INTER_AREA if finer else cv2.INTER_LINEAR)
    return np.asarray(share, np.float32) / np.float32(255)


def cycling_zones(plan: Plan) -> tuple[int, ...]:
    """Return the zones whose light runs through the hue cycle."""
    if plan.drive.hue_cycle is None:
        return ()
    steady = {driven.zone for driven in plan.drive.zones}
    zones = plan.zone_map.zones
    return tuple(z.id for z in zones if z.mode == "hue-cycle" or z.id not in steady)


def instant_step(plan: Plan) -> int:
    """Return the step of the hue cycle shown where one must stand for all: the one a screen shows brightest."""
    cycle = plan.drive.hue_cycle
    if cycle is None:
        return 0
    lights = np.array(cycle.xyz_cd, np.float32)
    return int(to_screen(plan, lights / lights[:, 1:2]).max(axis=-1).argmin())


def instant_xyz(plan: Plan, step: int) -> NDArray[np.float32]:
    """Return the light map (ny, nx, 3) at one step of the hue cycle, where the plan's has the cycle's mean."""
    xyz = plan.light.luminance_xyz
    cycle = plan.drive.hue_cycle
    if cycle is None:
        return xyz
    lights = np.array(cycle.xyz_cd)
    change = (lights[step] - lights.mean(axis=0)) * plan.transfer.diffuser_transmittance / np.pi
    for zone in cycling_zones(plan):
        xyz = xyz + plan.transfer.lux_per_cd[zone][..., None] * change.astype(np.float32)
    return np.maximum(xyz, 0.0)


def screen_light(plan: Plan, view: View, where: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return linear sRGB (n, 3) in cd/m² (white of 1 cd/m² is 1, 1, 1) of the diffuser at some pixels of a view."""
    return to_screen(plan, map_over(plan, view, instant_xyz(plan, instant_step(plan)))[where])


def to_screen(plan: Plan, xyz: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return linear sRGB (…, 3) of light (…, 3) in cd/m².

    The sign's white becomes the screen's. Colours no screen can show lose chroma at their luminance until
    no channel is below zero.
    """
    colour = plan.project.colour
    adapted = XYZ_TO_SRGB @ adaptation_matrix(
        observed_white_xyz(colour.white, colour.observer), D65_XYZ, colour.adaptation
    )
    # A BLAS would start threads for a matrix of three by three.
    flat = np.ascontiguousarray(xyz, np.float32).reshape(-1, 1, 3)
    linear = cv2.transform(flat, adapted).reshape(xyz.shape)
    lowest = np.minimum(np.minimum(linear[..., 0], linear[..., 1]), linear[..., 2])
    pure = lowest < 0
    beyond = linear[pure]
    grey = (beyond @ _LUMA)[:, None]
    keep = grey / np.maximum(grey - lowest[pure][:, None], np.float32(1e-12))
    linear[pure] = grey + (beyond - grey) * keep
    mapped: NDArray[np.float32] = np.maximum(linear, np.float32(0.0))
    return mapped


def strongest_channel(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the largest of the three channels (the last axis); faster than a reduction over so short an axis."""
    most: NDArray[np.float32] = np.maximum(np.maximum(light[..., 0], light[..., 1]), light[..., 2])
    return most
