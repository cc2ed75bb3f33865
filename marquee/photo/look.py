"""A photograph laid on the face: light of every element of the light model, black and glare taken off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.photo.predict import Raster
from marquee.photo.register import mapped
from marquee.photo.tone import linearised
from marquee.photo.values import Array, Curve, Registration, Shot, Sight, Singles, State
from marquee.plan import Plan

# Pixels nearer than this to an aperture's edge [mm] are left out where the aperture is wide enough: registration
# and the lens leave about a third of it.
EDGE_MM = 1.0
# Face farther than this from any aperture [mm] is dark by rights: what shows there is glare, spread over that width.
_DARK_FROM_MM, _GLARE_MM = 2.5, 20.0
# Coded values from here up say nothing of how much light there was.
BURNT = 0.985
_LEAST_PX = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """Where on the raster light is read: `inner` lies within apertures, `dark` is face well away from them.

    `over` is a sparse matrix (elements, elements): a light field at the elements' middles to its mean over the inner
    pixels of each, as a photograph has it.
    """

    raster: Raster
    inner: NDArray[np.bool_]
    dark: NDArray[np.bool_]
    shape: tuple[int, int]  # of the light model's elements
    over: Any  # scipy's sparse matrices are untyped here
    count: NDArray[np.intp]  # inner pixels of each element

    def read(self, fields: NDArray[Any]) -> Array:
        """Return light fields (…, ny, nx) as a photograph would show them (…, elements); NaN where it shows nothing."""
        flat = np.asarray(fields, float).reshape(-1, self.shape[0] * self.shape[1])
        out = np.asarray((self.over @ flat.T).T, float)
        out[:, np.asarray(self.over.sum(axis=1)).ravel() < 0.5] = np.nan
        return out.reshape(*fields.shape[:-2], -1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """A photograph on the raster: coded values (ny, nx, 3), 0 to 1."""

    file: str
    state: State
    coded: Singles
    linear: bool
    exposure: float | None


def ground_of(plan: Plan, raster: Raster) -> Ground:
    """Return where light is read on a plan's face."""
    lit = (raster.coverage > 0.999).astype(np.uint8)
    inside = cv2.distanceTransform(np.pad(lit, 1), cv2.DIST_L2, 5)[1:-1, 1:-1] * raster.mm
    _, parts = cv2.connectedComponents(lit)
    widest = np.zeros(int(parts.max()) + 1)
    np.maximum.at(widest, parts, inside)
    inner = (lit > 0) & (inside >= np.minimum(EDGE_MM, 0.5 * widest[parts]))
    same = plan.transfer.zone_of_element.ravel()[raster.element] == raster.zone
    unlit = (raster.coverage <= 0).astype(np.uint8)
    away = cv2.distanceTransform(unlit, cv2.DIST_L2, 5) * raster.mm
    inner = inner & same & (raster.zone >= 0)
    return Ground(
        raster=raster,
        inner=inner,
        dark=away >= _DARK_FROM_MM,
        shape=plan.transfer.zone_of_element.shape,
        over=_averaging(plan, raster, inner),
        count=np.bincount(raster.element[inner], minlength=plan.transfer.zone_of_element.size),
    )


def _averaging(plan: Plan, raster: Raster, inner: NDArray[np.bool_]) -> Any:  # noqa: ANN401
    from scipy.sparse import coo_array, diags_array

    transfer = plan.transfer
    ny, nx = transfer.zone_of_element.shape
    row, column = np.nonzero(inner)
    element = raster.element[row, column]
    x0, tx = _between(transfer.x_mm, (column + 0.5) * raster.mm)
    y0, ty = _between(transfer.y_mm, (row + 0.5) * raster.mm)
    parts = [(y0 + dy) * nx + x0 + dx for dy in (0, int(ny > 1)) for dx in (0, int(nx > 1))]
    shares = [(1 - ty) * (1 - tx), (1 - ty) * tx, ty * (1 - tx), ty * tx]
    sums = coo_array(
        (np.concatenate(shares), (np.tile(element, 4), np.concatenate(parts))),
        shape=(ny * nx, ny * nx),
    ).tocsr()
    count = np.bincount(element, minlength=ny * nx)
    return diags_array(np.where(count >= _LEAST_PX, 1 / np.maximum(count, 1), 0.0)) @ sums


