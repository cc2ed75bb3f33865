"""Strokes, corners and gaps too thin to hold a flat pixel: which colour they belong to."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.artwork.edges import FACE, UNKNOWN, Edges, linear_codes, looks_linear
from marquee.artwork.flat import TOL_CALM

# A stroke is explained by a colour when its pixels lie this near (codes, root mean square) to the line of
# blends between the colour and what surrounds it.
_FIT_CODES = 30.0
# Of two colours that both explain it the nearer one is meant, unless it fits worse by this much.
_TIE_CODES = 6.0
_MOST_NEW = 8
# Halved colour resolution tints an outline by up to so many codes (measured: JPEG quality 75, yellow on black).
_TINT_CODES = 60.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strokes:
    """Pixels the flat neighbours do not explain: `index`, their `label` and its `share` of the pixel.

    `rival` is the label that has the rest of the pixel. `new_rgb` (m, 3) are the colours that only thin strokes
    have; their labels follow the last known one.
    """

    index: NDArray[np.int64]
    label: NDArray[np.uint8]
    rival: NDArray[np.uint8]
    share: NDArray[np.float64]
    new_rgb: NDArray[np.float64]


def explain_strokes(
    srgb_8bit: NDArray[np.uint8],
    label_of_px: NDArray[np.uint8],
    edges: Edges,
    colours: NDArray[np.float64],
    min_px: float,
    tol: int,
    on_ramps: NDArray[np.float64],
) -> Strokes:
    """Return labels for the pixels that `edges` does not explain.

    Parameters
    ----------
    srgb_8bit : (height_px, width_px, 3) uint8
    label_of_px : (height_px, width_px) uint8
        Flat pixels' labels.
    edges : Edges
    colours : (n, 3)
        Codes of label 0 (face), 1, 2 …
    min_px : float
        A new colour needs a stroke of at least so many pixels.
    tol : int
        Span of codes that counts as flat, for the noise.
    on_ramps : (m, 3)
        Codes along the picture's gradients, which in a noisy picture are no new colours.
    """
    odd = np.flatnonzero(~edges.explained)
    index = edges.index[odd]
    near = edges.near[odd]
    base = np.where(near >= 0, label_of_px.ravel()[near], FACE).astype(np.uint8)
    base = np.where(base == UNKNOWN, FACE, base)
    if not index.size:
        return Strokes(
            index=index, label=base, rival=base, share=np.zeros(0), new_rgb=np.zeros((0, 3))
        )
    pixel = srgb_8bit.reshape(-1, 3)[index].astype(float)
    calm = cv2.blur(srgb_8bit, (3, 3)).reshape(-1, 3)
    around = np.where((near >= 0)[:, None], calm[near], colours[FACE]).astype(float)
    group, sizes = _groups(label_of_px.shape, index)
    known = len(colours)
    fit = max(_FIT_CODES, 4.0 * tol)
    # Lossy compression tints whole blocks: there a new colour must fill more than one (ITU-T T.81: 8 × 8).
    apart = fit if tol <= TOL_CALM else max(_TINT_CODES, 6.0 * tol)
    fewest = min_px if tol <= TOL_CALM else max(min_px, 64.0)
    palette = colours
    runs = on_ramps if tol > TOL_CALM else on_ramps[:0]
    asked = np.zeros(len(sizes), np.int64)
    # Noise would pass for ever new colours of one group.
    most_asked = _MOST_NEW if tol <= TOL_CALM else 1
    while True:
        cost, reach = _costs(pixel, around, base, palette, group, sizes)
        waiting = (asked < most_asked) & (cost.min(axis=1) > fit) & (sizes >= fewest)
        if not waiting.any() or len(palette) - known >= _MOST_NEW:
            break
        head = int(np.argmax(np.where(waiting, sizes, 0)))
        own = np.flatnonzero(group == head)
        if asked[
            head
        ]:  # bands of several colours side by side: what the first ones do not explain
            own = own[_best_misfit(pixel[own], around[own], palette) > fit**2]
        asked[head] += 1
        enough = len(own) >= max(fewest, 1)
        fresh = _fullest_colour(pixel[own], around[own]) if enough else None
        if fresh is None or is_blend(fresh, np.vstack([palette, runs]), apart):
            asked[head] = most_asked
        else:
            palette = np.vstack([palette, fresh])
    chosen = _choose(cost, reach)[group]
    odd = (cost.min(axis=1) > fit)[group]
    chosen[odd] = _choose_singly(pixel[odd], around[odd], palette)
    ground, ground_label = _grounds(
        chosen, around, base, palette, _main_bases(base, palette, group)
    )
    share = _stroke_shares(
        pixel, ground, palette[chosen], ground_label == FACE, edges.linear_light
    )
    wins = share >= 0.5
    return Strokes(
        index=index,
        label=np.where(wins, chosen, ground_label).astype(np.uint8),
        rival=np.where(wins, ground_label, chosen).astype(np.uint8),
        share=np.where(wins, share, 1 - share),
        new_rgb=palette[known:],
    )


def _stroke_shares(
    pixel: NDArray[np.float64],
    ground: NDArray[np.float64],
    colour: NDArray[np.float64],
    on_face: NDArray[np.bool_],
    linear_light: bool | None,
) -> NDArray[np.float64]:
    """Return the stroke's share of each pixel in the space edges were blended in."""
    gamma = _project(pixel, ground, colour)[0]
    if linear_light is False:
        return gamma
    light = _project(
        *(linear_codes(v.astype(np.float32)).astype(float) for v in (pixel, ground, colour))
    )[0]
    if linear_light is None:
        linear_light = looks_linear(gamma[on_face], light[on_face])
    return light if linear_light else gamma


