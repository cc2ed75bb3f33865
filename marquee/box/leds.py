"""Cells to chain: where the LEDs lie, which zone each lights, and in which order data passes them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.box.board import grouped, short_chain, spread_leds
from marquee.box.chambers import Chambers
from marquee.box.extras import find_extras
from marquee.box.ground import Floats
from marquee.box.laid import Laid, clear_of, joined, together, uncrossed
from marquee.box.light_beam import LAMBERTIAN_HALF_ANGLE_DEG, exponent_of, flux_lm
from marquee.box.loose import Loose, loose_leds
from marquee.box.materials import box_optics, usual_optics
from marquee.box.quick_light import QuickLight
from marquee.box.rows import Pattern, Rows, cut_rows, lay_rows
from marquee.errors import Finding, QuantityError
from marquee.project import BoxSettings, LedSettings
from marquee.values import Box, Chain, Part, ZoneMap, read_only

# So many places are named in one remark.
_MOST_TOLD = 4
# Rows moved less than this are not told of [mm].
_MOVED_MM = 0.5
# Beyond these half angles real lenses and caps differ most from a power of the cosine: rings and dark middles
# (common practice, no source).
_PLAIN_BEAMS_DEG = (25.0, 70.0)


def place_leds(
    zone_map: ZoneMap,
    box: Box,
    part: Part,
    settings: LedSettings,
    inside: BoxSettings | None = None,
) -> Chain:
    """Return the LEDs in data order, each lit one wholly inside one cell.

    Parameters
    ----------
    zone_map : ZoneMap
    box : Box
    part : Part
        `package_mm` is kept clear of walls.
    settings : LedSettings
        Pitch [mm] and arrangement: rows of strip, or free places on a board.
    inside : BoxSettings, optional
        Paint and diffuser that rows of strip are laid for; the usual ones where not given.

    Raises
    ------
    UnknownNameError
        Paint or diffuser is not in the materials table.
    QuantityError
        The pitch is smaller than the package or larger than the face, or no LED fits any cell.
    """
    package = part.body_mm
    _check_pitch(box, part, settings.pitch_mm, package)
    pattern = Pattern(pitch_mm=settings.pitch_mm, group=part.leds_per_pixel, half_mm=package / 2)
    chambers = Chambers(zone_map, box, package / 2)
    beam = _half_angles(part, settings)
    findings = [*_package_findings(part), *_beam_findings(part, settings)]
    way = np.array([1.0, 0.0])
    if settings.arrangement == "board":
        laid = _on_board(chambers, pattern)
        extras, told = find_extras(chambers, zone_map, pattern, laid.cell)
        pieces = [laid, *extras]
    else:
        optics = usual_optics() if inside is None else box_optics(inside)
        quick = QuickLight(chambers, optics, exponent_of(beam[1]))
        pieces, way, told = _on_strip(
            zone_map, chambers, pattern, quick, singles=settings.singles == "auto"
        )
    findings += told
    if not any((piece.cell >= 0).any() for piece in pieces):
        raise QuantityError(
            "leds.part",
            f"no LED {package:g} mm wide fits any cell",
            "make the artwork wider, have fewer and larger cells (--merge like colours, --min-area against specks, an "
            "override that makes the fine part one zone), or use a thinner wall or a smaller package",
        )
    if settings.arrangement == "board":
        laid = together(pieces)
        laid = laid.taken(short_chain(laid.xy_mm))
        run = np.zeros(len(laid.xy_mm), np.int64)
    else:
        laid = uncrossed(joined(pieces))
        run = laid.runs(way, pattern.address_mm)
    zone = np.where(laid.cell >= 0, chambers.zone[laid.cell], -1).astype(np.int16)
    return Chain(
        arrangement=settings.arrangement,
        pitch_mm=pattern.address_mm,
        x_mm=read_only(np.ascontiguousarray(laid.xy_mm[:, 0])),
        y_mm=read_only(np.ascontiguousarray(laid.xy_mm[:, 1])),
        zone=read_only(zone),
        row=read_only(run.astype(np.int16)),
        findings=tuple(findings),
        group_xy_mm=None if pattern.group == 1 else read_only(laid.leds_mm),
        half_angle_deg=beam[1],
        cap_gain=_cap_gain(*beam),
    )


def _on_board(chambers: Chambers, pattern: Pattern) -> Laid:
    xy, cell = spread_leds(chambers, pattern.pitch_mm, pattern.group)
    leds, cell = grouped(xy, cell, pattern.group) if pattern.group > 1 else (xy[:, None], cell)
    return Laid(xy_mm=leds.mean(axis=1), cell=cell, leds_mm=leds)


def _on_strip(
    zone_map: ZoneMap, chambers: Chambers, pattern: Pattern, quick: QuickLight, *, singles: bool
) -> tuple[list[Laid], Floats, list[Finding]]:
    """Return pieces of strip and single LEDs, the rows' direction, and remarks."""
    rows = lay_rows(chambers, pattern, quick)
    loose = (
        loose_leds(
            chambers,
            quick,
            pattern.pitch_mm,
            (rows.xy_mm, rows.cell, rows.way),
            singles=singles,
        )
        if pattern.group == 1
        else []
    )
    pieces = cut_rows(rows, np.array([one.cell for one in loose], np.intp))
    parts = [
        Laid(
            xy_mm=rows.xy_mm[piece],
            cell=rows.cell[piece],
            leds_mm=pattern.members(rows.xy_mm[piece], rows.way),
        )
        for piece in pieces
    ]
    off_rows: list[Laid] = []
    for one in loose:
        order = short_chain(one.xy_mm)
        off_rows += [
            Laid(xy_mm=xy, cell=np.full(len(xy), one.cell, np.intp), leds_mm=xy[:, None])
            for xy in ([one.xy_mm[order]] if one.straight else one.xy_mm[order][:, None])
        ]
    extras, told = find_extras(chambers, zone_map, pattern, _cells([*parts, *off_rows]))
    off_rows += extras
    parts = clear_of(parts, off_rows, 2 * pattern.half_mm)
    findings = [
        *_row_findings(rows, _cells(parts), pattern.group),
        *_loose_findings(zone_map, chambers, loose),
        *told,
    ]
    return [*parts, *off_rows], rows.way, findings


