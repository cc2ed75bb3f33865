"""To which aperture every place of the face is nearest, and where those shares of the face meet."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

# The map is made on a coarser grid than this only where pixels are finer.
_GRID_MM = 0.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nearest:
    """On every `step`-th pixel: `owner` (rows, columns) int32, the nearest id, and `off_mm` how far it is.

    Where two owners meet there is one border: `first` and `second` (n,) are the ids, `gap_mm` how far apart they
    are across it.
    """

    owner: NDArray[np.int32]
    off_mm: NDArray[np.float32]
    step: int
    grid_mm: float
    first: NDArray[np.int32]
    second: NDArray[np.int32]
    gap_mm: NDArray[np.float32]


def find_nearest(of_px: NDArray[np.int32], mm_per_px: float) -> Nearest:
    """Return the nearest aperture of every place.

    Parameters
    ----------
    of_px : (height_px, width_px) int32
        Aperture ids, -1 on the face.
    mm_per_px : float
    """
    step = max(1, int(_GRID_MM / mm_per_px))
    owner, off_mm = nearest_owner(np.ascontiguousarray(of_px[::step, ::step]), mm_per_px * step)
    first, second, gap = [], [], []
    columns = owner.shape[1]
    for beside, part in ((1, owner[:, :-1] != owner[:, 1:]), (columns, owner[:-1] != owner[1:])):
        y, x = np.divmod(np.flatnonzero(part), part.shape[1])
        here = y * columns + x
        a, b = owner.ravel()[here], owner.ravel()[here + beside]
        first.append(np.minimum(a, b))
        second.append(np.maximum(a, b))
        gap.append(off_mm.ravel()[here] + off_mm.ravel()[here + beside])
    return Nearest(
        owner=owner,
        off_mm=off_mm,
        step=step,
        grid_mm=mm_per_px * step,
        first=np.concatenate(first),
        second=np.concatenate(second),
        gap_mm=np.concatenate(gap),
    )


def nearest_owner(
    ids: NDArray[np.int32], mm_per_px: float
) -> tuple[NDArray[np.int32], NDArray[np.float32]]:
    """Return for every pixel the id (not -1) nearest to it and the distance [mm] to that."""
    lit = ids >= 0
    distance, cells = cv2.distanceTransformWithLabels(
        (~lit).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    # Cells are numbered from 1 in the order of the pixels they belong to.
    table = np.concatenate([np.array([-1], np.int32), ids[lit]])
    return table.take(cells, mode="clip"), np.multiply(distance, np.float32(mm_per_px))
