"""What the maker should know about the zones that were found."""

from __future__ import annotations

from marquee.artwork.apertures import MOST_APERTURES, Cutouts
from marquee.artwork.labels import Labels
from marquee.errors import Finding
from marquee.values import Adjacency, Zone


def picture_remarks(labels: Labels, cutouts: Cutouts, mm_per_px: float) -> list[Finding]:
    """Return remarks on what was left out: dust, glow and shadow, apertures beyond the limit."""
    found = []
    if cutouts.dust:
        message = (
            f"{cutouts.dust} specks of {cutouts.dust_px * mm_per_px**2:.2g} mm² in all are below the smallest area "
            "and stay opaque; give a smaller --min-area to keep them"
        )
        found.append(Finding(code="zones.specks", where="artwork", message=message))
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


def zone_remarks(zones: tuple[Zone, ...], adjacent: tuple[Adjacency, ...]) -> list[Finding]:
    """Return remarks on zones: mixed ones with their reason, pairs too near for a wall."""
    found = []
    for zone in zones:
        if zone.kind == "mixed":
            message = (
                f"cannot be parted by walls ({zone.reason}): lit as one zone with a hue cycle. For a steady colour "
                "give the project file a [[zones.override]] with a point of it (at) and a colour"
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
