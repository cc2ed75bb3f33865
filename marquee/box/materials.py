"""Surfaces inside the box and diffuser sheets, every figure with its source."""

from __future__ import annotations

import difflib
import functools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from marquee.errors import QuantityError, TableError, UnknownNameError
from marquee.project import BoxSettings
from marquee.tables.load import STATUSES, load_table
from marquee.values import Figure


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """Paint or bare material inside the box: diffuse reflectance 0 to 1; `ranges` are what the sources span."""

    name: str
    title: str
    reflectance: float
    figures: Mapping[str, Figure]
    ranges: Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Diffuser:
    """Sheet behind the face: transmittance of diffuse light and reflectance of its underside, 0 to 1."""

    name: str
    title: str
    thickness_mm: float
    transmittance: float
    reflectance: float
    figures: Mapping[str, Figure]
    ranges: Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Materials:
    """All rows of the materials table, by name."""

    surfaces: Mapping[str, Surface]
    diffusers: Mapping[str, Diffuser]


@functools.cache
def load_materials() -> Materials:
    """Return the packaged materials.

    Raises
    ------
    TableError
        A row or a figure in it without source, or a figure outside 0 to 1.
    """
    table = load_table("materials.toml")
    surfaces = [
        Surface(
            name=row["name"],
            title=row["title"],
            reflectance=_share(row, "reflectance"),
            figures=_figures(row),
            ranges=_ranges(row),
        )
        for row in table["surface"]
    ]
    diffusers = [
        Diffuser(
            name=row["name"],
            title=row["title"],
            thickness_mm=float(row["thickness_mm"]),
            transmittance=_share(row, "transmittance"),
            reflectance=_share(row, "reflectance"),
            figures=_figures(row),
            ranges=_ranges(row),
        )
        for row in table["diffuser"]
    ]
    return Materials(
        surfaces={s.name: s for s in surfaces}, diffusers={d.name: d for d in diffusers}
    )


def find_surface(name: str) -> Surface:
    """Return the surface called `name`.

    Raises
    ------
    UnknownNameError
        No such row; the mend names the nearest ones.
    """
    surfaces = load_materials().surfaces
    if name not in surfaces:
        raise _unknown("box.paint", name, list(surfaces), "reflectance")
    return surfaces[name]


def find_diffuser(name: str) -> Diffuser:
    """Return the diffuser called `name`.

    Raises
    ------
    UnknownNameError
        No such row; the mend names the nearest ones.
    """
    diffusers = load_materials().diffusers
    if name not in diffusers:
        raise _unknown("box.diffuser", name, list(diffusers), "transmittance")
    return diffusers[name]


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxOptics:
    """The figures the light model uses, after the maker's own measurements."""

    surface_reflectance: float
    diffuser_transmittance: float
    diffuser_reflectance: float


def box_optics(settings: BoxSettings) -> BoxOptics:
    """Return reflectances and transmittance for these settings, the maker's measured values first.

    A measured transmittance moves the reflectance of the underside with it: what the row's sheet neither
    passes nor reflects, yours is taken to lose too.

    Raises
    ------
    UnknownNameError
        Paint or diffuser is no row of the table.
    QuantityError
        A reflectance of 1 or more, or a sheet thicker than the box is deep.
    """
    diffuser = find_diffuser(settings.diffuser)
    if diffuser.thickness_mm >= settings.depth_mm:
        raise QuantityError(
            "box.diffuser",
            f"{diffuser.title} is {diffuser.thickness_mm:g} mm thick, the box only {settings.depth_mm:g} mm deep",
            "make the box deeper or choose a thinner sheet",
        )
    paint = settings.reflectance
    if paint is None:
        paint = find_surface(settings.paint).reflectance
    if not 0 <= paint < 1:
        raise QuantityError(
            "box.reflectance",
            f"{paint:g} is not below 1: no surface sends back all light",
            "give the share sent back, such as 0.8 for matt white paint",
        )
    transmittance = diffuser.transmittance
    reflectance = diffuser.reflectance
    if settings.transmittance is not None:
        lost = 1 - transmittance - reflectance
        transmittance = settings.transmittance
        reflectance = max(0.0, 1 - transmittance - lost)
    return BoxOptics(
        surface_reflectance=paint,
        diffuser_transmittance=transmittance,
        diffuser_reflectance=reflectance,
    )


def usual_optics() -> BoxOptics:
    """Return the figures of the paint and diffuser taken where nothing is said."""
    usual = BoxSettings()
    diffuser = find_diffuser(usual.diffuser)
    return BoxOptics(
        surface_reflectance=find_surface(usual.paint).reflectance,
        diffuser_transmittance=diffuser.transmittance,
        diffuser_reflectance=diffuser.reflectance,
    )


def _unknown(where: str, name: str, known: list[str], own: str) -> UnknownNameError:
    near = difflib.get_close_matches(name, known, n=3, cutoff=0.0)
    return UnknownNameError(
        where,
        f"'{name}' is not in the materials table",
        f"did you mean {' or '.join(near)}? Or measure yours and set {own} in [box]",
    )


def _figures(row: dict[str, Any]) -> dict[str, Figure]:
    figures = {}
    for key, cell in row.items():
        if not isinstance(cell, dict):
            continue
        where = f"materials.toml {row['name']} {key}"
        if not str(cell.get("source", "")).strip() or cell.get("status") not in STATUSES:
            raise TableError(where, "has no source or no known status", "add source and status")
        figures[key] = Figure(
            value=cell["value"],
            unit=cell["unit"],
            status=cell["status"],
            source=cell["source"],
            note=cell.get("note", ""),
        )
    return figures


def _ranges(row: dict[str, Any]) -> dict[str, tuple[float, float]]:
    return {
        key: (float(cell["low"]), float(cell["high"]))
        for key, cell in row.items()
        if isinstance(cell, dict)
    }


def _share(row: dict[str, Any], key: str) -> float:
    cell = row[key]
    low, value, high = float(cell["low"]), float(cell["value"]), float(cell["high"])
    if not 0 <= low <= value <= high < 1:
        raise TableError(
            f"materials.toml {row['name']} {key}",
            f"{low:g}, {value:g}, {high:g} are not in order within 0 and 1",
            "correct low, value or high",
        )
    return value
