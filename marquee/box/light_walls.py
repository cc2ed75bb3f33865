"""Faces of box and barriers cut into columns of wall patches, and how points on floor and diffuser see them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_elements import Ints
from marquee.box.light_regions import Plan2D
from marquee.box.light_scene import Floats, Scene

# Layers of equal height up to a wall's top; three double the error in cells deeper than wide.
LAYERS = 5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Walls:
    """Columns of wall patches: plan points `a` → `b` (n, 2), open side to the left.

    `level_mm` (n, layers + 1) are the layers' bounds above the back. Where some barrier stops short of the
    diffuser there is one layer more, the opening over it; on full walls it has no height.
    """

    a: Floats
    b: Floats
    length_mm: Floats
    along: Floats
    normal: Floats
    region: Ints
    reflectance: Floats
    level_mm: Floats
    opening: NDArray[np.bool_]

    @property
    def middle(self) -> Floats:
        """Plan point half way along each column."""
        return np.asarray((self.a + self.b) / 2, float)

    @property
    def area_mm2(self) -> Floats:
        """(n, layers) area of each patch."""
        return np.asarray(self.length_mm[:, None] * np.diff(self.level_mm, axis=1), float)

    def part(self, which: Ints) -> Walls:
        """Return the columns at `which`."""
        return Walls(
            a=self.a[which],
            b=self.b[which],
            length_mm=self.length_mm[which],
            along=self.along[which],
            normal=self.normal[which],
            region=self.region[which],
            reflectance=self.reflectance[which],
            level_mm=self.level_mm[which],
            opening=self.opening[which],
        )


def cut_walls(scene: Scene, plan: Plan2D) -> Walls:
    """Return all faces cut into columns at most a patch long."""
    edges = plan.edges
    length = np.linalg.norm(edges.b - edges.a, axis=1)
    pieces = np.maximum(1, np.ceil(length / scene.patch_mm - 1e-9)).astype(np.intp)
    of = np.repeat(np.arange(len(length)), pieces)
    step = np.arange(len(of)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    span = (edges.b - edges.a)[of] / pieces[of, None]
    a = edges.a[of] + span * step[:, None]
    top = edges.top_mm[of]
    layers = LAYERS + (1 if scene.has_gap else 0)
    level = np.minimum(np.arange(layers + 1) / LAYERS, 1.0) * top[:, None]
    level[:, -1] = scene.depth_mm
    along = span / np.maximum(np.linalg.norm(span, axis=1, keepdims=True), 1e-12)
    return Walls(
        a=a,
        b=a + span,
        length_mm=length[of] / pieces[of],
        along=along,
        normal=np.stack([-along[:, 1], along[:, 0]], axis=1),
        region=edges.region[of],
        reflectance=np.where(edges.barrier[of], scene.barrier_reflectance, scene.rim_reflectance),
        level_mm=level,
        opening=top < scene.depth_mm - 1e-9,
    )


def wall_factors(points: Floats, walls: Walls, height_mm: Floats) -> NDArray[np.float32]:
    """Return (points, columns, layers) form factors from horizontal points to the patches of each column.

    Contour integral of a small horizontal area and an upright rectangle: F = G(z₁) − G(z₂) with
    G(z) = p / (2π q) (atan(s₂/q) − atan(s₁/q)), q = √(p² + z²); p the point's distance from the wall's plane,
    s₁, s₂ the wall's ends along it, z the height difference. Exact; it holds for floor, LEDs and diffuser.

    Parameters
    ----------
    points : (points, 2)
        Plan points [mm].
    walls : Walls
        The columns.
    height_mm : (columns, layers + 1)
        Height difference between points and each layer's bounds.
    """
    x, y = points[:, :1].astype(np.float32), points[:, 1:].astype(np.float32)
    n, e, a = (v.astype(np.float32) for v in (walls.normal, walls.along, walls.a))
    p = x * n[:, 0] + y * n[:, 1] - (a * n).sum(axis=1)
    np.maximum(p, np.float32(0), out=p)
    s = x * e[:, 0] + y * e[:, 1] - (a * e).sum(axis=1)
    length = walls.length_mm.astype(np.float32)
    ends = s * (s - length)
    p2 = p * p
    z2 = (height_mm.astype(np.float32)) ** 2
    bounds = []
    for k in range(z2.shape[1]):
        q2 = p2 + z2[:, k]
        np.maximum(q2, np.float32(1e-12), out=q2)
        q = np.sqrt(q2)
        # The difference of the two angles is that of one triangle: between 0 and π.
        bounds.append(np.arctan2(q * length, q2 + ends) * p / (np.float32(2 * np.pi) * q))
    factors = np.stack([bounds[k] - bounds[k + 1] for k in range(len(bounds) - 1)], axis=-1)
    return np.asarray(np.abs(factors), np.float32)


def wall_to_wall(walls: Walls) -> NDArray[np.float32]:
    """Return (patches, patches) form factors between wall patches, F = A cos cos / (π r² + A), unscaled.

    Patches are numbered column by column, layer by layer. Coarse for neighbours; rows are made to close later.
    """
    layers = walls.level_mm.shape[1] - 1
    middle = np.repeat(walls.middle, layers, axis=0).astype(np.float32)
    normal = np.repeat(walls.normal, layers, axis=0).astype(np.float32)
    z = ((walls.level_mm[:, 1:] + walls.level_mm[:, :-1]) / 2).ravel().astype(np.float32)
    area = walls.area_mm2.ravel().astype(np.float32)
    own = (middle * normal).sum(axis=1)
    out = normal @ middle.T - own[:, None]  # distance of j before the plane of i
    np.maximum(out, np.float32(0), out=out)
    square = (middle**2).sum(axis=1)
    r2 = square[:, None] + square - 2 * (middle @ middle.T) + (z[:, None] - z) ** 2
    np.maximum(r2, np.float32(1e-6), out=r2)
    return np.asarray(area * out * out.T / (r2 * (np.float32(np.pi) * r2 + area)), np.float32)