def _cells(pieces: list[Laid]) -> NDArray[np.intp]:
    return np.concatenate([np.zeros(0, np.intp), *(piece.cell for piece in pieces)])


def _loose_findings(zone_map: ZoneMap, chambers: Chambers, loose: list[Loose]) -> list[Finding]:
    """Return a remark for each zone with LEDs off the rows, pieces of strip and singles apart."""
    groups: dict[tuple[int, bool], list[Loose]] = {}
    for one in loose:
        groups.setdefault((int(chambers.zone[one.cell]), one.straight), []).append(one)
    return [
        _loose_finding(f"zone {zone} {zone_map.zones[zone].name}", own, straight=straight)
        for (zone, straight), own in groups.items()
    ]


def _loose_finding(where: str, own: list[Loose], *, straight: bool) -> Finding:
    count = sum(len(one.xy_mm) for one in own)
    places = ["{:.0f}, {:.0f} mm".format(*one.xy_mm.mean(axis=0)) for one in own]
    more = f" and {len(places) - _MOST_TOLD} more" if len(places) > _MOST_TOLD else ""
    cells = "cell" if len(own) == 1 else f"{len(own)} cells"
    how = (
        f"{'a piece' if len(own) == 1 else f'{len(own)} pieces'} of strip, {count} LEDs in all, beside the rows"
        if straight
        else f"{count} LEDs cut off one by one and joined by wires"
    )
    return Finding(
        code="leds.own-piece" if straight else "leds.singles",
        where=where,
        message=f"{how} light{'s' if straight and len(own) == 1 else ''} its narrow {cells} around "
        f"{'; '.join(places[:_MOST_TOLD])}{more}: there darkest to brightest is about {_span([o.even for o in own])} "
        f"where the face's rows give {_span([o.rows_even for o in own])} (instant estimates; 'marquee light' has the "
        "model's)",
    )


