"""Plans whose pages are looked at: the demo, a sign of hostile names, and a crowd of zones and LEDs."""

from __future__ import annotations

import json
import tempfile
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from marquee.demo import demo_folder
from marquee.errors import Finding
from marquee.firmware import choose_constants
from marquee.plan import Plan, make_plan
from marquee.project import make_project, read_project
from marquee.values import Aperture, Zone, ZoneMap
from tests.pictures import electrics
from tests.pictures.crowded import crowded_plan

# What a maker's file may say: markup, quotes, a right-to-left name, controls and bidi marks, one endless word.
HOSTILE = (
    "</script><script>window.hit=1</script>",
    "\"><img src=x onerror='window.hit=2'>",
    "שלט עברי",
    "bell\u0007 \u202eturned \u2066on",
    "W" * 80,
)
_COLOURS = ("#e63c3c", "#faf0c8", "#3c96f0", "#50c878", "#ffb020")


@lru_cache(maxsize=1)
def demo_plan() -> Plan:
    """Return the packaged demo's plan."""
    with demo_folder() as folder:
        return make_plan(read_project(folder / "project.toml"))


@lru_cache(maxsize=1)
def hostile_plan() -> Plan:
    """Return the plan of a small sign in whose every free text lies something a page must not obey."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        artwork = folder / "<b>'sign' & \"co\" <img src=x onerror=window.hit=3>.png"
        image = Image.new("RGB", (600, 150), "black")
        draw = ImageDraw.Draw(image)
        for number, colour in enumerate(_COLOURS):
            draw.rectangle((120 * number + 15, 25, 120 * number + 105, 125), fill=colour)
        image.save(artwork)
        rows = [
            f'[[colour]]\nname = {json.dumps(text)}\nvalue = "{colour}"\n'
            for text, colour in zip(HOSTILE, _COLOURS, strict=True)
        ]
        palette = folder / "palette.toml"
        palette.write_text("schema = 1\nname = 'x'\n" + "".join(rows), encoding="utf-8")
        project = make_project(
            {
                "artwork": {"file": str(artwork), "width": "200mm"},
                "zones": {"palette": str(palette)},
                "power": {
                    "currency": "<i>&'\"",
                    "prices": {"supply": 20.0, "wire_m": 0.8, "strip_m": 12.5},
                    "tariff_per_kwh": 0.3,
                },
            },
            "test",
        )
        plan = make_plan(project)
    said = tuple(Finding(code="test.name", where=name, message=name) for name in HOSTILE)
    return replace(plan, findings=(*plan.findings, *said))


@lru_cache(maxsize=1)
def crowd() -> Plan:
    """Return a plan of 60 zones, 55 walls and 1,560 LEDs; its electrics fit together, no more."""
    plan = crowded_plan()
    drive = electrics.drive(plan.zone_map)
    power = electrics.power(plan.chain.count)
    constants = choose_constants(plan.zone_map, plan.chain, plan.part, drive, power)
    return replace(plan, drive=drive, power=power, constants=constants)


def touching_map(zone_of_px: NDArray[np.int16]) -> ZoneMap:
    """Return a map of zones of one aperture each, at a millimetre a pixel."""
    zones, apertures = [], []
    for zone in range(int(zone_of_px.max()) + 1):
        rows, columns = np.nonzero(zone_of_px == zone)
        bounds = (columns.min(), rows.min(), columns.max() + 1, rows.max() + 1)
        bbox = tuple(float(v) for v in bounds)
        assert len(bbox) == 4
        apertures.append(
            Aperture(
                id=zone,
                zone=zone,
                colour=-1,
                area_mm2=float(len(rows)),
                bbox_mm=bbox,
                centroid_mm=(float(columns.mean()), float(rows.mean())),
            )
        )
        zones.append(
            Zone(
                id=zone,
                name=f"zone {zone}",
                kind="solid",
                mode="steady",
                colours=(),
                apertures=(zone,),
                area_mm2=float(len(rows)),
                bbox_mm=bbox,
            )
        )
    return ZoneMap(
        zone_of_px=zone_of_px,
        aperture_of_px=zone_of_px.astype(np.int32),
        mm_per_px=1.0,
        face_srgb="#000000",
        colours=(),
        zones=tuple(zones),
        apertures=tuple(apertures),
        adjacent=(),
    )
