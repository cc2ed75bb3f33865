"""Regions whose colour runs: gradients to be mixed, glows and shadows to be left out."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from marquee.artwork.crumbs import Ramp as Ramp  # noqa: PLC0414 -- handed on
from marquee.artwork.crumbs import gather_crumbs
from marquee.artwork.face import DARK_LIGHTNESS, Face
from marquee.artwork.flat import TOL_CALM, Flatness
from marquee.artwork.scatter import scattered
from marquee.colour.difference import delta_e_2000
from marquee.colour.spaces import srgb_8bit_to_lab_d65

# A trend of so many codes (root mean square) is more than rounding; noise raises the limit.
_TREND_CODES = 0.7
# A region this much of which has one colour is that colour with a soft shadow or glow on it.
_PLATEAU_SHARE = 0.4
# A soft-edged shape keeps its colour when so much of the soft region is of it.
_SHAPE_SHARE = 0.15
_SOLID_SHARE = 0.98
_MOST_EXAMINED = 200
_MOST_SHAPES = 12
_FEWEST_SHAPE_PX = 64
_SAMPLES = 64
# Of larger regions so many pixels, evenly spread, tell what the rest is like.
_SAMPLE_PX = 40_000
# Gradients in separate letters belong together when their colours continue each other this nearly (Lab).
_LINK_LAB = 6.0


@dataclass(slots=True, kw_only=True, eq=False)
class Sorting:
    """Which regions are face, flat or a ramp's.

    `mean` replaces the regions' mean where a plateau says more; `shapes` are flat pixel indices with their
    colour inside regions that fade into the face; `soft_px` counts pixels left out as glow or shadow.
    """

    face: NDArray[np.bool_]
    flat: NDArray[np.bool_]
    ramps: list[Ramp]
    mean: NDArray[np.float64]
    shapes: list[tuple[NDArray[np.int64], NDArray[np.float64]]] = field(default_factory=list)
    soft_px: int = 0
    soft_at_px: tuple[int, int] | None = None


def sort_regions(
    srgb_8bit: NDArray[np.uint8],
    flat: Flatness,
    face: Face,
    merge_delta_e: float,
    alpha_8bit: NDArray[np.uint8] | None = None,
) -> Sorting:
    """Return every region sorted into face, flat colour, or gradient.

    Where `alpha_8bit` (height_px, width_px) says what is face, what is opaque is no glow, however dark.
    """
    solid = _solid(flat, alpha_8bit)
    limit = max(_TREND_CODES, 0.4 * (flat.tol - 2))
    runs = np.flatnonzero(flat.trend > limit)
    runs = runs[np.argsort(-flat.count[runs], kind="stable")][:_MOST_EXAMINED]
    is_flat = ~face.opaque
    is_flat[0] = False
    result = Sorting(face=face.opaque.copy(), flat=is_flat, ramps=[], mean=flat.mean.copy())
    ramps: list[tuple[int, NDArray[np.uint8]]] = []
    for region in runs.tolist():
        index, pixels = _pixels_of(srgb_8bit, flat, region, _SAMPLE_PX)
        if not solid[region] and _fades_into_face(
            result, srgb_8bit, flat, face, region, index, pixels
        ):
            continue
        colour, share = _plateau(pixels, flat.tol)
        width_px = srgb_8bit.shape[1]
        if share >= _PLATEAU_SHARE and not _leans(index, pixels, colour, flat.tol, width_px):
            result.mean[region] = colour
            _note_soft(result, flat, region, pixels, colour, index)
        elif not face.opaque[region] and _runs(index, pixels, width_px):
            ramps.append((region, pixels))
    _leave_out_enclosed(result, flat, face, [r for r in runs.tolist() if not solid[r]], limit)
    ramps = [r for r in ramps if result.flat[r[0]]]
    for ramp in gather_crumbs(_join(ramps, merge_delta_e, flat.tol), flat, result.flat):
        result.ramps.append(ramp)
        result.flat[list(ramp.regions)] = False
    return result


def _solid(flat: Flatness, alpha_8bit: NDArray[np.uint8] | None) -> NDArray[np.bool_]:
    """Return the regions nearly all of which the artwork's own transparency calls opaque."""
    if alpha_8bit is None:
        return np.zeros(len(flat.count), bool)
    opaque = np.bincount(flat.region_of_px[alpha_8bit == 255], minlength=len(flat.count))
    return np.asarray(opaque > _SOLID_SHARE * flat.count, bool)