def _span(values: list[float]) -> str:
    low, high = (f"{v:.2f}" for v in (min(values), max(values)))
    return low if low == high else f"{low} to {high}"


def _check_pitch(box: Box, part: Part, pitch_mm: float, package_mm: float) -> None:
    longest = max(box.width_mm, box.height_mm)
    if pitch_mm < package_mm:
        raise QuantityError(
            "leds.pitch",
            f"{pitch_mm:.4g} mm is less than the {package_mm:g} mm package of {part.name}",
            "use a larger pitch or a smaller part",
        )
    if pitch_mm > longest:
        raise QuantityError(
            "leds.pitch",
            f"{pitch_mm:.4g} mm is more than the face is long ({longest:.4g} mm)",
            "use a smaller pitch",
        )
    if package_mm > min(box.width_mm, box.height_mm):
        raise QuantityError(
            "leds.part",
            f"the {package_mm:g} mm package does not fit a face {min(box.width_mm, box.height_mm):.4g} mm high",
            "use a smaller part or check the artwork's width",
        )


def _package_findings(part: Part) -> list[Finding]:
    if part.package_mm is not None:
        return []
    return [
        Finding(
            code="leds.package-assumed",
            where=f"part {part.name}",
            message=f"its file gives no package size; {part.body_mm:g} mm (a 5050 package, from memory) is kept clear "
            "of walls: measure one and add package_mm",
        )
    ]


def _half_angles(part: Part, settings: LedSettings) -> tuple[float, float]:
    """Return the half angle of the bare LED, taken as Lambertian where its file gives none, and with its cap [°]."""
    bare = LAMBERTIAN_HALF_ANGLE_DEG if part.half_angle_deg is None else part.half_angle_deg
    return bare, bare if settings.half_angle_deg is None else settings.half_angle_deg


def _cap_gain(bare_deg: float, capped_deg: float) -> float:
    """Return a cap's intensity on axis over the bare LED's if it loses no light: the fluxes 2π I₀ / (m + 1) are equal."""
    return flux_lm(exponent_of(bare_deg)) / flux_lm(exponent_of(capped_deg))


def _beam_findings(part: Part, settings: LedSettings) -> list[Finding]:
    half_deg = _half_angles(part, settings)[1]
    low, high = _PLAIN_BEAMS_DEG
    if low <= half_deg <= high:
        return []
    rings = (
        "lenses so narrow often throw rings"
        if half_deg < low
        else "caps so wide often have a darker middle"
    )
    return [
        Finding(
            code="leds.beam",
            where=f"part {part.name}",
            message=f"the light is reckoned for a half angle of {half_deg:g}° that falls off as a power of the cosine; "
            f"{rings} (common practice, no source): look at a lit sample before building",
        )
    ]


def _row_findings(rows: Rows, cell: NDArray[np.intp], group: int) -> list[Finding]:
    findings = []
    if max(rows.across_mm, rows.along_mm) > _MOVED_MM:
        findings.append(
            Finding(
                code="leds.rows-shifted",
                where="rows",
                message=f"moved by up to {rows.along_mm:.1f} mm along and {rows.across_mm:.1f} mm across from even "
                "spacing about the middle, for more even light or more cells with an LED: lay them by leds.png",
            )
        )
    dark = int((cell < 0).sum())
    if dark:
        left_out, on_wall = len(rows.cell) - len(cell), rows.on_wall
        one = dark == 1
        notes = (
            [f"{on_wall} place{' meets' if on_wall == 1 else 's meet'} a wall"] if on_wall else []
        )
        if left_out:
            was = "was" if left_out == 1 else "were"
            notes.append(f"{left_out} {'more ' * bool(notes)}{was} not needed and left out")
        findings.append(
            Finding(
                code="leds.dark",
                where="strip",
                message=f"{dark} of {len(cell)} {'LEDs' if group == 1 else 'addresses'} {'stays' if one else 'stay'} dark, "
                f"on or beside a wall{'' if group == 1 else ', on both sides of one'} or out of reach of any aperture; "
                f"{'it draws its' if one else 'they draw their'} idle current{'. ' * bool(notes)}{', '.join(notes)}",
            )
        )
    return findings
