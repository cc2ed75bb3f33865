"""Where the face lies on a photograph: the lit apertures' shape, found and then drawn into line with the picture expected.

The dark face seldom shows, so its apertures are what is looked for. Their spread (first and second moments) gives a
start for every turn of the camera; the best few are refined by the enhanced correlation coefficient of Evangelidis and
Psarakis (IEEE TPAMI 30(10), 2008, as OpenCV has it), first as an affine, then as a homography, coarse to fine. Where
the whole face does not agree well, it is also tried with zones dark that may have failed together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from marquee.errors import InputError
from marquee.photo.predict import Raster
from marquee.photo.values import Array, Registration, Singles

# Sides the expected picture has at each step of the refinement [px], and blurs there.
_COARSE_PX, _STEPS = 160, ((240, 5), (480, 5), (1000, 3))
_TURN_DEG = 6
# Starts refined at once, and at most; none more where one then agrees so well. Ours, no source.
_KEPT, _MOST, _SURE = 4, 16, 0.93
# Iterations of one alignment.
_TRIES = 80
# So many guesses of dark zones are tried at most, each leaving at least so much of the lit face, which must then agree
# so well: right ones came to 0.998, other signs' to 0.75, the right sign half a turn off to 0.96 (measured on made-up
# photographs). Starts within `_ALIKE` may end as well, places within `_RIVAL` are as good.
_DARK, _LEAST_LEFT, _LEAST_DARK, _ALIKE, _RIVAL = 10, 0.5, 0.9, 0.05, 0.02
# Below this correlation the photograph shows something else: other signs' photographs came to 0.54 and 0.60, right
# ones to 0.99 (measured on made-up photographs).
LEAST_SCORE = 0.7
# Where the maker gave the corners, large zones may be dark.
_LEAST_BY_HAND = 0.4
# The face must be at least so many pixels wide, and as many a light element.
_LEAST_FACE_PX = 250.0
# A picture dimmer than this at its brightest (coded, 0 to 1) holds more noise than sign.
_LEAST_LIGHT = 0.12
_MARGIN = 0.08


def register(
    photo: Singles,
    expected: Singles,
    raster: Raster,
    file: str,
    corners: Array | None = None,
    dark: Sequence[frozenset[int]] = (),
) -> Registration:
    """Return where the face lies.

    Parameters
    ----------
    photo : (h, w)
        The photograph's grey, coded, 0 to 1, black taken off where there is a black photograph.
    expected : (ny, nx)
        The picture expected on the raster.
    raster : Raster
        The face's raster.
    file : str
        For messages.
    corners : (4, 2) or None
        The face's corners [px] as the maker gave them: top left, top right, bottom right, bottom left.
    dark : sequence of sets of int
        Zones that may have stayed dark together, likeliest first.

    Raises
    ------
    InputError
        Nothing lit on it, the face too small, or another sign.
    """
    if max(photo.shape) < _LEAST_FACE_PX:
        raise InputError(
            file,
            f"is only {photo.shape[1]} × {photo.shape[0]} pixels large",
            "give the photograph as the phone took it",
        )
    top = float(np.quantile(photo, 0.9995))
    if top < _LEAST_LIGHT:
        raise InputError(
            file,
            f"is too dark: its brightest parts reach {top:.0%} of the range",
            "expose longer, so that the brightest parts come near the top without burning out",
        )
    if corners is not None:
        score, found = _by_hand(photo, expected, raster, corners)
        result = _result(found, score, raster, by_hand=True)
    else:
        best = _by_shape(photo, expected, raster, dark, file)
        result = _result(best.warp, best.score, raster, dark=best.dark)
    _refuse(result, photo, raster, file)
    return result


def _by_hand(
    photo: Singles, expected: Singles, raster: Raster, corners: Array
) -> tuple[float, Array]:
    nx, ny = raster.size_px
    face = np.array([[0, 0], [nx, 0], [nx, ny], [0, ny]], np.float32) - 0.5
    start = np.asarray(cv2.getPerspectiveTransform(face, corners.astype(np.float32)), float)
    return max(
        _refined(photo, expected, start),
        (score_of(photo, expected, start), start),
        key=lambda one: one[0],
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Try:
    """A start, and after refinement a place, of the face with zones dark."""

    score: float
    warp: Array
    dark: frozenset[int] = frozenset()


def _by_shape(
    photo: Singles, expected: Singles, raster: Raster, dark: Sequence[frozenset[int]], file: str
) -> _Try:
    """Return what agrees best; with zones dark only where it agrees surely and nowhere else."""
    starts = [_Try(score=score, warp=warp) for score, warp in _starts(photo, expected)]
    tried = [_refined_try(photo, expected, one) for one in starts[:_KEPT]]
    if max((one.score for one in tried), default=0.0) > _SURE:
        return max(tried, key=lambda one: one.score)
    # Moments differ where zones are dark or the camera stands aslant: then more turns are worth a try.
    pictures = {frozenset[int](): expected}
    starts = starts[_KEPT:]
    for zones in dark[:_DARK]:
        if _left(expected, raster, zones) > _LEAST_LEFT:
            pictures[zones] = _without(expected, raster, zones)
            found = _starts(photo, pictures[zones])[:_KEPT]
            starts += [_Try(score=score, warp=warp, dark=zones) for score, warp in found]
    starts.sort(key=lambda one: -one.score)
    least = -1.0
    for start in starts[:_MOST]:
        if start.score < least:
            break
        tried.append(_refined_try(photo, pictures[start.dark], start))
        if tried[-1].score > _SURE and least < 0:
            # Those that began as well may end as well, elsewhere.
            least = start.score - _ALIKE
    fit = [one for one in tried if not one.dark or one.score >= _LEAST_DARK]
    best = max(fit, key=lambda one: one.score, default=_Try(score=0.0, warp=np.eye(3)))
    if best.dark:
        _refuse_rivals(best, tried, raster, file)
    return best


def _refined_try(photo: Singles, expected: Singles, start: _Try) -> _Try:
    score, warp = _refined(photo, expected, start.warp)
    return _Try(score=score, warp=warp, dark=start.dark)


def _refuse_rivals(best: _Try, tried: Sequence[_Try], raster: Raster, file: str) -> None:
    nx, ny = raster.size_px
    face = np.array([[0, 0], [nx, 0], [nx, ny], [0, ny]], float)
    here = mapped(best.warp, face)
    apart = 0.05 * float(np.hypot(*(here[2] - here[0])))
    for one in tried:
        off = float(np.hypot(*(mapped(one.warp, face) - here).T).max())
        if one.score > best.score - _RIVAL and off > apart:
            names = ", ".join(f"{zone}" for zone in sorted(best.dark))
            raise InputError(
                file,
                f"shows zone {names} dark, and the rest fits the plan in more than one place",
                "give the face's corners with --corners",
            )


def _without(expected: Singles, raster: Raster, zones: frozenset[int]) -> Singles:
    """Return the picture expected with zones dark, their edges with them."""
    gone = np.isin(raster.zone, sorted(zones)).astype(np.uint8)
    return np.where(cv2.dilate(gone, np.ones((3, 3), np.uint8)) > 0, np.float32(0), expected)


def _left(expected: Singles, raster: Raster, zones: frozenset[int]) -> float:
    """Return what share of the lit face is left without these zones."""
    lit = expected > 0.1
    return float((lit & ~np.isin(raster.zone, sorted(zones))).sum() / max(lit.sum(), 1))


def score_of(photo: Singles, expected: Singles, warp: Array) -> float:
    """Return the correlation of the picture expected with the photograph where the face lies, a margin around it."""
    ny, nx = expected.shape
    pad = round(_MARGIN * max(nx, ny))
    shift = np.array([[1, 0, -pad], [0, 1, -pad], [0, 0, 1.0]])
    seen = _seen(photo, warp @ shift, (nx + 2 * pad, ny + 2 * pad))
    wanted = np.pad(expected, pad)
    return _correlation(cv2.GaussianBlur(seen, (0, 0), 1.5), cv2.GaussianBlur(wanted, (0, 0), 1.5))


def scaled(warp: Array, photo_by: float, raster_by: float) -> Array:
    """Return a homography between pictures reduced by these factors (pixel centres on whole numbers)."""
    return _to(photo_by) @ warp @ np.linalg.inv(_to(raster_by))


def _to(by: float) -> Array:
    """Return full-size px → reduced px."""
    half = (1 / by - 1) / 2
    return np.array([[1 / by, 0, half], [0, 1 / by, half], [0, 0, 1.0]])


def _seen(photo: Singles, warp: Array, size: tuple[int, int]) -> Singles:
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpPerspective(photo, warp, size, flags=flags), np.float32)


def _correlation(a: Singles, b: Singles) -> float:
    x, y = a - a.mean(), b - b.mean()
    return float((x * y).sum() / max(np.sqrt(float((x * x).sum()) * float((y * y).sum())), 1e-12))


def _reduced(picture: Singles, by: float) -> Singles:
    if by <= 1:
        return picture
    size = (max(round(picture.shape[1] / by), 8), max(round(picture.shape[0] / by), 8))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float32)


def _starts(photo: Singles, expected: Singles) -> list[tuple[float, Array]]:
    """Return raster px → photograph px guesses with their scores, best first: moments made equal, for every turn."""
    by = max(photo.shape) / (3 * _COARSE_PX)
    small, shape_by = _reduced(photo, by), max(expected.shape) / _COARSE_PX
    shape = cv2.GaussianBlur(_reduced(expected, shape_by), (0, 0), 1.5)
    found = []
    for mask in _lit_masks(small):
        there, here = _moments(mask), _moments((shape > 0.1).astype(np.float32))
        if there is None or here is None:
            continue
        for degrees in range(0, 360, _TURN_DEG):
            turn = np.deg2rad(degrees)
            rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
            affine = there[1] @ rotation @ np.linalg.inv(here[1])
            warp = np.eye(3)
            warp[:2, :2] = affine
            warp[:2, 2] = there[0] - affine @ here[0]
            found.append((score_of(small, shape, warp), scaled(warp, 1 / by, 1 / shape_by)))
    found.sort(key=lambda one: -one[0])
    return found[:_MOST]


def _lit_masks(small: Singles) -> list[Singles]:
    """Return what is lit, by two thresholds, and the largest cluster of it alone."""
    blurred = cv2.GaussianBlur(small, (0, 0), 1.0)
    eight = np.clip(blurred / max(float(blurred.max()), 1e-6) * 255, 0, 255).astype(np.uint8)
    split, _ = cv2.threshold(eight, 0, 255, cv2.THRESH_OTSU)
    masks = []
    for level in (0.5 * split, split):
        mask = (eight > level).astype(np.uint8)
        masks.append(mask.astype(np.float32))
        joined = cv2.dilate(mask, np.ones((15, 15), np.uint8))
        count, labels, stats, _ = cv2.connectedComponentsWithStats(joined)
        if count > 2:
            largest = 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())
            masks.append((mask * (labels == largest)).astype(np.float32))
    return masks


def _moments(mask: Singles) -> tuple[Array, Array] | None:
    """Return mean and the square root of the covariance of what is lit."""
    y, x = np.nonzero(mask)
    if len(x) < 12:
        return None
    points = np.stack([x, y], axis=1).astype(float)
    values, vectors = np.linalg.eigh(np.cov(points.T))
    if values[0] < 1e-3:
        return None
    return points.mean(axis=0), np.asarray(vectors @ np.diag(np.sqrt(values)) @ vectors.T, float)


def _refined(photo: Singles, expected: Singles, start: Array) -> tuple[float, Array]:
    """Return score and homography after alignment, coarse to fine; the start where that fails."""
    best = (score_of(photo, expected, start), start)
    warp = start
    for number, (side, blur) in enumerate(_STEPS):
        by = max(max(expected.shape) / side, 1.0)
        shape = _reduced(expected, by)
        photo_by = max(_px_per_px(warp, expected) * by, 1.0)
        picture = _reduced(photo, photo_by)
        at = scaled(warp, photo_by, by)
        modes = (
            (cv2.MOTION_AFFINE, cv2.MOTION_HOMOGRAPHY) if number == 0 else (cv2.MOTION_HOMOGRAPHY,)
        )
        for mode in modes:
            at = _aligned(shape, picture, at, mode, blur)
        warp = scaled(at, 1 / photo_by, 1 / by)
        warp = warp / warp[2, 2]
        score = score_of(photo, expected, warp)
        if score > best[0]:
            best = (score, warp)
    return best


def _px_per_px(warp: Array, expected: Singles) -> float:
    """Return photograph pixels per raster pixel, about the middle."""
    ny, nx = expected.shape
    middle = np.array([[nx / 2, ny / 2], [nx / 2 + 1, ny / 2], [nx / 2, ny / 2 + 1]])
    a, b, c = mapped(warp, middle)
    return float(np.sqrt(abs((b - a)[0] * (c - a)[1] - (b - a)[1] * (c - a)[0])))


def _aligned(shape: Singles, picture: Singles, start: Array, mode: int, blur: int) -> Array:
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, _TRIES, 1e-6)
    start = start / start[2, 2]
    warp = start.astype(np.float32)
    if mode == cv2.MOTION_AFFINE:
        warp = warp[:2]
    # Windows without a margin around the face leave nothing dark to hold its edges against.
    try:
        _, found = cv2.findTransformECC(shape, picture, warp, mode, criteria, None, blur)
    except cv2.error:  # it does not converge
        return start
    full = np.eye(3)
    full[: found.shape[0]] = found
    return full if np.isfinite(full).all() else start


def mapped(warp: Array, points: Array) -> Array:
    """Return points (n, 2) taken through a homography."""
    out = np.c_[points, np.ones(len(points))] @ warp.T
    return np.asarray(out[:, :2] / out[:, 2:], float)


def _result(
    warp: Array,
    score: float,
    raster: Raster,
    *,
    by_hand: bool = False,
    dark: frozenset[int] = frozenset(),
) -> Registration:
    homography = warp @ np.linalg.inv(raster.to_mm)
    nx, ny = raster.size_px
    face = np.array([[0, 0], [nx, 0], [nx, ny], [0, ny]]) * raster.mm
    corners = mapped(homography, face)
    side = float(np.sqrt(abs(_area(corners)) / abs(_area(face))))
    return Registration(
        homography=homography / homography[2, 2],
        score=score,
        corners_px=tuple((float(x), float(y)) for x, y in corners),
        px_per_mm=side,
        by_hand=by_hand,
        dark=tuple(sorted(dark)),
    )


def _area(corners: Array) -> float:
    x, y = corners.T
    return float(0.5 * (x @ np.roll(y, -1) - y @ np.roll(x, -1)))


def _refuse(found: Registration, photo: Singles, raster: Raster, file: str) -> None:
    least = _LEAST_BY_HAND if found.by_hand else LEAST_SCORE
    if found.score < least:
        mend = "check that it shows this sign's whole face and nothing brighter"
        if not found.by_hand:
            mend += ", or give the face's corners with --corners"
        raise InputError(
            file,
            f"does not look like this plan's face (agreement {max(found.score, 0):.2f} of 1, {least:g} needed)",
            mend,
        )
    width = raster.size_px[0] * raster.mm * found.px_per_mm
    height = raster.size_px[1] * raster.mm * found.px_per_mm
    if max(width, height) < _LEAST_FACE_PX:
        raise InputError(
            file,
            f"shows the face only {width:.0f} × {height:.0f} pixels large, {_LEAST_FACE_PX:.0f} are needed",
            "go nearer, or give the photograph as the phone took it",
        )
    if photo.size and _area(np.array(found.corners_px)) < 0:
        raise InputError(
            file, "shows the face mirrored", "photograph the sign itself, from the front"
        )
