"""Artwork to zones: what shares a colour, what lies beside what, and what cannot be parted."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from marquee.artwork.adjacency import find_adjacent
from marquee.artwork.alpha import lay_on_black
from marquee.artwork.apertures import Cutouts, find_apertures
from marquee.artwork.edges import FACE
from marquee.artwork.face import uses_alpha
from marquee.artwork.labels import FIRST_RAMP, Labels, label_pixels
from marquee.artwork.mixed import Interleaved, find_interleaved
from marquee.artwork.names import free_name
from marquee.artwork.nearest import find_nearest
from marquee.artwork.overrides import Draft, apply_overrides
from marquee.artwork.remarks import picture_remarks, zone_remarks
from marquee.artwork.scale import full_size, reduce_picture, work_factor
from marquee.artwork.snap import snap_colours
from marquee.errors import Finding, InputError
from marquee.project import ZoneSettings
from marquee.values import Aperture, Artwork, BBox, TargetColour, Zone, ZoneMap, read_only
from marquee.values_pixels import Padded, as_given

# Zone ids are int16.
_MOST_ZONES = 1000


def find_zones(
    artwork: Artwork,
    settings: ZoneSettings,
    palette: tuple[TargetColour, ...],
    wall_thickness_mm: float,
) -> ZoneMap:
    """Return the face divided into zones: one for each flat colour, one for each mixed area.

    Parameters
    ----------
    artwork : Artwork
    settings : ZoneSettings
        Face, smallest area [mm²], merging, and the maker's overrides.
    palette : tuple of TargetColour
        Colours of the artwork near one of these take its name and exact values.
    wall_thickness_mm : float
        Neighbours nearer than this are touching; bands it cannot part are mixed.

    Raises
    ------
    InputError
        Entirely dark or transparent, nothing lit, a face colour that cannot be read or found, or an
        override that points at nothing.
    """
    full, alpha = _opaque_picture(artwork, settings)
    factor, repeated = work_factor(full, artwork.mm_per_px)
    pixels = reduce_picture(full, factor, repeated=repeated)
    if alpha is not None:
        alpha = reduce_picture(alpha, factor, repeated=repeated)
    mm = artwork.mm_per_px * factor
    min_px = settings.min_area_mm2 / mm**2
    guide = np.array([p.lab_d65 for p in palette]).reshape(-1, 3)
    labels = label_pixels(pixels, alpha, settings, guide, min_px)
    cutouts = find_apertures(labels, min_px)
    if not len(cutouts.label):
        raise _nothing_lit(labels, artwork)
    nearest = find_nearest(cutouts.of_px, mm)
    mixed = find_interleaved(cutouts, nearest, wall_thickness_mm, len(labels.rgb) - 1)
    targets, colour_findings, index = _targets(labels, cutouts, palette, mm)
    cutouts, joined, colour_of, drafts = _draft(labels, cutouts, mixed, index, wall_thickness_mm)
    _name(drafts, targets)
    changed = apply_overrides(drafts, cutouts, colour_of, list(targets), settings.override, mm)
    zones, apertures, zone_of = _freeze(drafts, cutouts, colour_of, mm)
    lit = _lit(labels)
    zone_of_px = np.asarray(
        zone_of[cutouts.of_px], np.int16
    )  # -1 reads the last entry, the face's
    adjacent = find_adjacent(zone_of_px, lit, nearest, zone_of[joined], mm, wall_thickness_mm)
    apertures_full, zones_full = full_size(
        cutouts, zone_of_px, zone_of, labels, full, factor, repeated=repeated
    )
    return ZoneMap(
        zone_of_px=zones_full,
        aperture_of_px=apertures_full,
        mm_per_px=artwork.mm_per_px,
        face_srgb=labels.face.srgb,
        colours=tuple(changed),
        zones=zones,
        apertures=apertures,
        adjacent=adjacent,
        findings=(
            *labels.findings,
            *picture_remarks(labels, cutouts, mm),
            *colour_findings,
            *zone_remarks(zones, adjacent),
        ),
        # A picture that repeats hard pixels has its edges on theirs, which the full labels keep.
        lit_8bit=None if repeated and not _shares(lit) else read_only(lit),
        lit_mm_per_px=mm,
    )


def _shares(lit_8bit: NDArray[np.uint8]) -> bool:
    """Return whether edges were drawn with shared pixels."""
    shared = np.count_nonzero((lit_8bit > 5) & (lit_8bit < 250))
    lit = lit_8bit > 127
    return bool(shared > 0.3 * np.count_nonzero(lit[:, 1:] != lit[:, :-1]))


def _opaque_picture(
    artwork: Artwork, settings: ZoneSettings
) -> tuple[NDArray[np.uint8], NDArray[np.uint8] | None]:
    """Return the picture without transparency, and its alpha where that says what is face.

    The picture has the three or four channels it is held in, of which three matter.
    """
    by_alpha = uses_alpha(settings.face, artwork.alpha_8bit)
    given = as_given(artwork, "srgb_8bit")
    held: NDArray[np.uint8] = given.rgbx if isinstance(given, Padded) else given
    if artwork.alpha_8bit is None:
        return held, None
    pixels = lay_on_black(held, artwork.alpha_8bit)
    return pixels, artwork.alpha_8bit if by_alpha else None


def _nothing_lit(labels: Labels, artwork: Artwork) -> InputError:
    if any(finding.code == "artwork.svg-text" for finding in artwork.findings):
        return InputError(
            "artwork",
            "has nothing lit: its text was not drawn, for want of its fonts on this machine",
            "convert text to paths in your drawing program",
        )
    if labels.face.kind in {"dark", "alpha"}:
        return InputError(
            "artwork",
            "is entirely dark: nothing in it would be lit",
            "lighten what is to shine, or state the opaque colour with --face",
        )
    return InputError(
        "artwork",
        f"has nothing lit beside the face {labels.face.srgb}",
        "state the opaque colour with --face, or a smaller --min-area",
    )


def _targets(
    labels: Labels, cutouts: Cutouts, palette: tuple[TargetColour, ...], mm: float
) -> tuple[tuple[TargetColour, ...], tuple[Finding, ...], dict[int, int]]:
    """Return the colours that are lit, largest area first, remarks, and label → index."""
    area: dict[int, float] = {}
    for label, px in zip(cutouts.label.tolist(), cutouts.area_px.tolist(), strict=True):
        area[label] = area.get(label, 0.0) + px * mm**2
    order = sorted(area, key=lambda k: (-area[k], k))
    rgb = np.array(
        [
            labels.rgb[k] if k < len(labels.rgb) else labels.ramps[FIRST_RAMP - k].middle_rgb
            for k in order
        ]
    )
    targets, findings = snap_colours(rgb, [area[k] for k in order], palette)
    return targets, findings, {label: i for i, label in enumerate(order)}


def _draft(
    labels: Labels,
    cutouts: Cutouts,
    mixed: list[Interleaved],
    index: dict[int, int],
    wall_mm: float,
) -> tuple[Cutouts, NDArray[np.int64], NDArray[np.int64], list[Draft]]:
    """Return apertures with mixed ones joined, what became of each, colours (-1 mixed), and the zones they form."""
    number = np.array([index[k] for k in cutouts.label.tolist()])
    key = number.copy()  # apertures of one key form one zone
    drafts: dict[int, Draft] = {}
    for i, group in enumerate(mixed):
        key[list(group.apertures)] = -2 - i
        width = f"{group.width_mm:.2g} mm" if group.width_mm > 0 else "hair-fine"
        reason = f"{len(group.colours)} colours in {width} stripes, wall {wall_mm:g} mm"
        drafts[-2 - i] = _mixed(sorted(index[c] for c in group.colours), reason)
    cutouts, key, joined = _join(cutouts, key)
    colour_of = np.where(key < 0, -1, key)
    for a, k in enumerate(key.tolist()):
        if k not in drafts:
            drafts[k] = Draft(name="", kind="solid", mode="steady", apertures=[], colours=[k])
        drafts[k].apertures.append(a)
    for label, ramp_number in ((FIRST_RAMP - i, i) for i in range(len(labels.ramps))):
        k = index.get(label)
        if k is not None and k in drafts:
            ramp = labels.ramps[ramp_number]
            ends = " to ".join(_hex(c) for c in (ramp.start_rgb, ramp.end_rgb))
            new = _mixed([k], f"colour runs from {ends}")
            new.apertures = drafts[k].apertures
            drafts[k] = new
            colour_of[new.apertures] = -1
    ordered = sorted(drafts.values(), key=lambda d: d.apertures[0])
    return cutouts, joined, colour_of, ordered


def _mixed(colours: list[int], reason: str) -> Draft:
    return Draft(
        name="", kind="mixed", mode="hue-cycle", apertures=[], colours=colours, reason=reason
    )


def _hex(rgb: NDArray[np.float64]) -> str:
    return "#" + "".join(f"{round(float(c)):02x}" for c in rgb)


def _join(
    cutouts: Cutouts, key: NDArray[np.int64]
) -> tuple[Cutouts, NDArray[np.int64], NDArray[np.int64]]:
    """Return the apertures with touching ones of one mixed group made one, their keys, and what became of each."""
    if not (key < 0).any():
        return cutouts, key, np.arange(len(key))
    group = np.arange(len(key))
    ids = cutouts.of_px
    for a, b in (
        (ids[:, :-1], ids[:, 1:]),
        (ids[:-1], ids[1:]),
        (ids[:-1, :-1], ids[1:, 1:]),
        (ids[:-1, 1:], ids[1:, :-1]),
    ):
        meet = (a != b) & (a >= 0) & (b >= 0)
        pairs = np.unique(np.stack([a[meet], b[meet]], axis=1), axis=0)
        pairs = pairs[(key[pairs[:, 0]] < 0) & (key[pairs[:, 0]] == key[pairs[:, 1]])]
        while len(pairs) and (group[pairs[:, 0]] != group[pairs[:, 1]]).any():
            low = np.minimum(group[pairs[:, 0]], group[pairs[:, 1]])
            np.minimum.at(group, pairs[:, 0], low)
            np.minimum.at(group, pairs[:, 1], low)
            group = group[group]
    heads, new = np.unique(group, return_inverse=True)
    count = len(heads)
    area = np.bincount(new, cutouts.area_px, minlength=count).astype(float)
    centre = np.stack(
        [
            np.bincount(new, cutouts.area_px * cutouts.centre[:, i], minlength=count)
            / np.maximum(area, 1e-9)
            for i in (0, 1)
        ],
        axis=1,
    )
    box = np.empty((count, 4))
    for i in range(4):
        box[:, i] = cutouts.box[heads, i]
        (np.minimum if i < 2 else np.maximum).at(box[:, i], new, cutouts.box[:, i])
    joined = Cutouts(
        of_px=np.append(new, -1).astype(np.int32)[ids],
        label=cutouts.label[heads],
        area_px=area,
        box=box,
        centre=centre,
        dust=cutouts.dust,
        capped=cutouts.capped,
    )
    return joined, key[heads], np.asarray(new, np.int64)


def _name(drafts: list[Draft], targets: tuple[TargetColour, ...]) -> None:
    taken: set[str] = set()
    for draft in drafts:
        wanted = targets[draft.colours[0]].name
        if draft.kind == "mixed":
            wanted = "gradient" if draft.reason.startswith("colour runs") else "stripes"
        draft.name = free_name(wanted, taken)
        taken.add(draft.name)


def _freeze(
    drafts: list[Draft], cutouts: Cutouts, colour_of: NDArray[np.int64], mm: float
) -> tuple[tuple[Zone, ...], tuple[Aperture, ...], NDArray[np.int16]]:
    drafts = sorted(drafts, key=lambda d: min(d.apertures))
    zone_of = np.full(len(cutouts.label) + 1, -1, np.int16)
    zones = []
    for number, draft in enumerate(drafts[:_MOST_ZONES]):
        members = sorted(draft.apertures)
        zone_of[members] = number
        zones.append(
            Zone(
                id=number,
                name=draft.name,
                kind=draft.kind,
                mode=draft.mode,
                colours=tuple(draft.colours),
                apertures=tuple(members),
                area_mm2=float(cutouts.area_px[members].sum() * mm**2),
                bbox_mm=_bbox(cutouts.box[members], mm),
                reason=draft.reason,
            )
        )
    apertures = tuple(
        Aperture(
            id=a,
            zone=int(zone_of[a]),
            colour=int(colour_of[a]),
            area_mm2=float(cutouts.area_px[a] * mm**2),
            bbox_mm=_bbox(cutouts.box[a : a + 1], mm),
            centroid_mm=(float(cutouts.centre[a, 0] * mm), float(cutouts.centre[a, 1] * mm)),
        )
        for a in range(len(cutouts.label))
    )
    return tuple(zones), apertures, zone_of


def _bbox(boxes: NDArray[np.float64], mm: float) -> BBox:
    low, high = boxes[:, :2].min(axis=0) * mm, boxes[:, 2:].max(axis=0) * mm
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _lit(labels: Labels) -> NDArray[np.uint8]:
    """Return the lit share of every pixel, 255 being all of it."""
    lit = cv2.compare(labels.label_of_px, FACE, cv2.CMP_NE)
    flat = lit.ravel()
    own_lit = flat[labels.index] > 0
    other_lit = np.where(labels.other >= 0, flat[np.maximum(labels.other, 0)] > 0, False)
    lost = labels.lost * 255
    share = np.where(
        own_lit & ~other_lit, 255 - lost, np.where(~own_lit & other_lit, lost, 255.0 * own_lit)
    )
    flat[labels.index] = np.rint(share).astype(np.uint8)
    return np.asarray(lit, np.uint8)
