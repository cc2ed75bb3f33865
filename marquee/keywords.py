"""Settings by one word each, as flags and keyword arguments give them, laid into a project's sections."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypedDict

from marquee.errors import InputError, QuantityError
from marquee.units import states_size

if TYPE_CHECKING:
    from marquee.project import Project

# Word → (section, key of the project file). The project's validation does the rest.
PLACES = {
    "width": ("artwork", "width"),
    "max_megapixels": ("artwork", "max_megapixels"),
    "palette": ("zones", "palette"),
    "face": ("zones", "face"),
    "min_area": ("zones", "min_area"),
    "merge": ("zones", "merge_delta_e"),
    "depth": ("box", "depth"),
    "wall": ("box", "wall_thickness"),
    "wall_gap": ("box", "wall_gap"),
    "diffuser": ("box", "diffuser"),
    "paint": ("box", "paint"),
    "transmittance": ("box", "transmittance"),
    "reflectance": ("box", "reflectance"),
    "part": ("leds", "part"),
    "pitch": ("leds", "pitch"),
    "arrangement": ("leds", "arrangement"),
    "half_angle": ("leds", "half_angle_deg"),
    "white": ("colour", "white"),
    "policy": ("colour", "policy"),
    "brightness": ("colour", "brightness"),
    "luminance": ("colour", "luminance_cd_m2"),
    "observer": ("colour", "observer"),
    "calibration": ("colour", "calibration"),
    "adaptation": ("colour", "adaptation"),
    "out_of_gamut": ("colour", "out_of_gamut"),
    "cycle_period": ("colour", "cycle_period_s"),
    "supply": ("power", "supply"),
    "feed_length": ("power", "feed_length"),
    "tariff": ("power", "tariff_per_kwh"),
    "controller": ("firmware", "controller"),
    "prefix": ("firmware", "prefix"),
}

Share = str | float
Name = str | os.PathLike[str]


class Settings(TypedDict, total=False):
    """The keywords of `marquee.plan`, the same as the flags of ``marquee plan``; lengths as typed: "380mm"."""

    width: str
    max_megapixels: float
    palette: Name
    face: str
    min_area: str
    merge: float
    depth: str
    wall: str
    wall_gap: str
    diffuser: str
    paint: str
    transmittance: Share
    reflectance: Share
    part: Name
    pitch: str
    arrangement: str
    half_angle: float
    white: str
    policy: str
    brightness: Share
    luminance: float
    observer: str
    calibration: Name
    adaptation: str
    out_of_gamut: str
    cycle_period: float
    supply: str
    feed_length: str
    tariff: float
    controller: str
    prefix: str


def laid_out(settings: Mapping[str, Any]) -> dict[str, Any]:
    """Return the settings that were given as tables of a project file; None counts as not given.

    Raises
    ------
    TypeError
        A word that is no setting, with the nearest one.
    QuantityError
        Two settings that say the same thing differently.
    """
    tables: dict[str, Any] = {}
    for word, value in settings.items():
        if word not in PLACES:
            import difflib

            near = difflib.get_close_matches(word, PLACES, n=1, cutoff=0.0)[0]
            raise TypeError(f"'{word}' is no setting of a plan; did you mean '{near}'?")
        if value is not None:
            section, key = PLACES[word]
            path = isinstance(value, os.PathLike)
            tables.setdefault(section, {})[key] = os.fspath(value) if path else value
    if {"brightness", "luminance_cd_m2"} <= tables.get("colour", {}).keys():
        raise QuantityError(
            "brightness and luminance", "both say how bright the sign is", "give one, not both"
        )
    return tables


def project_of(source: Name, tables: dict[str, Any], where: str = "settings") -> Project:
    """Return the project of an artwork or of a project file (by its ending .toml), `tables` taking precedence.

    `where` is what an error names when it lies with the tables.

    Raises
    ------
    MarqueeError
        Something stated cannot be used.
    """
    from marquee.project import make_project, read_project

    name = os.fspath(source)
    if is_project(name):
        return read_project(Path(name), tables)
    artwork = {**tables.get("artwork", {}), "file": name}
    if "width" not in artwork and not states_size(name):
        raise InputError(
            name, "the picture's width on the cabinet is missing", "add the width, such as 380mm"
        )
    return make_project({**tables, "artwork": artwork}, where)


def is_project(name: str) -> bool:
    """Tell whether a name is a project file's; anything else is taken for artwork."""
    return name.lower().endswith(".toml")
