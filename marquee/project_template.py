"""A project file to start from, written out of the settings themselves so that it cannot go stale."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Mapping
from types import MappingProxyType

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from marquee.project import Project

_EXAMPLES = {
    "palette": '"palette.toml"',
    "calibration": '"calibration.toml"',
    "transmittance": '"55%"',
    "reflectance": '"80%"',
    "supply": '"5V/4A"',
    "rail_ohm_per_m": "0.37",
    "efficiency": '"83%"',
    "tariff_per_kwh": "0.30",
    "wire_size": '"18AWG"',
    "hours_per_day": "8",
    "measured_w": "20",
    "luminance_cd_m2": "100",
    "half_angle_deg": "60",
}
_OVERRIDE = """\
# Your word on single apertures: a point of one, from the top left, and what becomes of it.
# [[zones.override]]
# at = ["120mm", "45mm"]
# name = "lamp room"
# mode = "steady"
"""


def project_template(
    artwork: str,
    width: str | None,
    chosen: Mapping[tuple[str, str], str | float] = MappingProxyType({}),
) -> str:
    """Return a commented project file; settings left at their defaults are commented out.

    Parameters
    ----------
    artwork : str
        File name of the artwork, as it stands beside the project file.
    width : str or None
        Width of the picture on the cabinet with its unit, such as ``380mm``; None where the artwork states its own.
    chosen : mapping
        Settings to write out, by section and key as in the file: ``{("box", "depth"): "50mm"}``.
    """
    lines = [
        "# A marquee project. Lines that begin with # and hold a setting show its default;",
        "# take the # away to change it. Lengths need a unit: mm, cm, m or in.",
        "# Run: marquee plan project.toml",
        "",
        "[artwork]",
        f"file = {json.dumps(artwork, ensure_ascii=False)}",
        '# width = "380mm"  # of the whole picture, where the drawing does not state its own'
        if width is None
        else f"width = {json.dumps(width, ensure_ascii=False)}  # of the whole picture on the cabinet",
    ]
    for name, info in Project.model_fields.items():
        section = info.annotation
        if not (isinstance(section, type) and issubclass(section, BaseModel)):
            continue
        if name != "artwork":
            lines += ["", f"# {(section.__doc__ or '').strip()}", f"[{name}]"]
        lines += _settings(section, {key: v for (part, key), v in chosen.items() if part == name})
    return "\n".join(lines) + "\n\n" + _OVERRIDE


def _settings(section: type[BaseModel], chosen: Mapping[str, str | float]) -> list[str]:
    lines = []
    for name, info in section.model_fields.items():
        if info.is_required() or name in {"width_mm", "override"}:  # written above and below
            continue
        lines += textwrap.wrap(
            f"{info.description}".strip(), 96, initial_indent="# ", subsequent_indent="# "
        )
        key = info.alias or name
        if key in chosen:
            lines.append(f"{key} = {json.dumps(chosen[key], ensure_ascii=False)}")
        else:
            lines.append(f"# {key} = {_default(name, info)}")
    return lines


def _default(name: str, info: FieldInfo) -> str:
    value = info.get_default()
    if value is None:
        return _EXAMPLES.get(name, '""')
    if isinstance(value, float) and name.endswith("_mm"):
        return json.dumps(f"{value:.5g}mm")
    if isinstance(value, float) and name.endswith("_mm2"):
        return json.dumps(f"{value:g}mm2")
    if isinstance(value, float) and name in {"blend", "brightness"}:
        return json.dumps(f"{value:.0%}")
    return json.dumps(value)
