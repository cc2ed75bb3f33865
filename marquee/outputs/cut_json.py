"""The flat parts and sheets for plan.json."""

from __future__ import annotations

from typing import Any

from marquee.values_cut import CutPlan, Strip


def cut_dict(cut: CutPlan) -> dict[str, Any]:
    """Return what is cut as nested dicts and lists (units in the key names)."""
    return {
        "sheet_count": len(cut.sheets),
        "sheets": [
            {
                "width_mm": sheet.width_mm,
                "height_mm": sheet.height_mm,
                "parts": [
                    {"part": cut.flat_parts[p.strip].part, "x_mm": p.x_mm, "y_mm": p.y_mm}
                    for p in sheet.parts
                ],
            }
            for sheet in cut.sheets
        ],
        "parts": [_part(strip) for strip in cut.flat_parts],
        "face": {"openings": len(cut.openings), "islands": len(cut.islands)},
        "print_pieces": len(cut.print_pieces_mm) or int(bool(cut.strips)),
    }


def _part(strip: Strip) -> dict[str, Any]:
    return {
        "part": strip.part,
        "walls": strip.walls,
        "length_mm": strip.length_mm,
        "height_mm": strip.height_mm,
        "folds": len(strip.folds),
        "slots": len(strip.slots),
        "notches": len(strip.notches),
    }
