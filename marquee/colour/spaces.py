"""Between colour spaces: sRGB, CIE XYZ, CIELAB, Oklab and u′v′, on arrays whose last axis is the colour."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from marquee.colour.constants import (
    D65_XYZ,
    LAB_EPSILON,
    LAB_KAPPA,
    OKLAB_M1,
    OKLAB_M1_INVERSE,
    OKLAB_M2,
    OKLAB_M2_INVERSE,
    SRGB_TO_XYZ,
    XYZ_TO_SRGB,
)


def srgb_decode(encoded: ArrayLike) -> NDArray[np.float64]:
    """Return linear light 0…1 of encoded sRGB 0…1: IEC 61966-2-1:1999, equations 5 and 6."""
    v = np.asarray(encoded, float)
    high = ((np.maximum(v, 0.04045) + 0.055) / 1.055) ** 2.4
    return np.asarray(np.where(v <= 0.04045, v / 12.92, high), float)


def srgb_encode(linear: ArrayLike) -> NDArray[np.float64]:
    """Return encoded sRGB 0…1 of linear light 0…1: IEC 61966-2-1:1999, equations 9 and 10."""
    v = np.asarray(linear, float)
    high = 1.055 * np.maximum(v, 0.0031308) ** (1 / 2.4) - 0.055
    return np.asarray(np.where(v <= 0.0031308, 12.92 * v, high), float)


def srgb_8bit_to_xyz_d65(rgb: ArrayLike) -> NDArray[np.float64]:
    """Return XYZ (…, 3) of 8-bit sRGB (…, 3), white D65 with Y = 1."""
    return np.asarray(srgb_decode(np.asarray(rgb, float) / 255.0) @ SRGB_TO_XYZ.T, float)


def xyz_to_srgb_8bit(xyz: ArrayLike) -> NDArray[np.uint8]:
    """Return 8-bit sRGB (…, 3) of XYZ (D65, Y = 1); what lies outside sRGB is clipped by channel."""
    linear = np.clip(np.asarray(xyz, float) @ XYZ_TO_SRGB.T, 0.0, 1.0)
    rounded: NDArray[np.uint8] = np.rint(srgb_encode(linear) * 255.0).astype(np.uint8)
    return rounded


def srgb_8bit_to_lab_d65(rgb: ArrayLike) -> NDArray[np.float64]:
    """Return CIELAB (…, 3) under D65 of 8-bit sRGB (…, 3)."""
    return xyz_to_lab(srgb_8bit_to_xyz_d65(rgb), D65_XYZ)


def triple(row: NDArray[np.float64]) -> tuple[float, float, float]:
    """Return one colour (3,) as the plain numbers values hold."""
    return float(row[0]), float(row[1]), float(row[2])


def hex_of_srgb_8bit(rgb: ArrayLike) -> str:
    """Return ``#rrggbb`` of one 8-bit sRGB colour."""
    red, green, blue = (int(c) for c in np.asarray(rgb).reshape(3))
    return f"#{red:02x}{green:02x}{blue:02x}"


def xyz_to_lab(xyz: ArrayLike, white_xyz: ArrayLike = D65_XYZ) -> NDArray[np.float64]:
    """Return L*, a*, b* (…, 3) of XYZ under a white: CIE 15:2018, 8.2.1.1.

    Parameters
    ----------
    xyz : (..., 3)
        Tristimulus values in the white's scale.
    white_xyz : (3,)
        The white, such as D65 with Y = 1.
    """
    t = np.asarray(xyz, float) / np.asarray(white_xyz, float)
    root = np.cbrt(t)
    f = np.where(t > LAB_EPSILON, root, (LAB_KAPPA * t + 16) / 116)
    out: NDArray[np.float64] = np.empty_like(f, dtype=float)
    out[..., 0] = 116 * f[..., 1] - 16
    out[..., 1] = 500 * (f[..., 0] - f[..., 1])
    out[..., 2] = 200 * (f[..., 1] - f[..., 2])
    return out


def lab_to_xyz(lab: ArrayLike, white_xyz: ArrayLike = D65_XYZ) -> NDArray[np.float64]:
    """Return XYZ (…, 3) of L*, a*, b* under a white: CIE 15:2018, annex D."""
    values = np.asarray(lab, float)
    f_y = (values[..., 0] + 16) / 116
    f = np.stack([f_y + values[..., 1] / 500, f_y, f_y - values[..., 2] / 200], axis=-1)
    cubed = f**3
    t = np.where(cubed > LAB_EPSILON, cubed, (116 * f - 16) / LAB_KAPPA)
    return np.asarray(t * np.asarray(white_xyz, float), float)


def xyz_to_oklab(xyz: ArrayLike) -> NDArray[np.float64]:
    """Return Oklab (…, 3), L 0…1, of XYZ (D65, Y = 1): Ottosson 2020."""
    lms = np.cbrt(np.asarray(xyz, float) @ OKLAB_M1.T)
    return np.asarray(lms @ OKLAB_M2.T, float)


def oklab_to_xyz(oklab: ArrayLike) -> NDArray[np.float64]:
    """Return XYZ (…, 3), D65, Y = 1, of Oklab: Ottosson 2020."""
    lms = (np.asarray(oklab, float) @ OKLAB_M2_INVERSE.T) ** 3
    return np.asarray(lms @ OKLAB_M1_INVERSE.T, float)


def xyz_to_xyy(xyz: ArrayLike) -> NDArray[np.float64]:
    """Return x, y, Y (…, 3); black gets the chromaticity of D65."""
    values = np.asarray(xyz, float)
    total = values.sum(axis=-1, keepdims=True)
    safe = np.where(total == 0, D65_XYZ.sum(), total)
    parts = np.where(total == 0, D65_XYZ, values) / safe
    return np.concatenate([parts[..., :2], values[..., 1:2]], axis=-1)


def xyy_to_xyz(xyy: ArrayLike) -> NDArray[np.float64]:
    """Return XYZ (…, 3) of x, y, Y; y must be above 0."""
    values = np.asarray(xyy, float)
    x, y, Y = values[..., 0], values[..., 1], values[..., 2]
    return np.stack([x * Y / y, Y, (1 - x - y) * Y / y], axis=-1)


def xyz_to_uv_prime(xyz: ArrayLike) -> NDArray[np.float64]:
    """Return u′, v′ (…, 2) of the CIE 1976 diagram: CIE 15:2018, 8.1; black gets D65's."""
    values = np.asarray(xyz, float)
    values = np.where(values.sum(axis=-1, keepdims=True) == 0, D65_XYZ, values)
    X, Y, Z = values[..., 0], values[..., 1], values[..., 2]
    scale = X + 15 * Y + 3 * Z
    return np.stack([4 * X / scale, 9 * Y / scale], axis=-1)
