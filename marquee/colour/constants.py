"""Published constants of colorimetry, each with its source; a test derives them again."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.values import read_only


def xyz_of_xy(xy: tuple[float, float]) -> NDArray[np.float64]:
    """Return (X, 1, Z) of a chromaticity: CIE 15:2018, equation 7.1 solved for Y = 1."""
    x, y = xy
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


def _rgb_to_xyz(
    primaries: tuple[tuple[float, float], ...], white_xy: tuple[float, float]
) -> NDArray[np.float64]:
    columns = np.stack([xyz_of_xy(xy) for xy in primaries], axis=1)
    return columns * np.linalg.solve(columns, xyz_of_xy(white_xy))


# Whites, CIE 1931 2° chromaticities. CIE 15:2018, table T.3 (D65, D50, D55, D75, A, C); E by definition.
WHITES_XY: dict[str, tuple[float, float]] = {
    "D65": (0.3127, 0.3290),
    "D50": (0.3457, 0.3585),
    "D55": (0.3324, 0.3474),
    "D75": (0.2990, 0.3149),
    "A": (0.4476, 0.4074),
    "C": (0.3101, 0.3162),
    "E": (1 / 3, 1 / 3),
}
D65_XYZ = read_only(xyz_of_xy(WHITES_XY["D65"]))
# The white of printers' Lab: ICC.1:2022 (profile version 4.4), 7.2.16, the profile connection space's D50.
# It is not quite the D50 of CIE 15 (0.9643, 1, 0.8251).
D50_ICC_XYZ = read_only(np.array([0.9642, 1.0, 0.8249]))

# XYZ of the daylight components S0, S1, S2 (rows), S0 having Y = 1 under each observer: CIE 15:2018, table T.2,
# linear between its rows, integrated at 1 nm; a test integrates them again.
DAYLIGHT_XYZ: dict[str, NDArray[np.float64]] = {
    "cie-1931-2": read_only(
        np.array(
            [
                [0.9596689, 1.0, 1.1586823],
                [0.0176005, 0.0180795, 0.3261847],
                [0.0199764, 0.0071580, -0.0220497],
            ]
        )
    ),
    "cie-2015-2": read_only(
        np.array(
            [
                [0.9555030, 1.0, 1.1480986],
                [0.0163451, 0.0222259, 0.3382308],
                [0.0205186, 0.0073465, -0.0211725],
            ]
        )
    ),
    "cie-2015-10": read_only(
        np.array(
            [
                [0.9533851, 1.0, 1.1406658],
                [0.0243086, 0.0352613, 0.3353691],
                [0.0176355, 0.0050441, -0.0215262],
            ]
        )
    ),
}

# sRGB primaries and white: IEC 61966-2-1:1999, table 1. The matrix is derived from them, not taken from
# the standard's 4-digit print, so that white is exactly D65.
SRGB_PRIMARIES_XY = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
SRGB_TO_XYZ = read_only(_rgb_to_xyz(SRGB_PRIMARIES_XY, WHITES_XY["D65"]))
XYZ_TO_SRGB = read_only(np.linalg.inv(SRGB_TO_XYZ))

# CIELAB: CIE 15:2018, 8.2.1.1, in exact fractions: (6/29)³ and (29/3)³.
LAB_EPSILON = 216 / 24389
LAB_KAPPA = 24389 / 27

# Cone response matrices of chromatic adaptation.
# Bradford: Lam, Metamerism and colour constancy (PhD thesis, University of Bradford, 1985), as printed in
# ICC.1:2022, annex E, equation E.7.
BRADFORD = read_only(
    np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
)
# CAT16: Li et al., Color Research & Application 42(6), 2017, 703–718, equation 2 (complete adaptation).
CAT16 = read_only(
    np.array(
        [
            [0.401288, 0.650173, -0.051461],
            [-0.250268, 1.204414, 0.045854],
            [-0.002079, 0.048952, 0.953127],
        ]
    )
)

# Oklab: Ottosson, A perceptual color space for image processing, 2020, matrices M1 and M2.
OKLAB_M1 = read_only(
    np.array(
        [
            [0.8189330101, 0.3618667424, -0.1288597137],
            [0.0329845436, 0.9293118715, 0.0361456387],
            [0.0482003018, 0.2643662691, 0.6338517070],
        ]
    )
)
OKLAB_M2 = read_only(
    np.array(
        [
            [0.2104542553, 0.7936177850, -0.0040720468],
            [1.9779984951, -2.4285922050, 0.4505937099],
            [0.0259040371, 0.7827717662, -0.8086757660],
        ]
    )
)
OKLAB_M1_INVERSE = read_only(np.linalg.inv(OKLAB_M1))
OKLAB_M2_INVERSE = read_only(np.linalg.inv(OKLAB_M2))
