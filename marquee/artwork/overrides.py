"""The maker's own word on apertures: forced together, split off, renamed, or lit another way."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from marquee.artwork.apertures import Cutouts
from marquee.artwork.snap import add_colour
from marquee.colour.target import target_from_text
from marquee.errors import InputError, QuantityError
from marquee.project import ZoneOverride
from marquee.units import parse_length_mm
from marquee.values import Kind, Mode, TargetColour

# A point given by hand may miss a thin stroke by so much.
_NEAR_MM = 2.0


@dataclass(slots=True, kw_only=True)
class Draft:
    """A zone being formed: aperture indices, colour indices, and how it is lit."""

    name: str
    kind: Kind
    mode: Mode
    apertures: list[int]
    colours: list[int]
    reason: str = ""
    stated: bool = field(default=False)  # its colour is the maker's word


def apply_overrides(
    drafts: list[Draft],
    cutouts: Cutouts,
    colour_of: NDArray[np.int64],
    targets: list[TargetColour],
    overrides: tuple[ZoneOverride, ...],
    mm_per_px: float,
) -> list[TargetColour]:
    """Change `drafts` as stated, entry by entry, and return the targets with colours added.

    An entry with a name moves the aperture at its point into the zone of that name, which is made if there
    is none; without a name it speaks of the aperture's whole zone.

    Raises
    ------
    InputError
        No aperture at the point, or a colour that cannot be read.
    """
    for number, entry in enumerate(overrides, 1):
        where = f"zones.override {number}"
        aperture = _aperture_at(cutouts, entry.at, mm_per_px, where)
        draft = next(d for d in drafts if aperture in d.apertures)
        if entry.name is not None:
            draft = _move(drafts, draft, aperture, entry.name.strip(), colour_of, where)
        if entry.colour is not None:
            targets, index = _stated_colour(targets, entry.colour, where)
            draft.colours, draft.stated = [index], True
            draft.kind, draft.mode, draft.reason = "solid", entry.mode or "steady", ""
        if entry.mode is not None:
            _set_mode(draft, entry.mode, colour_of, cutouts)
    drafts[:] = [d for d in drafts if d.apertures]
    return targets


def _aperture_at(cutouts: Cutouts, at: tuple[str, str], mm_per_px: float, where: str) -> int:
    x_mm, y_mm = (parse_length_mm(v, f"{where} at", zero_ok=True) for v in at)
    height, width = cutouts.of_px.shape
    x, y = int(x_mm / mm_per_px), int(y_mm / mm_per_px)
    if not (0 <= x < width and 0 <= y < height):
        raise InputError(
            f"{where} at",
            f"({x_mm:g}, {y_mm:g}) mm lies outside the picture of {width * mm_per_px:.0f} × "
            f"{height * mm_per_px:.0f} mm",
            "count mm from the top left corner, seen from the front",
        )
    reach = int(np.ceil(_NEAR_MM / mm_per_px))
    y0, x0 = max(y - reach, 0), max(x - reach, 0)
    part = cutouts.of_px[y0 : y + reach + 1, x0 : x + reach + 1]
    rows, columns = np.nonzero(part >= 0)
    away = (rows + y0 - y) ** 2 + (columns + x0 - x) ** 2
    if not len(away) or away.min() > reach**2:
        raise InputError(
            f"{where} at",
            f"no aperture within {_NEAR_MM:g} mm of ({x_mm:g}, {y_mm:g}) mm",
            "give a point inside the aperture; 'marquee zones --apertures' lists one for each",
        )
    place = int(np.argmin(away))
    return int(part[rows[place], columns[place]])


def _move(
    drafts: list[Draft],
    source: Draft,
    aperture: int,
    name: str,
    colour_of: NDArray[np.int64],
    where: str,
) -> Draft:
    if not name:
        raise InputError(where, "name is empty", "give the zone a name, or leave it out")
    colour = int(colour_of[aperture])
    target = next((d for d in drafts if d.name == name), None)
    if target is source:
        return source
    source.apertures.remove(aperture)
    if target is None:
        target = Draft(
            name=name,
            kind=source.kind,
            mode=source.mode,
            apertures=[],
            colours=list(source.colours) if colour < 0 or source.stated else [colour],
            reason=source.reason,
            stated=source.stated,
        )
        drafts.append(target)
    target.apertures.append(aperture)
    for draft in (source, target):
        _recolour(draft, colour_of)
    return target


def _recolour(draft: Draft, colour_of: NDArray[np.int64]) -> None:
    """Settle a zone's colours and kind after apertures came or went."""
    if draft.stated or not draft.apertures:
        return
    own = {int(colour_of[a]) for a in draft.apertures}
    if -1 in own:
        return
    draft.colours = sorted(own)
    if len(own) > 1:
        draft.kind, draft.mode = "mixed", "hue-cycle"
        draft.reason = f"{len(own)} colours put into one zone"
    else:
        draft.kind, draft.mode, draft.reason = "solid", "steady", ""


def _set_mode(draft: Draft, mode: Mode, colour_of: NDArray[np.int64], cutouts: Cutouts) -> None:
    draft.mode = mode
    if mode == "hue-cycle" or draft.kind == "solid":
        return
    # A steady light has one colour: the one with the largest area in the zone.
    areas = dict.fromkeys(draft.colours, 0.0)
    for aperture in draft.apertures:
        colour = int(colour_of[aperture])
        if colour in areas:
            areas[colour] += float(cutouts.area_px[aperture])
    draft.colours = [max(areas, key=lambda c: areas[c])]
    draft.kind, draft.stated = "solid", True


def _stated_colour(
    targets: list[TargetColour], text: str, where: str
) -> tuple[list[TargetColour], int]:
    try:
        stated = target_from_text(text, text.strip(), f"{where} colour")
    except QuantityError as error:
        raise InputError(error.where, error.what, error.mend) from None
    return add_colour(targets, stated)
