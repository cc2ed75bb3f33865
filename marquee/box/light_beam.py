"""How an LED's light spreads: the generalised cosine law I = I₀ cosᵐ θ, from its half angle."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from marquee.box.light_scene import Floats
from marquee.box.light_walls import Walls, wall_factors

# A Lambertian source falls to half its intensity on axis at 60°: cos 60° = 1/2.
LAMBERTIAN_HALF_ANGLE_DEG = 60.0
# Places in azimuth at which a wall column's light is summed up (Gauss and Legendre): from half angles of 10° up within
# 0.1 % of the adaptive integral.
_AZIMUTHS = 12


def exponent_of(half_angle_deg: float) -> float:
    """Return m of I = I₀ cosᵐ θ whose intensity is halved at the half angle: m = -ln 2 / ln cos.

    Moreno, Avendaño-Alejo, Tzonchev, Applied Optics 45(10), 2006, 2265-2272. Exactly 1 at 60°.

    Parameters
    ----------
    half_angle_deg : float
        Above 0 and below 90 [°].
    """
    if half_angle_deg == LAMBERTIAN_HALF_ANGLE_DEG:
        return 1.0
    return -math.log(2) / math.log(math.cos(math.radians(half_angle_deg)))


def flux_lm(exponent: float) -> float:
    """Return the luminous flux of an LED of 1 cd on axis: ∫ cosᵐ θ dΩ over the half space = 2π / (m + 1)."""
    return 2 * math.pi / (exponent + 1)


def beam_lux(offset_mm: Floats, height_mm: float, exponent: float = 1.0) -> Floats:
    """Return illuminance on a plane parallel to the LED's, of 1 cd on axis [lx].

    E = I₀ cosᵐ θ cos θ / r²: the inverse-square law with the emission's cosines and that of incidence, which is
    I₀ (h²/(d² + h²))^((m + 3)/2) / h². `offset_mm` (…, 2) lies in the plane. Lengths in mm, hence the 10⁶.
    """
    h2 = height_mm**2
    d2 = offset_mm[..., 0] ** 2 + offset_mm[..., 1] ** 2
    return np.asarray(1e6 / h2 * (h2 / (d2 + h2)) ** ((exponent + 3) / 2), float)


def wall_flux(
    points: Floats, walls: Walls, height_mm: Floats, exponent: float
) -> NDArray[np.float32]:
    """Return (points, columns, layers) the flux of LEDs of 1 cd on axis that meets each wall patch [lm].

    An LED lights an upright wall at distance p, height z and s along it with I₀ (z/r)ᵐ (p/r) / r². Its integral over
    height is closed, that over s is one over the azimuth α: Φ = I₀/(m + 1) ∫ [sinᵐ⁺¹ ε] dα between the patch's lower
    and upper bound, ε being the bound's elevation, tan ε = z cos α / p. For m = 1 the closed form factor is used.

    Parameters
    ----------
    points : (points, 2)
        The LEDs [mm].
    walls : Walls
    height_mm : (columns, layers + 1)
        Layers' bounds above the LEDs, none below 0.
    exponent : float
        m.
    """
    if exponent == 1.0:
        return wall_factors(points, walls, height_mm) * np.float32(np.pi)
    offset = points[:, None, :] - walls.a
    p = np.maximum((offset * walls.normal).sum(axis=2), 1e-9)
    s = (offset * walls.along).sum(axis=2)
    first, last = np.arctan2(-s, p), np.arctan2(walls.length_mm - s, p)
    nodes, weights = np.polynomial.legendre.leggauss(_AZIMUTHS)
    half = (last - first) / 2
    total = np.zeros((*p.shape, height_mm.shape[1]))
    for node, weight in zip(nodes, weights, strict=True):
        away = (p / np.cos(first + half * (1 + node)))[..., None]
        total += weight * (height_mm / np.hypot(away, height_mm)) ** (exponent + 1)
    total *= half[..., None] / (exponent + 1)
    return np.asarray(np.diff(total, axis=2), np.float32)
