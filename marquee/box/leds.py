"""Cells to chain: where the LEDs lie, which zone each lights, and in which order data passes them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.box.board import short_chain, spread_leds
from marquee.box.chambers import Chambers
from marquee.box.extras import add_extras
from marquee.box.ground import Floats
from marquee.box.rows import Rows, cut_rows, lay_rows
from marquee.errors import Finding, QuantityError
from marquee.project import LedSettings
from marquee.values import Box, Chain, Part, ZoneMap, read_only

# Side of a 5050 package, taken where the part's file gives none (from memory).
_PACKAGE_MM = 5.0
# A Lambertian source falls to half its axial intensity at 60°: cos 60° = 1/2.
_MODEL_HALF_ANGLE_DEG = 60.0


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
        *_beam_findings(part),
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
    return _chain(
        chambers, settings.model_copy(update={"pitch_mm": pitch_mm}), xy, cell, run, findings
    )


def _chain(
    chambers: Chambers,
    settings: LedSettings,
    xy: Floats,
    cell: NDArray[np.intp],
    run: NDArray[np.int64],
    findings: list[Finding],
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


def _beam_findings(part: Part) -> list[Finding]:
    half_deg = part.half_angle_deg
    if half_deg is None or abs(half_deg - _MODEL_HALF_ANGLE_DEG) < 1:
        return []
    narrower = half_deg < _MODEL_HALF_ANGLE_DEG
    return [
        Finding(
            code="leds.beam",
            where=f"part {part.name}",
            message=f"its half angle is {half_deg:g}°, the light is reckoned for {_MODEL_HALF_ANGLE_DEG:g}°: expect "
            f"{'brighter spots above the LEDs' if narrower else 'softer spots'} than shown, and check with a lit sample",
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
