"""Every pixel to the face, one flat colour, or one gradient; what pixels at edges share is kept."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.artwork.edges import FACE, UNKNOWN, Edges, nearest_with, split_edges
from marquee.artwork.face import Face, choose_face
from marquee.artwork.flat import TOL_CALM, Cluster, Flatness, gather_colours
from marquee.artwork.photo import calm_picture, flat_share, is_photo, label_photo
from marquee.artwork.ramps import Ramp, Sorting, sort_regions
from marquee.artwork.seams import explain_seams
from marquee.artwork.strokes import Strokes, explain_strokes, is_blend
from marquee.errors import Finding
from marquee.project import ZoneSettings

# More flat colours than this are no sign artwork; the smallest join the nearest.
MOST_COLOURS = 48
# Gradients are labelled downwards from here, out of the way of colours found later.
FIRST_RAMP = 254
_MOST_RAMPS = 24
_REACH_PX = (3, 12)
# Up to here from the middle of an edge to flat pixels, its blend is one pixel wide.
_SHARP_PX = 3.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Labels:
    """The picture sorted.

    `label_of_px` (height_px, width_px) uint8: 0 face, 1 … n the colours `rgb[1:]` (n + 1, 3),
    254, 253 … the ramps.
    Pixels shared by two sides: `index`, the share `lost` to the other side, and a pixel `other` of that side
    (-1 if none).
    """

    label_of_px: NDArray[np.uint8]
    rgb: NDArray[np.float64]
    ramps: tuple[Ramp, ...]
    face: Face
    index: NDArray[np.int64]
    lost: NDArray[np.float64]
    other: NDArray[np.int64]
    soft_px: int
    soft_at_px: tuple[int, int] | None
    flat_share: float
    noisy: bool
    findings: tuple[Finding, ...]


def label_pixels(
    srgb_8bit: NDArray[np.uint8],
    alpha_8bit: NDArray[np.uint8] | None,
    settings: ZoneSettings,
    guide_lab: NDArray[np.float64],
    min_px: float,
) -> Labels:
    """Return the label of every pixel.

    Parameters
    ----------
    srgb_8bit : (height_px, width_px, 3) uint8
        The picture; where `alpha_8bit` is given, laid on black by it.
    alpha_8bit : (height_px, width_px) uint8 or None
        Given where transparency is the face.
    settings : ZoneSettings
    guide_lab : (n, 3)
        The palette's colours, Lab under D65.
    min_px : float
        Smallest area kept [px].
    """
    srgb_8bit, flat, remarks = calm_picture(srgb_8bit)
    face = choose_face(flat, settings.face, by_alpha=alpha_8bit is not None)
    if is_photo(flat):
        return _photo(srgb_8bit, face, flat)
    sorting = sort_regions(srgb_8bit, flat, face, settings.merge_delta_e, alpha_8bit)
    calm = _with_means(flat, sorting)
    clusters = gather_colours(
        calm, np.flatnonzero(sorting.flat), settings.merge_delta_e, guide_lab
    )
    clusters, findings = _keep(clusters, flat, face)
    ramps = sorting.ramps[:_MOST_RAMPS]
    rgb = np.vstack([face.rgb[None], *(c.rgb[None] for c in clusters)])
    label = _label_flat(flat, sorting, clusters, ramps, rgb)
    reach = int(np.clip(np.ceil(2 * flat.edge_px) + 1, *_REACH_PX))
    sharp = flat.edge_px < _SHARP_PX
    edges = split_edges(srgb_8bit, label, reach, flat.tol, sharp=sharp)
    if sharp and flat.tol <= TOL_CALM:
        edges = explain_seams(srgb_8bit, label, edges, rgb)
    on_ramps = np.vstack([np.zeros((0, 3)), *(ramp.on_it[::16] for ramp in ramps[:4])])
    strokes = explain_strokes(srgb_8bit, label, edges, rgb, min_px, flat.tol, on_ramps)
    final, index, lost, other = _settle(label, edges, strokes, alpha_8bit, reach)
    return Labels(
        label_of_px=final,
        rgb=np.vstack([rgb, strokes.new_rgb]),
        ramps=tuple(ramps),
        face=face,
        index=index,
        lost=lost,
        other=other,
        soft_px=sorting.soft_px,
        soft_at_px=sorting.soft_at_px,
        flat_share=flat_share(flat),
        noisy=flat.tol > TOL_CALM,
        findings=(*remarks, *face.findings, *findings),
    )


def _photo(srgb_8bit: NDArray[np.uint8], face: Face, flat: Flatness) -> Labels:
    label, ramp, finding = label_photo(srgb_8bit, face, FIRST_RAMP)
    return Labels(
        label_of_px=label,
        rgb=face.rgb[None],
        ramps=(ramp,),
        face=face,
        index=np.zeros(0, np.int64),
        lost=np.zeros(0),
        other=np.zeros(0, np.int64),
        soft_px=0,
        soft_at_px=None,
        flat_share=flat_share(flat),
        noisy=True,
        findings=(finding,),
    )


def _with_means(flat: Flatness, sorting: Sorting) -> Flatness:
    from dataclasses import replace

    return replace(flat, mean=sorting.mean)


def _keep(
    clusters: list[Cluster], flat: Flatness, face: Face
) -> tuple[list[Cluster], list[Finding]]:
    """Return the clusters that are colours of their own rather than blends on wide edges."""
    kept: list[Cluster] = []
    thin = 4 * flat.edge_px**2 + 4
    for cluster in clusters:
        largest = int(flat.count[cluster.regions].max())
        others = np.vstack([face.rgb[None], *(c.rgb[None] for c in kept)])
        if largest <= thin and is_blend(cluster.rgb, others, flat.tol + 8.0):
            continue
        kept.append(cluster)
    if len(kept) <= MOST_COLOURS:
        return kept, []
    message = (
        f"the artwork has {len(kept)} flat colours; the largest {MOST_COLOURS} were kept and the others joined to "
        "the nearest of them. Reduce the artwork's colours if that is wrong"
    )
    return kept[:MOST_COLOURS], [
        Finding(code="zones.colours-capped", where="artwork", message=message)
    ]


def _label_flat(
    flat: Flatness,
    sorting: Sorting,
    clusters: list[Cluster],
    ramps: list[Ramp],
    rgb: NDArray[np.float64],
) -> NDArray[np.uint8]:
    table = np.full(len(flat.count), UNKNOWN, np.uint8)
    table[sorting.face] = FACE
    for number, cluster in enumerate(clusters, 1):
        table[cluster.regions] = number
    for number, ramp in enumerate(ramps):
        table[list(ramp.regions)] = FIRST_RAMP - number
    table[0] = UNKNOWN
    label = table.take(flat.region_of_px, mode="clip")
    for index, colour in sorting.shapes:
        nearest = int(np.argmin(((rgb[1:] - colour) ** 2).sum(axis=1))) + 1 if len(rgb) > 1 else 0
        label.ravel()[index] = nearest
    return label


def _settle(
    label: NDArray[np.uint8],
    edges: Edges,
    strokes: Strokes,
    alpha_8bit: NDArray[np.uint8] | None,
    reach: int,
) -> tuple[NDArray[np.uint8], NDArray[np.int64], NDArray[np.float64], NDArray[np.int64]]:
    """Return the finished label map, and the shared pixels' index, share lost, and other side's pixel."""
    labels = label.ravel()
    known = edges.explained
    near, far = edges.near[known], edges.far[known]
    far = np.where(far < 0, near, far)
    index = np.concatenate([edges.index[known], strokes.index])
    mine = np.concatenate([labels[near], strokes.label])
    rival = np.concatenate([labels[far], strokes.rival])
    share = np.concatenate([edges.share[known], strokes.share])
    if alpha_8bit is not None:
        # Transparency says outright how far a pixel is cut.
        clear = 1 - alpha_8bit.ravel()[index] / 255
        share = np.where((mine == FACE) & (rival != FACE), clear, share)
        share = np.where((mine != FACE) & (rival == FACE), 1 - clear, share)
    wins = share >= 0.5
    final = label.copy()
    final.ravel()[index] = np.where(wins, mine, rival)
    final[final == UNKNOWN] = FACE
    lost = np.where(wins, 1 - share, share)
    other = np.concatenate(
        [
            np.where(wins[: len(near)], far, near),
            nearest_with(final, strokes.index, np.where(wins, rival, mine)[len(near) :], reach),
        ]
    )
    return final, index, lost, other