def _between(centres: Array, places: NDArray[Any]) -> tuple[NDArray[np.intp], Array]:
    """Return the grid line before each place and how far it is to the next, within the grid."""
    if len(centres) < 2:
        return np.zeros(len(places), np.intp), np.zeros(len(places))
    at = np.clip((places - centres[0]) / (centres[1] - centres[0]), 0, len(centres) - 1)
    first = np.minimum(at.astype(np.intp), len(centres) - 2)
    return first, at - first


def laid(shot: Shot, found: Registration, raster: Raster) -> Laid:
    """Return a photograph laid on the raster, its pixels averaged where they are finer."""
    pixels = shot.pixels
    by = found.px_per_mm * raster.mm
    warp = found.homography @ raster.to_mm
    if by > 1.5:
        size = (round(pixels.shape[1] / by), round(pixels.shape[0] / by))
        across, down = pixels.shape[1] / size[0], pixels.shape[0] / size[1]
        pixels = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
        reduce = np.array(
            [[1 / across, 0, (1 / across - 1) / 2], [0, 1 / down, (1 / down - 1) / 2], [0, 0, 1]]
        )
        warp = reduce @ warp
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    seen = cv2.warpPerspective(
        pixels.astype(np.float32) / shot.most,
        warp,
        raster.size_px,
        flags=flags,
        borderValue=(np.nan,) * 3,
    )
    return Laid(
        file=shot.file,
        state=shot.state,
        coded=np.asarray(seen, np.float32),
        linear=shot.linear,
        exposure=shot.exposure,
    )


def sight(one: Laid, curve: Curve, ground: Ground, black: Laid | None, exposure: float) -> Sight:
    """Return the light of every element.

    Parameters
    ----------
    one : Laid
        The photograph on the raster.
    curve : Curve
        The camera's curve.
    ground : Ground
        Where light is read.
    black : Laid or None
        The photograph of the dark sign, taken with the same exposure.
    exposure : float
        What the light is divided by: this photograph's exposure over the first's.
    """
    lit = linearised(one.coded, curve)
    if black is not None:
        lit = lit - linearised(black.coded, curve)
    light = lit - _glare(lit, ground)
    at = np.flatnonzero(ground.inner.ravel() & np.isfinite(light).all(axis=2).ravel())
    element = ground.raster.element.ravel()[at]
    size = ground.shape[0] * ground.shape[1]
    count = np.bincount(element, minlength=size)
    enough = np.where(count >= _LEAST_PX, count, np.nan)
    flat = light.reshape(-1, 3)[at]
    means = [np.bincount(element, flat[:, c], minlength=size) / enough for c in range(3)]
    burnt = (one.coded.reshape(-1, 3)[at] >= BURNT).any(axis=1)
    share = np.bincount(element, burnt, minlength=size) / enough
    return Sight(
        file=one.file,
        state=one.state,
        light=np.stack(means, axis=1).reshape(*ground.shape, 3) / exposure,
        burnt=np.asarray(share, float).reshape(ground.shape),
    )


def _glare(light: Singles, ground: Ground) -> Array:
    """Return what lens and room lay over the face: read where it is dark, spread over what lies between."""
    known = ground.dark & np.isfinite(light).all(axis=2)
    if not known.any():
        return np.zeros(3)
    weight = known.astype(np.float32)
    sigma = _GLARE_MM / ground.raster.mm
    # Reduced before it is blurred: so wide a blur needs no finer pixels.
    by = max(1.0, sigma / 4)
    size = tuple(max(round(n / by), 1) for n in ground.raster.size_px)
    filled = np.where(known[..., None], light, 0).astype(np.float32)
    small, few = (cv2.resize(a, size, interpolation=cv2.INTER_AREA) for a in (filled, weight))
    small, few = (cv2.GaussianBlur(a, (0, 0), sigma / by) for a in (small, few))
    mean = light[known].mean(axis=0)
    # Where hardly any face is near, its mean stands in.
    spread = (small + 0.01 * mean) / (few[..., None] + 0.01)
    return np.asarray(cv2.resize(spread, ground.raster.size_px), float)


def corner_distance(plan: Plan, found: Registration, size_px: tuple[int, int]) -> Array:
    """Return (ny, nx) how far each element lies from the photograph's middle, squared, 1 at its corners."""
    xx, yy = np.meshgrid(plan.transfer.x_mm, plan.transfer.y_mm)
    points = mapped(found.homography, np.stack([xx.ravel(), yy.ravel()], axis=1))
    middle = (np.array(size_px) - 1) / 2
    squared = ((points - middle) ** 2).sum(axis=1) / (middle**2).sum()
    return np.asarray(squared.reshape(xx.shape), float)
