"""What the light model expects a photograph to show: pictures of the lit face, and every single LED's light."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.box.light import emitted_xyz_cd, scene_of
from marquee.box.light_solve import illuminate
from marquee.photo.values import Array, Singles, State
from marquee.plan import Plan
from marquee.values import Box, Transfer

# Pixels across the face of the raster photographs are laid on, and the finest worth having [mm].
_ACROSS_PX, _FINEST_MM = 1000, 0.2
# Fields of single LEDs differ from a zone's own where a wall stands under an aperture: by more than this share.
_ASTRAY = 0.02


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Raster:
    """The face in pixels of `mm` side.

    Of each (ny, nx): its zone, -1 for opaque face, how much is cut away, and the light model's element under it (flat
    index).
    """

    mm: float
    zone: NDArray[np.int16]
    coverage: Singles
    element: NDArray[np.intp]

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height [px]."""
        return int(self.zone.shape[1]), int(self.zone.shape[0])

    @property
    def to_mm(self) -> Array:
        """Raster px (centres on whole numbers) → face mm, as a homography."""
        half = self.mm / 2
        return np.array([[self.mm, 0, half], [0, self.mm, half], [0, 0, 1.0]])


def raster_of(plan: Plan) -> Raster:
    """Return the raster photographs of a plan are laid on."""
    zone_map = plan.zone_map
    mm = max(zone_map.width_mm, zone_map.height_mm) / _ACROSS_PX
    mm = max(mm, zone_map.mm_per_px, _FINEST_MM)
    nx, ny = round(zone_map.width_mm / mm), round(zone_map.height_mm / mm)
    lit = (zone_map.zone_of_px >= 0).astype(np.float32)
    coverage = cv2.resize(lit, (nx, ny), interpolation=cv2.INTER_AREA)
    zone = cv2.resize(zone_map.zone_of_px, (nx, ny), interpolation=cv2.INTER_NEAREST)
    transfer = plan.transfer
    column = _nearest(transfer.x_mm, (np.arange(nx) + 0.5) * mm)
    row = _nearest(transfer.y_mm, (np.arange(ny) + 0.5) * mm)
    element = row[:, None] * len(transfer.x_mm) + column[None, :]
    return Raster(mm=mm, zone=zone, coverage=coverage, element=element)


def _nearest(centres: Array, places: NDArray[Any]) -> NDArray[np.intp]:
    at = np.rint(_positions(centres, places)).astype(np.intp)
    return np.asarray(np.clip(at, 0, len(centres) - 1), np.intp)


def expected_light(plan: Plan, state: State) -> Array:
    """Return the luminance (ny, nx) on the light model's elements, in any unit, of a state.

    Where all LEDs show the same, 1 cd each; a zone alone shows what it shows in the plan.
    """
    lux = plan.transfer.lux_per_cd.astype(float)
    if state.kind == "black":
        return np.zeros(lux.shape[1:])
    if state.kind == "planned":
        return np.asarray(plan.light.luminance_xyz[..., 1], float)
    if state.kind == "zone":
        return np.asarray(lux[state.number] * emitted_y(plan)[state.number], float)
    return np.asarray(lux.sum(axis=0), float)


def emitted_y(plan: Plan) -> Array:
    """Return each zone's intensity of one LED as planned [cd]."""
    return np.asarray(emitted_xyz_cd(plan.zone_map, plan.drive)[:, 1], float)


def expected_picture(plan: Plan, state: State, raster: Raster) -> Singles:
    """Return the lit face as a screen would show it, coded with the sRGB curve, its brightest parts at 1."""
    from marquee.colour.spaces import srgb_encode

    light = expected_light(plan, state).astype(np.float32)
    nx, ny = raster.size_px
    x = _positions(plan.transfer.x_mm, (np.arange(nx) + 0.5) * raster.mm)
    y = _positions(plan.transfer.y_mm, (np.arange(ny) + 0.5) * raster.mm)
    grid = np.meshgrid(x.astype(np.float32), y.astype(np.float32))
    fine = cv2.remap(light, *grid, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    fine = fine * raster.coverage
    lit = fine[raster.coverage > 0.5]
    top = float(np.quantile(lit, 0.98)) if lit.size else 1.0
    coded = srgb_encode(np.clip(fine / max(top, 1e-12), 0, 1))
    return np.asarray(coded, np.float32)


def _positions(centres: Array, places: NDArray[Any]) -> Array:
    """Return where places lie among evenly spaced centres, the first being 0."""
    step = centres[1] - centres[0] if len(centres) > 1 else 1.0
    return np.asarray((places - centres[0]) / step, float)


def element_places_mm(transfer: Transfer, elements: NDArray[np.intp]) -> Array:
    """Return the middles (n, 2) [mm] of light elements given by their flat index."""
    nx = len(transfer.x_mm)
    return np.stack([transfer.x_mm[elements % nx], transfer.y_mm[elements // nx]], axis=1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LedLight:
    """Light of every single LED: `leds` are numbers along the chain, `lux` (leds, ny, nx) per cd."""

    leds: NDArray[np.intp]
    lux: Singles


def led_light(plan: Plan, box: Box | None = None, transfer: Transfer | None = None) -> LedLight:
    """Return what each LED alone lays under the diffuser.

    Parameters
    ----------
    plan : Plan
        The plan.
    box, transfer : Box, Transfer or None
        Another box than the plan's, with its own zones' light.
    """
    box, transfer = box or plan.box, transfer or plan.transfer
    project = plan.project
    notch = (project.cut.notch_width_mm, project.cut.notch_height_mm)
    scene = scene_of(plan.zone_map, box, plan.chain, project.box, notch)
    leds = np.flatnonzero(plan.chain.zone >= 0)
    # One channel an address, which may light several LEDs.
    owner = np.repeat(np.eye(len(leds)), len(scene.led_xy_mm) // max(len(leds), 1), axis=0)
    found = illuminate(replace(scene, led_cd=owner * scene.led_cd.max(axis=1)[:, None]))
    lux = found.total_lux.astype(np.float32)
    _mend_edges(lux, plan.chain.zone[leds], transfer)
    return LedLight(leds=leds, lux=lux)


def _mend_edges(lux: Singles, zone: NDArray[np.int16], transfer: Transfer) -> None:
    """Give apertures' elements that a wall stands under the light of their cell, as the zones' own light has it."""
    from scipy.spatial import cKDTree

    flat = lux.reshape(len(lux), -1)
    owner = transfer.zone_of_element.ravel()
    xx, yy = np.meshgrid(transfer.x_mm, transfer.y_mm)
    place = np.stack([xx.ravel(), yy.ravel()], axis=1)
    for number in np.unique(zone):
        at = np.flatnonzero(owner == number)
        here = flat[zone == number][:, at].sum(axis=0)
        want = transfer.lux_per_cd[number].reshape(-1)[at]
        off = np.abs(here - want) > _ASTRAY * np.maximum(want, 1e-9)
        if off.any() and not off.all():
            nearest = cKDTree(place[at[~off]]).query(place[at[off]])[1]
            flat[:, at[off]] = flat[:, at[~off][np.asarray(nearest, np.intp)]]
