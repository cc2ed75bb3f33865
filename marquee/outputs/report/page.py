"""report.html: what the templates are filled with, and the policy that keeps the page off the network."""

from __future__ import annotations

import base64
import hashlib
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from marquee import __version__
from marquee.errors import printable
from marquee.outputs.header import FILE_NAME, header_text
from marquee.outputs.header_values import values_crc32
from marquee.outputs.names import base_name
from marquee.outputs.pictures.style import WIDTH_PX, size_text
from marquee.outputs.pictures.svg_sheet import SvgSheet
from marquee.outputs.pictures.wiring_diagram import diagram_height, draw_diagram
from marquee.outputs.plan_json import SCHEMA, settings_dict
from marquee.outputs.report.electrics import (
    alternatives_table,
    feeds_table,
    open_feeds_table,
    parts_table,
    supply_figures,
)
from marquee.outputs.report.face import draw_face
from marquee.outputs.report.shapes import number
from marquee.outputs.report.tables import colours_table, leds_table, walls_table, zones_table
from marquee.plan import Plan

if TYPE_CHECKING:
    from jinja2 import Environment

_TEMPLATES = Path(__file__).parent / "templates"
_STYLES = ("page.css", "face.css", "print.css")
_SCRIPTS = ("face.js", "zones.js", "page.js")
# Layers to switch: name in the drawing, what the switch says, whether it is on at first.
_LAYERS = (
    ("artwork", "Artwork", False),
    ("zones", "Zones", True),
    ("cells", "Cells", False),
    ("walls", "Walls", True),
    ("leds", "LEDs", True),
    ("wiring", "Wiring", False),
)


def report_html(plan: Plan) -> str:
    """Return report.html: one page with the face, tables, wiring, parts and constants, all in one file."""
    environment = _environment()
    style = "\n".join(_read(name) for name in _STYLES)
    dark = _read("dark.css")
    script = "\n".join(("(function () {", '"use strict";', *map(_read, _SCRIPTS), "})();"))
    page = environment.get_template("report.html.j2").render(
        **_context(plan),
        style=style,
        dark=dark,
        script=script,
        policy=_policy((style, dark), script),
    )
    return page.rstrip("\n") + "\n"


def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    environment.filters["mm"] = number
    return environment


def _read(name: str) -> str:
    return (_TEMPLATES / name).read_text(encoding="utf-8").rstrip("\n")


def _policy(styles: tuple[str, ...], script: str) -> str:
    """Return the Content-Security-Policy: nothing but this file's own style, script and embedded pictures."""
    return (
        f"default-src 'none'; style-src {' '.join(_digest(s) for s in styles)}; "
        f"script-src {_digest(script)}; img-src data:; base-uri 'none'; form-action 'none'"
    )


def _digest(text: str) -> str:
    """Return the source expression of an inline text, as CSP Level 3, section 2.3.1, has it."""
    digest = base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")
    return f"'sha256-{digest}'"


def _context(plan: Plan) -> dict[str, Any]:
    power = plan.power
    tables = (open_feeds_table(power), alternatives_table(power))
    return {
        "title": printable(base_name(plan.artwork.file)),
        "facts": _facts(plan),
        "face": draw_face(plan),
        "layers": _LAYERS,
        "zones": [(zone.id, printable(zone.name)) for zone in plan.zone_map.zones],
        "zones_table": zones_table(plan),
        "colours_table": colours_table(plan),
        "walls_table": walls_table(plan),
        "leds_table": leds_table(plan),
        "supply": supply_figures(plan),
        "feeds_table": feeds_table(plan),
        "more_power_tables": [table for table in tables if table is not None],
        "parts_table": parts_table(plan),
        "findings": [(printable(f.where), printable(f.message), f.code) for f in plan.findings],
        "cautions": [_caution(printable(text)) for text in power.cautions],
        "reckoning": [printable(text) for text in power.notes],
        "sources": [printable(text) for text in power.cites],
        "diagram": _diagram(plan),
        "constants": header_text(plan),
        "constants_file": FILE_NAME,
        "about": _about(plan),
        "settings": _settings(plan),
    }


def _facts(plan: Plan) -> list[str]:
    zones, walls, supply = len(plan.zone_map.zones), len(plan.box.walls), plan.power.supply
    several = f"{supply.count} × " if supply.count > 1 else ""
    return [
        size_text(plan.zone_map.width_mm, plan.zone_map.height_mm),
        f"{zones} zone{'' if zones == 1 else 's'}",
        f"{walls} wall{'' if walls == 1 else 's'}" if walls else "no walls",
        f"{plan.chain.count} × {printable(plan.part.title)}",
        f"supply {several}{supply.volts:g} V, {supply.amps:g} A",
        f"as planned {plan.power.planned_a:.2f} A",
    ]


def _caution(text: str) -> tuple[str, str]:
    """Return a caution's word in capitals, "" where it has none, and the rest."""
    word, colon, rest = text.partition(": ")
    return (word, rest) if colon and word.isupper() else ("", text)


def _diagram(plan: Plan) -> str:
    sheet = SvgSheet(WIDTH_PX, diagram_height(plan.power))
    draw_diagram(sheet, plan, 0)
    return "data:image/svg+xml," + quote(sheet.svg(), safe=" /:=,;()!*@$'")


def _about(plan: Plan) -> list[tuple[str, str]]:
    art, firmware = plan.artwork, plan.budget
    settings = settings_dict(plan)
    rows = [
        ("Made by", f"marquee {__version__}, plan schema {SCHEMA}"),
        ("Artwork", f"{printable(base_name(art.file))}, {art.width_px} × {art.height_px} px"),
        ("SHA-256 of the artwork", art.sha256),
        ("LED part", f"{printable(plan.part.name)}: {printable(plan.part.title)}"),
    ]
    for name, section, key in (
        ("Palette", "zones", "palette"),
        ("Calibration", "colour", "calibration"),
    ):
        if isinstance(settings[section][key], str):
            rows.append((name, settings[section][key]))
    rows += [
        ("CRC-32 of the constants", f"0x{values_crc32(plan.constants):08X}"),
        (
            "Controller",
            f"{firmware.controller}: {firmware.flash_bytes} B of tables, {firmware.ram_bytes} B of RAM, "
            f"{firmware.frame_ms:.2f} ms a frame",
        ),
    ]
    return rows


def _settings(plan: Plan) -> list[tuple[str, list[tuple[str, str]]]]:
    return [
        (section, [(key, _shown(value)) for key, value in values.items()])
        for section, values in settings_dict(plan).items()
        if isinstance(values, dict)
    ]


def _shown(value: object) -> str:
    if value is None or value in ([], {}, ""):
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    return printable(f"{value}")
