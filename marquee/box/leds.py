"""Cells to chain: where the LEDs lie, which zone each lights, and in which order data passes them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.box.board import short_chain, spread_leds
from marquee.box.chambers import Chambers
from marquee.box.extras import add_extras
from marquee.box.ground import Floats
from marquee.box.light_beam import LAMBERTIAN_HALF_ANGLE_DEG, exponent_of, flux_lm
from marquee.box.rows import Rows, cut_rows, lay_rows
from marquee.errors import Finding, QuantityError
from marquee.project import LedSettings
from marquee.values import Box, Chain, Part, ZoneMap, read_only

# Side of a 5050 package, taken where the part's file gives none (from memory).
_PACKAGE_MM = 5.0
# Beyond these half angles real lenses and caps differ most from a power of the cosine: rings and dark middles
# (common practice, no source).
_PLAIN_BEAMS_DEG = (25.0, 70.0)


def place_leds(zone_map: ZoneMap, box: Box, part: Part, settings: LedSettings) -> Chain:
    """Return the LEDs in data order, each lit one wholly inside one cell.

    Parameters
    ----------
    zone_map : ZoneMap
    box : Box
    part : Part
        `package_mm` is kept clear of walls.
    settings : LedSettings
        Pitch [mm] and arrangement: rows of strip, or free places on a board.

    Raises
    ------
    QuantityError
        The pitch is smaller than the package or larger than the face, or no LED fits any cell.
    """
    package = _PACKAGE_MM if part.package_mm is None else part.package_mm
    _check_pitch(box, part, settings.pitch_mm, package)
    # A part that lights several LEDs by one address is laid address by address, each a point at its middle.
    pitch_mm = settings.pitch_mm * part.leds_per_pixel
    chambers = Chambers(zone_map, box, package / 2)
    findings = [
        *_package_findings(part),
        *_group_findings(part, pitch_mm),
        *_beam_findings(part, settings),
    ]
    if settings.arrangement == "board":
        xy, cell = spread_leds(chambers, pitch_mm)
        run = np.zeros(len(xy), np.int64)
    else:
        rows = lay_rows(chambers, pitch_mm)
        xy, cell, run = cut_rows(rows)
        findings += _row_findings(rows, cell)
    xy, cell, run, extra = add_extras(chambers, zone_map, xy, cell, run)
    findings += extra
    if not (cell >= 0).any():
        raise QuantityError(
            "leds.part",
            f"no LED {package:g} mm wide fits any cell",
            "use a smaller package, a thinner wall or a wider artwork",
        )
    if settings.arrangement == "board":
        order = short_chain(xy)
        xy, cell = xy[order], cell[order]
        run = np.zeros(len(xy), np.int64)
    stated = settings.model_copy(update={"pitch_mm": pitch_mm})
    return _chain(chambers, stated, xy, cell, run, findings, _half_angles(part, settings))


def _chain(
    chambers: Chambers,
    settings: LedSettings,
    xy: Floats,
    cell: NDArray[np.intp],
    run: NDArray[np.int64],
    findings: list[Finding],
    beam: tuple[float, float],
) -> Chain:
    zone = np.where(cell >= 0, chambers.zone[cell], -1).astype(np.int16)
    return Chain(
        arrangement=settings.arrangement,
        pitch_mm=settings.pitch_mm,
        x_mm=read_only(np.ascontiguousarray(xy[:, 0])),
        y_mm=read_only(np.ascontiguousarray(xy[:, 1])),
        zone=read_only(zone),
        row=read_only(run.astype(np.int16)),
        findings=tuple(findings),
        half_angle_deg=beam[1],
        cap_gain=_cap_gain(*beam),
    )


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
            message=f"its file gives no package size; {_PACKAGE_MM:g} mm (a 5050 package, from memory) is kept clear "
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


def _group_findings(part: Part, pitch_mm: float) -> list[Finding]:
    if part.leds_per_pixel == 1:
        return []
    return [
        Finding(
            code="leds.grouped",
            where=f"part {part.name}",
            message=f"lights {part.leds_per_pixel} LEDs by one address: addresses lie {pitch_mm:.4g} mm apart along "
            "and across, each reckoned as one point at its middle; the light between them is more even than shown",
        )
    ]


def _row_findings(rows: Rows, cell: NDArray[np.intp]) -> list[Finding]:
    findings = []
    if rows.shift_mm != (0.0, 0.0):
        along, across = rows.shift_mm
        findings.append(
            Finding(
                code="leds.rows-shifted",
                where="rows",
                message=f"moved {along:+.1f} mm along and {across:+.1f} mm across from the middle, so that more "
                "cells get an LED or fewer LEDs meet walls",
            )
        )
    dark = int((cell < 0).sum())
    if dark:
        left_out = len(rows.cell) - len(cell)
        trimmed = f", {left_out} more were not needed and left out" if left_out else ""
        findings.append(
            Finding(
                code="leds.dark",
                where="strip",
                message=f"{dark} of {len(cell)} LEDs stay dark, on or beside a wall or out of reach of any aperture; "
                f"they draw their idle current. {rows.on_wall} places meet a wall{trimmed}",
            )
        )
    return findings
