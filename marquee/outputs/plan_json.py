"""plan.json, schema 1: the plan for other programs. Keys may be added, none removed or changed in meaning."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from marquee import __version__
from marquee.errors import printable
from marquee.outputs.clean import clean
from marquee.outputs.colours import spread_dict
from marquee.outputs.cut_json import cut_dict
from marquee.outputs.names import base_name
from marquee.outputs.power_json import power_dict
from marquee.plan import Plan
from marquee.project import FILE_KEYS
from marquee.values import Zone, ZoneLight

SCHEMA = 1


def plan_json(plan: Plan) -> str:
    """Return plan.json's text: finite numbers only, absent means null, identical for identical input."""
    return json.dumps(clean(plan_dict(plan)), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def plan_dict(plan: Plan) -> dict[str, Any]:
    """Return plan.json's content as nested dicts and lists (units in the key names)."""
    art = plan.artwork
    return {
        "schema": SCHEMA,
        "marquee": __version__,
        "inputs": {
            "artwork": {
                "file": printable(art.file),
                "sha256": art.sha256,
                "width_px": art.width_px,
                "height_px": art.height_px,
            },
            "settings": settings_dict(plan),
        },
        "face": {
            "width_mm": art.width_mm,
            "height_mm": art.height_mm,
            "mm_per_px": art.mm_per_px,
            "colour": plan.zone_map.face_srgb,
        },
        "colours": [
            {
                "name": c.name,
                "srgb": c.srgb,
                "lab_d65": c.lab_d65,
                "origin": c.origin,
                "area_mm2": c.area_mm2,
            }
            for c in plan.zone_map.colours
        ],
        "zones": _zones(plan),
        "adjacent": [
            {"zones": a.zones, "gap_mm": a.gap_mm, "touching": a.touching}
            for a in plan.zone_map.adjacent
        ],
        "barriers": _barriers(plan),
        "cut": cut_dict(plan.cut) if plan.cut.width_mm else None,
        "leds": _leds(plan),
        "power": power_dict(plan.power),
        "firmware": _firmware(plan),
        "warnings": [
            {"code": f.code, "where": printable(f.where), "message": printable(f.message)}
            for f in plan.findings
        ],
    }


def settings_dict(plan: Plan) -> dict[str, Any]:
    """Return the resolved project; file names without their folders, so that a plan can be shared."""
    settings: dict[str, Any] = plan.project.model_dump(mode="json")
    for section, key in FILE_KEYS:
        name = settings[section][key]
        if isinstance(name, str):
            settings[section][key] = printable(base_name(name))
    return settings


def _zones(plan: Plan) -> list[dict[str, Any]]:
    light = {z.zone: z for z in plan.light.zones}
    planned_a = dict(plan.power.zones_planned_a)
    return [
        {**_zone(plan, zone, light.get(zone.id)), "planned_a": planned_a.get(zone.id)}
        for zone in plan.zone_map.zones
    ]


def _zone(plan: Plan, zone: Zone, light: ZoneLight | None) -> dict[str, Any]:
    drive = next((d for d in plan.drive.zones if d.zone == zone.id), None)
    colour = plan.zone_map.colours[zone.colours[0]] if zone.colours else None
    return {
        "id": zone.id,
        "name": zone.name,
        "colour": colour.name if colour else None,
        "srgb": colour.srgb if colour else None,
        "kind": zone.kind,
        "mode": zone.mode,
        "reason": zone.reason or None,
        "colours": [plan.zone_map.colours[i].name for i in zone.colours],
        "apertures": len(zone.apertures),
        "area_mm2": zone.area_mm2,
        "bbox_mm": zone.bbox_mm,
        "leds": np.flatnonzero(plan.chain.zone == zone.id).tolist(),
        "drive": drive.codes if drive else None,
        "global_current": drive.global_code if drive else None,
        "predicted_lab_d65": drive.predicted_lab_d65 if drive else None,
        "delta_e_2000": drive.delta_e_2000 if drive else None,
        "spread": spread_dict(drive.spread) if drive and drive.spread else None,
        "band_delta_e_2000": drive.band_delta_e_2000 if drive else None,
        "band_matched_delta_e_2000": drive.band_matched_delta_e_2000 if drive else None,
        "in_gamut": drive.in_gamut if drive else None,
        "luminance_cd_m2": light.luminance_cd_m2 if light else None,
        "evenness": {
            "min_over_mean": light.min_over_mean if light else None,
            "min_over_max": light.min_over_max if light else None,
        },
        "worst_mm": light.worst_mm if light else None,
        "bleed": light.bleed if light else None,
        "bleed_from": [{"zone": z, "share": s} for z, s in light.bleed_from] if light else None,
        "bleed_delta_e_2000": light.bleed_delta_e_2000 if light else None,
    }


def _barriers(plan: Plan) -> dict[str, Any]:
    return {
        "wall_thickness_mm": plan.box.wall_thickness_mm,
        "wall_height_mm": plan.box.wall_height_mm,
        "total_length_mm": plan.box.total_length_mm,
        "walls": [
            {
                "id": w.id,
                "zones": w.zones,
                "path_mm": w.path_mm,
                "length_mm": w.length_mm,
                "slots_mm": w.slots_mm,
            }
            for w in plan.box.walls
        ],
        "gaps": [
            {
                "zones": g.zones,
                "at_mm": g.at_mm,
                "gap_mm": g.gap_mm,
                "length_mm": g.length_mm,
                "add_mm": g.add_mm,
                "add_clear_mm": g.add_clear_mm,
            }
            for g in plan.box.gaps
        ],
    }


def _calibrated(plan: Plan) -> dict[str, str] | None:
    known = plan.part.calibrated
    if known is None:
        return None
    return {"on": printable(known.name), "by": known.summary}


def _leds(plan: Plan) -> dict[str, Any]:
    chain = plan.chain
    return {
        "part": plan.part.name,
        "calibrated": _calibrated(plan),
        "arrangement": chain.arrangement,
        "pitch_mm": chain.pitch_mm,
        "count": chain.count,
        "lit": int((chain.zone >= 0).sum()),
        "x_mm": chain.x_mm.tolist(),
        "y_mm": chain.y_mm.tolist(),
        "zone": chain.zone.tolist(),
        "row": chain.row.tolist(),
    }


def _firmware(plan: Plan) -> dict[str, Any]:
    budget = plan.budget
    return {
        "controller": budget.controller,
        "flash_bytes": budget.flash_bytes,
        "ram_bytes": budget.ram_bytes,
        "frame_ms": budget.frame_ms,
        "max_frames_per_s": budget.max_frames_per_s,
    }
