"""What the maker should know before cutting."""

from __future__ import annotations

import dataclasses

from marquee.box.cut_nesting import sheet_mm
from marquee.errors import Finding
from marquee.project_cut import CutSettings
from marquee.values import ZoneMap
from marquee.values_cut import CutPlan

# Coarser artwork gives sharp tips to no better than a tenth of a millimetre (measured on circles, squares and stars:
# tests/bench/bench_drawings.py).
_COARSE_MM = 0.3
# A notch this many times as long as it is wide across a wall means that the row runs along under the wall.
_ALONG = 3.0
# Parts shorter than this are fiddly [mm] (common practice, no source).
_SHORT_MM = 8.0


def cut_remarks(
    plan: CutPlan, settings: CutSettings, zone_map: ZoneMap, before: tuple[Finding, ...]
) -> CutPlan:
    """Return the plan with its findings; `before` are those of the islands."""
    found = [*before, *_face_edge(plan), *_coarse(zone_map), *_sheets(plan, settings)]
    found += [*_along(plan, settings), *_high(plan), *_short(plan)]
    return dataclasses.replace(plan, findings=tuple(found))


def _face_edge(plan: CutPlan) -> list[Finding]:
    open_at = []
    for opening in plan.openings:
        x = [p[0] for p in opening.outline.flat_mm]
        y = [p[1] for p in opening.outline.flat_mm]
        reach = min(*x, *y, plan.width_mm - max(x), plan.height_mm - max(y))
        if reach < 0.05:
            open_at.append(f"({sum(x) / len(x):.0f}, {sum(y) / len(y):.0f})")
    if not open_at:
        return []
    message = (
        f"{len(open_at)} opening{'' if len(open_at) == 1 else 's'} of the face reach its edge (at {', '.join(open_at[:6])} mm): "
        "the face has no rim there; add a border to the artwork, or fix the pieces to the diffuser"
    )
    return [Finding(code="cut.no-rim", where="face", message=message)]


def _coarse(zone_map: ZoneMap) -> list[Finding]:
    if zone_map.mm_per_px <= _COARSE_MM:
        return []
    message = (
        f"a pixel of the artwork is {zone_map.mm_per_px:.2g} mm: cut lines follow its edges to about "
        f"{zone_map.mm_per_px / 3:.2g} mm; use a larger picture for smoother ones"
    )
    return [Finding(code="cut.coarse-artwork", where="artwork", message=message)]


def _sheets(plan: CutPlan, settings: CutSettings) -> list[Finding]:
    grown = [
        (max(sides), min(sides))
        for sides in ((s.width_mm, s.height_mm) for s in plan.sheets)
        if max(sides) > sheet_mm(settings)[0] + 1e-6 or min(sides) > sheet_mm(settings)[1] + 1e-6
    ]
    if not grown:
        return []
    message = (
        f"parts {max(s.height_mm for s in plan.flat_parts):g} mm high do not fit on {settings.sheet_width_mm:g} × "
        f"{settings.sheet_height_mm:g} mm; drawn on {grown[0][0]:.0f} × {grown[0][1]:.0f} mm. "
        "State a larger sheet or a shallower box"
    )
    return [Finding(code="cut.sheet-too-small", where="cut.sheet_height", message=message)]


def _along(plan: CutPlan, settings: CutSettings) -> list[Finding]:
    long = [
        (strip.part, notch)
        for strip in plan.strips
        for notch in strip.notches
        if notch.width_mm > _ALONG * settings.notch_width_mm
    ]
    if not long:
        return []
    worst = max(long, key=lambda item: item[1].width_mm)
    names = ", ".join(sorted({part for part, _ in long})[:8])
    message = (
        f"LED rows run along under {names}: the longest opening is {worst[1].width_mm:.0f} mm (row {worst[1].row} "
        f"under {worst[0]}), and light passes there. Shift the rows or stand the wall beside the strip"
    )
    return [Finding(code="cut.row-along-wall", where=worst[0], message=message)]


def _high(plan: CutPlan) -> list[Finding]:
    if plan.notch_height_mm <= plan.wall_height_mm / 3 or not any(s.notches for s in plan.strips):
        return []
    message = (
        f"notches {plan.notch_height_mm:g} mm high leave little of walls {plan.wall_height_mm:g} mm high; "
        "lower them or make the box deeper"
    )
    return [Finding(code="cut.notch-high", where="cut.notch_height", message=message)]


def _short(plan: CutPlan) -> list[Finding]:
    short = [s.part for s in plan.strips if s.length_mm < _SHORT_MM]
    if not short:
        return []
    listed = ", ".join(short[:12]) + (f" and {len(short) - 12} more" if len(short) > 12 else "")
    message = (
        f"{len(short)} part{'' if len(short) == 1 else 's'} shorter than {_SHORT_MM:g} mm ({listed}) are hard to hold: "
        "fill these gaps with opaque sealant or card, or print the walls (barriers.stl)"
    )
    return [Finding(code="cut.short-part", where=short[0], message=message)]
