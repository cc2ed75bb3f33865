"""What the maker should know about the zones that were found."""

from __future__ import annotations

import numpy as np

from marquee.artwork.apertures import MOST_APERTURES, Cutouts
from marquee.artwork.labels import Labels
from marquee.colour.spaces import hex_of_srgb_8bit
from marquee.errors import Finding
from marquee.values import Adjacency, Zone

# So many specks are named, and those no smaller than a quarter of the largest are counted as its like.
_SPECKS_SHOWN, _ALIKE = 3, 4.0


def picture_remarks(labels: Labels, cutouts: Cutouts, mm_per_px: float) -> list[Finding]:
    """Return remarks on what was left out: dust, glow and shadow, apertures beyond the limit."""
    found = []
    if len(cutouts.dust.area_px):
        found.append(_specks(labels, cutouts, mm_per_px))
    if labels.soft_px and labels.soft_at_px is not None:
        x, y = labels.soft_at_px
        message = (
            f"{labels.soft_px * mm_per_px**2:.0f} mm² of soft glow or shadow, first at {x * mm_per_px:.0f}, "
            f"{y * mm_per_px:.0f} mm, were not cut out: an edge can be cut, a fade cannot"
        )
        found.append(Finding(code="zones.soft", where="artwork", message=message))
    if cutouts.capped:
        message = (
            f"more than {MOST_APERTURES} apertures: the smallest {cutouts.capped} stay opaque. This looks like a "
            "photograph or noise; use flat artwork or a larger --min-area"
        )
        found.append(Finding(code="zones.apertures-capped", where="artwork", message=message))
    return found


def _specks(labels: Labels, cutouts: Cutouts, mm_per_px: float) -> Finding:
    """Return the remark on specks: how many, the largest with their places and colours, and how to keep those."""
    dust = cutouts.dust
    area_mm2 = dust.area_px * mm_per_px**2
    largest: list[str] = []
    for k in range(min(_SPECKS_SHOWN, len(area_mm2))):
        x, y = dust.at_px[k] * mm_per_px
        name = labels.rgb[dust.label[k]] if dust.label[k] < len(labels.rgb) else None
        colour = "" if name is None else f", {hex_of_srgb_8bit(np.rint(name).astype(np.uint8))}"
        largest.append(f"{area_mm2[k]:.2g} mm² at {x:.0f}, {y:.0f} mm{colour}")
    kept = area_mm2[area_mm2 >= area_mm2[0] / _ALIKE]
    digit = 10.0 ** np.floor(np.log10(0.98 * kept[-1]))
    keep = np.floor(0.98 * kept[-1] / digit) * digit
    several = len(area_mm2) > 1
    also = np.isin(dust.label[: len(kept)], cutouts.label).any()
    message = (
        f"{len(area_mm2)} {'specks' if several else 'speck'} of {area_mm2.sum():.2g} mm² in all "
        f"{'are' if several else 'is'} below the smallest area and {'stay' if several else 'stays'} opaque"
        f"{', the largest' if several else ':'} {'; '.join(largest)}."
        f"{' Such colours are lit elsewhere, too: see whether these are dots of letters.' if also else ''} "
        f"--min-area {keep:g}mm2 keeps {f'{len(kept)} of them' if several else 'it'}"
    )
    return Finding(code="zones.specks", where="artwork", message=message)


def zone_remarks(zones: tuple[Zone, ...], adjacent: tuple[Adjacency, ...]) -> list[Finding]:
    """Return remarks on zones: mixed ones with their reason, pairs too near for a wall."""
    found = []
    for zone in zones:
        if zone.kind == "mixed":
            count = len(zone.apertures)
            each = (
                "a [[zones.override]] with a point of it (at) and a colour"
                if count == 1
                else f"a [[zones.override]] for each of its {count} apertures, with a point of it (at; 'marquee zones "
                "--apertures' lists them), a colour and the same name"
            )
            message = (
                f"cannot be parted by walls ({zone.reason}): lit as one zone with a hue cycle. For a steady colour "
                f"give the project file {each}"
            )
            found.append(
                Finding(code="zones.mixed", where=f"zone {zone.id} {zone.name}", message=message)
            )
    for pair in adjacent:
        if pair.touching:
            i, j = pair.zones
            near = (
                "touch"
                if pair.gap_mm < 0.005
                else f"come within {pair.gap_mm:.2f} mm of each other, less than a wall's thickness"
            )
            message = f"{near}: a knife-edged wall, or more opaque face between them"
            found.append(
                Finding(
                    code="zones.touching",
                    where=f"zones {i} {zones[i].name} and {j} {zones[j].name}",
                    message=message,
                )
            )
    return found
