"""Colours of the artwork to targets: the palette's exact ones where they match, else as the pixels have it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from marquee.artwork.names import free_name, plain_name
from marquee.colour.difference import delta_e_2000
from marquee.colour.spaces import srgb_8bit_to_lab_d65
from marquee.colour.target import target_from_srgb_8bit
from marquee.errors import Finding, printable
from marquee.values import TargetColour

# A screen's version of a brand colour is rarely nearer to the print guide's than this (common practice,
# no source); farther off, another colour is meant.
SNAP_DELTA_E = 10.0


def snap_colours(
    rgb: NDArray[np.float64], area_mm2: list[float], palette: tuple[TargetColour, ...]
) -> tuple[tuple[TargetColour, ...], tuple[Finding, ...]]:
    """Return one target per artwork colour, and which matched what.

    Parameters
    ----------
    rgb : (n, 3)
        The artwork's colours in 8-bit sRGB codes.
    area_mm2 : list of float
        Their areas.
    palette : tuple of TargetColour
        Each is used for at most one colour of the artwork, nearest pairs first.
    """
    match = _match(srgb_8bit_to_lab_d65(rgb), palette)
    taken = {p.name for p in palette}
    targets = []
    findings = []
    for k, codes in enumerate(rgb):
        if k in match:
            guide, delta_e = match[k]
            targets.append(replace(palette[guide], area_mm2=area_mm2[k]))
            if delta_e > 3:
                findings.append(_far_match(codes, palette[guide], delta_e))
            continue
        name = plain_name(codes, taken)
        taken.add(name)
        rounded = np.rint(np.clip(codes, 0, 255)).astype(np.uint8)
        targets.append(target_from_srgb_8bit(rounded, name, area_mm2=area_mm2[k]))
    findings += _left_over(targets, palette, {guide for guide, _ in match.values()})
    return tuple(targets), tuple(findings)


def _match(
    lab: NDArray[np.float64], palette: tuple[TargetColour, ...]
) -> dict[int, tuple[int, float]]:
    """Return artwork colour → (palette colour, CIEDE2000), each used once, nearest first."""
    if not palette or not len(lab):
        return {}
    guide = np.array([p.lab_d65 for p in palette])
    distance = delta_e_2000(lab[:, None, :], guide[None, :, :])
    match: dict[int, tuple[int, float]] = {}
    used: set[int] = set()
    for place in np.argsort(distance, axis=None, kind="stable").tolist():
        k, g = divmod(place, len(palette))
        if distance[k, g] > SNAP_DELTA_E:
            break
        if k not in match and g not in used:
            match[k] = (g, float(distance[k, g]))
            used.add(g)
    return match


def _far_match(codes: NDArray[np.float64], guide: TargetColour, delta_e: float) -> Finding:
    shown = target_from_srgb_8bit(np.rint(codes).astype(np.uint8), "").srgb
    message = (
        f"{shown} in the artwork was taken as '{printable(guide.name)}' ({guide.srgb}), CIEDE2000 {delta_e:.1f} "
        "away; the palette's colour is what will be lit. Correct artwork or palette if another is meant"
    )
    return Finding(code="zones.palette-far", where=f"colour {guide.name}", message=message)


def _left_over(
    targets: list[TargetColour], palette: tuple[TargetColour, ...], used: set[int]
) -> list[Finding]:
    if not palette:
        return []
    findings = []
    strange = [f"{t.name} {t.srgb}" for t in targets if t.origin == "artwork"]
    if strange:
        message = (
            f"no palette colour within CIEDE2000 {SNAP_DELTA_E:g} of {', '.join(strange)}: lit as the artwork "
            "has it. Add it to the palette or correct the artwork"
        )
        findings.append(Finding(code="zones.not-in-palette", where="palette", message=message))
    idle = [printable(p.name) for g, p in enumerate(palette) if g not in used]
    if idle:
        message = f"palette colours not in the artwork: {', '.join(idle)}"
        findings.append(Finding(code="zones.palette-unused", where="palette", message=message))
    return findings


def add_colour(
    targets: list[TargetColour], stated: TargetColour
) -> tuple[list[TargetColour], int]:
    """Return the targets with a stated colour, and its index; an equal one already there is reused."""
    for k, known in enumerate(targets):
        if known.xyz == stated.xyz:
            return targets, k
    name = free_name(stated.name, {t.name for t in targets})
    return [*targets, replace(stated, name=name)], len(targets)