def _pixels_of(
    srgb_8bit: NDArray[np.uint8], flat: Flatness, region: int, most: int | None = None
) -> tuple[NDArray[np.int64], NDArray[np.uint8]]:
    """Return flat indices and codes of a region's pixels, of at most about `most` of them."""
    x, y, w, h = (int(v) for v in flat.box[region])
    inside = np.flatnonzero(flat.region_of_px[y : y + h, x : x + w] == region)
    if most is not None:
        inside = inside[scattered(len(inside), len(inside) // most)]
    rows, columns = np.divmod(inside, w)
    index = (rows + y) * srgb_8bit.shape[1] + columns + x
    return index, srgb_8bit.reshape(-1, 3)[index]


def _fades_into_face(
    result: Sorting,
    srgb_8bit: NDArray[np.uint8],
    flat: Flatness,
    face: Face,
    region: int,
    index: NDArray[np.int64],
    sample: NDArray[np.uint8],
) -> bool:
    """Take a region that runs into the face as face, but for flat shapes in it; return whether it does."""
    if face.kind == "none":
        return False
    is_face = _is_face(sample, face, flat.tol)
    if is_face.sum() < max(0.02 * len(sample), 16):
        return False
    result.face[region], result.flat[region] = True, False
    rest = sample[~is_face]
    if not len(rest):
        return True
    colour, share = _plateau(rest, max(flat.tol, 3))
    if (
        share >= _SHAPE_SHARE
        and share * len(rest) * flat.count[region] >= 64 * len(sample)
        and _is_far_end(rest, face.rgb, colour)
        and _is_even(rest, colour, flat.tol, share)
    ):
        whole, pixels = _pixels_of(srgb_8bit, flat, region)
        result.shapes.append((whole[~_nearer(pixels, face.rgb, colour)], colour))
        return True
    px = len(rest) * int(flat.count[region]) // len(sample)
    if px > 64:
        _count_soft(result, flat, px, index[~is_face])
    return True


def _is_face(pixels: NDArray[np.uint8], face: Face, tol: int) -> NDArray[np.bool_]:
    found = _like(pixels, face.rgb, tol + 4)
    return found | _dark(pixels) if face.kind != "colour" else found


def _is_far_end(
    pixels: NDArray[np.uint8], face_rgb: NDArray[np.float64], colour: NDArray[np.float64]
) -> bool:
    """Return whether hardly a pixel is farther from the face than `colour`: a shape is, a glow's tail is not."""
    away = np.linalg.norm(pixels.astype(np.float32) - face_rgb, axis=1)
    return bool(np.mean(away > np.linalg.norm(colour - face_rgb) + 8) < 0.05)


def _is_even(
    pixels: NDArray[np.uint8], colour: NDArray[np.float64], tol: int, share: float
) -> bool:
    """Return whether pixels near `colour` are of it to a code; asked of noisy pictures in vain."""
    return tol > TOL_CALM or bool(_like(pixels, colour, 1).mean() >= 0.8 * share)


def _leave_out_enclosed(
    result: Sorting, flat: Flatness, face: Face, runs: list[int], limit: float
) -> None:
    """Take as face what a glow or shadow fills between shapes: it runs, and is a weak blend of face and shapes.

    Only where the picture has a glow or shadow that fades into the open face.
    """
    shape = flat.thick & (flat.count >= _FEWEST_SHAPE_PX)
    steady = np.flatnonzero(result.flat & (flat.trend <= limit) & shape)
    if not result.soft_px or not result.face[runs].any() or not steady.size:
        return
    largest = steady[np.argsort(-flat.count[steady], kind="stable")][:_MOST_SHAPES]
    shapes = flat.mean[largest] - face.rgb
    if face.kind == "colour":
        shapes = np.vstack([shapes, -face.rgb])  # a shadow darkens the face
    for region in runs:
        if not result.flat[region]:
            continue
        off = np.linalg.norm(flat.mean[largest] - result.mean[region], axis=1)
        if off.min() < flat.tol + 12.0:
            continue  # a part of a shape, not what fades from it
        if _is_weak_blend(result.mean[region] - face.rgb, shapes, flat.tol + 12.0):
            result.flat[region], result.face[region] = False, True
            result.soft_px += int(flat.count[region])


def _is_weak_blend(rgb: NDArray[np.float64], shapes: NDArray[np.float64], codes: float) -> bool:
    """Return whether `rgb` is a sum of at most two shapes' colours with weights of together below one."""
    for i in range(len(shapes)):
        for j in range(i + 1):
            basis = shapes[[i]] if i == j else shapes[[i, j]]
            weight = np.linalg.lstsq(basis.T, rgb, rcond=None)[0]
            misfit = np.linalg.norm(weight @ basis - rgb)
            if weight.min() >= 0 and weight.sum() < 0.95 and misfit < codes:
                return True
    return False


def _note_soft(
    result: Sorting,
    flat: Flatness,
    region: int,
    pixels: NDArray[np.uint8],
    colour: NDArray[np.float64],
    index: NDArray[np.int64],
) -> None:
    off = ~_like(pixels, colour, flat.tol + 12)
    px = int(off.sum()) * int(flat.count[region]) // len(pixels)
    if px > 64:
        _count_soft(result, flat, px, index[off])


def _count_soft(result: Sorting, flat: Flatness, px: int, index: NDArray[np.int64]) -> None:
    result.soft_px += px
    if result.soft_at_px is None:
        y, x = divmod(int(index[0]), flat.region_of_px.shape[1])
        result.soft_at_px = (x, y)


def _like(pixels: NDArray[np.uint8], rgb: NDArray[np.float64], codes: float) -> NDArray[np.bool_]:
    away = np.abs(pixels.astype(np.int16) - np.rint(rgb).astype(np.int16))
    return np.asarray(away.max(axis=1) <= codes, bool)


def _dark(pixels: NDArray[np.uint8]) -> NDArray[np.bool_]:
    from marquee.colour.constants import SRGB_TO_XYZ
    from marquee.colour.spaces import srgb_decode

    table = srgb_decode(np.arange(256) / 255)
    light = table[pixels] @ SRGB_TO_XYZ[1]
    # CIE 15:2018, 8.2.1.1: L* = 903.3 Y for the darkest.
    return np.asarray(light < DARK_LIGHTNESS / 903.3, bool)


def _nearer(
    pixels: NDArray[np.uint8], rgb: NDArray[np.float64], other: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Return which pixels are nearer to `rgb` than to `other`."""
    values = pixels.astype(np.float32)
    return np.asarray(
        ((values - rgb) ** 2).sum(axis=1) < ((values - other) ** 2).sum(axis=1), bool
    )


def _plateau(pixels: NDArray[np.uint8], tol: int) -> tuple[NDArray[np.float64], float]:
    """Return the most frequent colour and the share of pixels within the tolerance of it."""
    coarse = (pixels >> 3).astype(np.int64) @ np.array([1024, 32, 1])
    top = int(np.argmax(np.bincount(coarse, minlength=32768)))
    centre = np.median(pixels[coarse == top], axis=0)
    near = _like(pixels, centre, tol)
    if not near.any():
        return np.asarray(centre, float), 0.0
    return np.asarray(pixels[near].mean(axis=0), float), float(near.mean())


def _leans(
    index: NDArray[np.int64],
    pixels: NDArray[np.uint8],
    colour: NDArray[np.float64],
    tol: int,
    width_px: int,
) -> bool:
    """Return whether the pixels near `colour` follow their place, as in a slow gradient."""
    near = np.flatnonzero(_like(pixels, colour, tol))
    near = near[scattered(len(near), len(near) // 4096)]
    y, x = np.divmod(index[near], width_px)
    place = np.stack([np.ones(len(near)), x - x.mean(), y - y.mean()], axis=1)
    value = _along(pixels[near].astype(float))
    fit = _fitted(place, value)
    return bool(fit.var() > 0.25 and fit.var() > 0.5 * value.var())


def _runs(index: NDArray[np.int64], pixels: NDArray[np.uint8], width_px: int) -> bool:
    """Return whether the colour follows a curved surface over the region, as gradients of every form do."""
    picked = scattered(len(pixels), len(pixels) // 4096)
    y, x = np.divmod(index[picked], width_px)
    u, v = ((c - c.mean()) / max(float(np.ptp(c)), 1.0) for c in (x, y))
    powers = [u**i * v**j for i in range(4) for j in range(4 - i)]
    place = np.stack(powers, axis=1)
    value = _along(pixels[picked].astype(float))
    if len(value) < 4 * place.shape[1]:
        return False
    fit = _fitted(place, value)
    return bool(fit.var() > 0.6 * value.var())


def _fitted(place: NDArray[np.float64], value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the least-squares fit to `value`; by the normal equations, since there are few columns and many rows."""
    weight = np.linalg.lstsq(place.T @ place, place.T @ value, rcond=None)[0]
    return np.asarray(place @ weight, float)


def _join(
    ramps: list[tuple[int, NDArray[np.uint8]]], merge_delta_e: float, tol: int
) -> list[Ramp]:
    """Return gradients: regions whose colours continue each other, where together they span enough."""
    if not ramps:
        return []
    samples = [_samples(pixels) for _, pixels in ramps]
    labs = [srgb_8bit_to_lab_d65(s) for s in samples]
    widths = [float(np.linalg.norm(lab[-1] - lab[0])) for lab in labs]
    group = list(range(len(ramps)))
    for i in range(len(ramps)):
        for j in range(i):
            if group[i] == group[j]:
                continue
            gap = np.linalg.norm(labs[i][:, None] - labs[j][None], axis=2).min()
            if gap < _LINK_LAB + 0.75 * (widths[i] + widths[j]) / 2:
                old, new = max(group[i], group[j]), min(group[i], group[j])
                group = [new if g == old else g for g in group]
    joined = []
    limit = max(1.5 * merge_delta_e, 6.0) + 0.75 * (tol - TOL_CALM)
    for g in sorted(set(group)):
        members = [k for k, own in enumerate(group) if own == g]
        ramp = _ramp([ramps[k][0] for k in members], np.vstack([samples[k] for k in members]))
        ends = srgb_8bit_to_lab_d65(np.stack([ramp.start_rgb, ramp.end_rgb]))
        if float(delta_e_2000(ends[0], ends[1])) > limit:
            joined.append(ramp)
    return joined


def _samples(pixels: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Return up to 64 colours evenly along the direction in which the pixels vary most."""
    values = pixels[scattered(len(pixels), len(pixels) // 4096)].astype(float)
    order = np.argsort(_along(values), kind="stable")
    picks = np.linspace(0.01, 0.99, _SAMPLES) * (len(values) - 1)
    return np.asarray(values[order[np.rint(picks).astype(int)]], float)


def _along(values: NDArray[np.float64]) -> NDArray[np.float64]:
    centred = values - values.mean(axis=0)
    _, vectors = np.linalg.eigh(centred.T @ centred)
    axis = vectors[:, -1]
    return np.asarray(centred @ (axis if axis[np.argmax(np.abs(axis))] > 0 else -axis), float)


def _ramp(regions: list[int], values: NDArray[np.float64]) -> Ramp:
    place = _along(values)
    low, high = np.percentile(place, [2, 98])
    middle = np.argsort(np.abs(place - (low + high) / 2), kind="stable")[:8]
    return Ramp(
        regions=tuple(sorted(regions)),
        start_rgb=values[place <= low].mean(axis=0),
        end_rgb=values[place >= high].mean(axis=0),
        middle_rgb=values[middle].mean(axis=0),
        on_it=values,
    )