def _groups(
    shape: tuple[int, ...], index: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return each pixel's connected group (8-neighbours) and the groups' sizes."""
    mask = np.zeros(shape, np.uint8)
    mask.ravel()[index] = 1
    _, labels = cv2.connectedComponents(mask, connectivity=8)
    group = labels.ravel()[index].astype(np.int64) - 1
    return group, np.bincount(group)


def _project(
    pixel: NDArray[np.float64], base: NDArray[np.float64], colour: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the colour's share of each pixel (0 to 1) and the misfit squared."""
    along = colour - base
    square = np.maximum((along**2).sum(axis=-1), 1e-6)
    share = np.clip(((pixel - base) * along).sum(axis=-1) / square, 0, 1)
    misfit = ((pixel - base - share[..., None] * along) ** 2).sum(axis=-1)
    return share, misfit


def _main_bases(
    base: NDArray[np.uint8], palette: NDArray[np.float64], group: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Return for each pixel its group's two commonest surroundings, (pixels, 2), -1 where there is none."""
    count = np.zeros((int(group.max()) + 1, len(palette)))
    plain = base < len(palette)  # the others lie on gradients
    np.add.at(count, (group[plain], base[plain]), 1)
    order = np.argsort(-count, axis=1, kind="stable")[:, :2]
    if order.shape[1] < 2:
        order = np.hstack([order, order])
    present = np.take_along_axis(count, order, axis=1) > 0
    return np.where(present, order, -1)[group]


def _grounds(
    colour: NDArray[np.int64],
    around: NDArray[np.float64],
    base: NDArray[np.uint8],
    palette: NDArray[np.float64],
    bases: NDArray[np.int64],
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Return what each pixel is a blend of `colour` with: its surroundings' codes and label.

    Where the surroundings are of that colour themselves, it is the group's other surroundings.
    """
    other = np.where(bases[:, 0] == colour, bases[:, 1], bases[:, 0])
    swap = (base == colour) & (other >= 0)
    codes = np.where(swap[:, None], palette[np.maximum(other, 0)], around)
    return codes, np.where(swap, other, base).astype(np.int64)


def _costs(
    pixel: NDArray[np.float64],
    around: NDArray[np.float64],
    base: NDArray[np.uint8],
    palette: NDArray[np.float64],
    group: NDArray[np.int64],
    sizes: NDArray[np.int64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return per group and colour the misfit [codes, root mean square] and the largest share."""
    bases = _main_bases(base, palette, group)
    cost = np.empty((len(sizes), len(palette)))
    reach = np.zeros((len(sizes), len(palette)))
    order = np.argsort(group, kind="stable")
    starts = np.searchsorted(group[order], np.arange(len(sizes)))
    for k, colour in enumerate(palette):
        ground, label = _grounds(np.full(len(base), k), around, base, palette, bases)
        share, misfit = _project(pixel, ground, colour)
        cost[:, k] = np.sqrt(np.bincount(group, misfit, minlength=len(sizes)) / sizes)
        reach[:, k] = np.maximum.reduceat(np.where(label == k, 0, share)[order], starts)
    return cost, reach


def _choose(cost: NDArray[np.float64], reach: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return each group's colour: among those that fit about as well, the one most fully reached."""
    tied = cost <= cost.min(axis=1, keepdims=True) + _TIE_CODES
    return np.asarray(np.argmax(np.where(tied, reach, -1.0), axis=1))


def _best_misfit(
    pixel: NDArray[np.float64], around: NDArray[np.float64], palette: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return each pixel's least misfit squared as a blend of its surroundings and a colour."""
    return np.asarray(
        np.min([_project(pixel, around, colour)[1] for colour in palette], axis=0), float
    )


def _choose_singly(
    pixel: NDArray[np.float64], around: NDArray[np.float64], palette: NDArray[np.float64]
) -> NDArray[np.int64]:
    """Return each pixel's own best partner to its surroundings, for groups no single colour explains."""
    misfit = np.stack([_project(pixel, around, colour)[1] for colour in palette], axis=1)
    return np.asarray(np.argmin(misfit, axis=1))


def is_blend(rgb: NDArray[np.float64], palette: NDArray[np.float64], codes: float) -> bool:
    """Return whether a colour lies within `codes` of a colour of the palette (n, 3) or between two of them."""
    for i, first in enumerate(palette):
        second = palette[: i + 1]
        _, misfit = _project(rgb[None], first[None], second)
        if float(misfit.min()) < codes**2:
            return True
    return False


def _fullest_colour(
    pixel: NDArray[np.float64], around: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the colour of the pixels farthest from their surroundings, where the stroke fills them."""
    height = np.linalg.norm(pixel - around, axis=1)
    top = height >= np.percentile(height, 95) - 4
    return np.asarray(np.median(pixel[top], axis=0), float)
