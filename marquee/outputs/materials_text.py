"""The materials of the box in words and as JSON: every figure with its range, status and source."""

from __future__ import annotations

import textwrap
from typing import Any

from marquee.box.materials import Diffuser, Materials, Surface
from marquee.errors import printable
from marquee.outputs.words import WIDTH, wrapped
from marquee.values import Figure

_OWN = (
    'Your own measured value goes before any row, in the project file or as a flag: [box] reflectance = "85%" '
    '(--reflectance) for the surfaces, transmittance = "52%" (--transmittance) for the diffuser; give diffuser the row '
    "nearest to yours, for its thickness and for what it absorbs. Transmittance: a light meter facing an overcast sky or a "
    "large lamp shade, then with the sheet close over its window; the readings' ratio. Reflectance: the meter's reading of your surface over "
    "that of a white of known reflectance in the same light (common practice, no source)."
)


def materials_text(materials: Materials) -> str:
    """Return all rows as tables with their sources below each, and how an own value is given."""
    lines = ["Surfaces inside the box ([box] paint, --paint)", ""]
    lines.append(f"  {'name':<22} {'reflects':>9} {'range':>13}  what it is")
    for surface in materials.surfaces.values():
        lines += _surface(surface)
    lines += ["", "Diffusers ([box] diffuser, --diffuser)", ""]
    lines.append(f"  {'name':<22} {'passes':>9} {'range':>13} {'reflects':>9}  what it is")
    for diffuser in materials.diffusers.values():
        lines += _diffuser(diffuser)
    return "\n".join([*lines, "", *textwrap.wrap(_OWN, WIDTH)])


def _surface(surface: Surface) -> list[str]:
    figure = surface.figures["reflectance"]
    span = _range(surface, "reflectance")
    head = f"  {surface.name:<22} {surface.reflectance:>9.0%} {span:>13}  {surface.title}"
    return [printable(head), *_source(figure)]


def _diffuser(diffuser: Diffuser) -> list[str]:
    figure = diffuser.figures["transmittance"]
    head = (
        f"  {diffuser.name:<22} {diffuser.transmittance:>9.1%} {_range(diffuser, 'transmittance'):>13} "
        f"{diffuser.reflectance:>9.1%}  {diffuser.title}"
    )
    return [
        printable(head),
        *_source(figure),
        *_source(diffuser.figures["reflectance"], "reflects: "),
    ]


def _range(material: Surface | Diffuser, key: str) -> str:
    low, high = material.ranges[key]
    return f"{low:.0%} to {high:.0%}"


def _source(figure: Figure, before: str = "") -> list[str]:
    text = f"{before}{figure.source} [{figure.status}]" + (
        f"; {figure.note}" if figure.note else ""
    )
    return wrapped(" " * 6, text)


def materials_dict(materials: Materials) -> dict[str, Any]:
    """Return all rows for JSON."""
    return {
        "surfaces": [
            {"name": s.name, "title": s.title, "figures": _figures(s)}
            for s in materials.surfaces.values()
        ],
        "diffusers": [
            {
                "name": d.name,
                "title": d.title,
                "thickness_mm": d.thickness_mm,
                "figures": _figures(d),
            }
            for d in materials.diffusers.values()
        ],
    }


def _figures(material: Surface | Diffuser) -> dict[str, Any]:
    return {
        key: {
            "value": f.value,
            "low": material.ranges[key][0],
            "high": material.ranges[key][1],
            "unit": f.unit,
            "status": f.status,
            "source": f.source,
            "note": f.note or None,
        }
        for key, f in material.figures.items()
    }
