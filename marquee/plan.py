"""The pipeline, readable on one screen, and the finished plan."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType
from typing import Any, Unpack

from marquee.errors import Finding
from marquee.firmware import Constants
from marquee.keywords import Name, Settings, laid_out, project_of
from marquee.parallel import one_blas_thread
from marquee.project import Project, merge
from marquee.stage import Runner, call
from marquee.values import (
    Artwork,
    Box,
    Chain,
    Drive,
    FirmwareBudget,
    Light,
    Part,
    Power,
    TargetColour,
    Transfer,
    ZoneMap,
)
from marquee.values_cut import NOTHING_CUT, CutPlan
from marquee.values_light import Unwalled

# A 12 V part beside every plan, so that the maker sees what the higher voltage would save in copper.
_COMPARED = ("ws2815",)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """Everything decided, from artwork to constants; outputs read it and compute nothing of their own."""

    project: Project
    artwork: Artwork
    part: Part
    zone_map: ZoneMap
    box: Box
    chain: Chain
    transfer: Transfer
    drive: Drive
    light: Light
    power: Power
    constants: Constants
    budget: FirmwareBudget
    findings: tuple[Finding, ...]
    cut: CutPlan = NOTHING_CUT
    unwalled: Unwalled | None = None

    def but(self, **changes: Any) -> Plan:  # noqa: ANN401 -- fields of the plan
        """Return this plan with some parts replaced."""
        return replace(self, **changes)


def plan(
    source: Name,
    *,
    sections: Mapping[str, Mapping[str, Any]] | None = None,
    **settings: Unpack[Settings],
) -> Plan:
    """Return the plan of an artwork or a project file; what is given here wins over the project file.

    Parameters
    ----------
    source : str or path
        Artwork (then `width` is needed), or a project file ending in .toml.
    sections : mapping, optional
        Any setting of a project file by section and key: ``{"box": {"clearance": "2mm"}}``.
    **settings
        The flags of ``marquee plan`` by name, lengths with their unit: ``width="380mm"``.

    Raises
    ------
    MarqueeError
        Anything stated that cannot be used: file, setting, part, palette, supply.
    """
    tables = {name: dict(table) for name, table in (sections or {}).items()}
    with one_blas_thread():
        return make_plan(project_of(source, merge(tables, laid_out(settings))))


def make_plan(project: Project, run: Runner = call) -> Plan:
    """Return the plan for a project whose file names can be opened.

    `run` calls each stage; one that remembers gives the same plan sooner.

    Raises
    ------
    MarqueeError
        Anything of the maker's that cannot be used: file, option, part, palette, supply.
    """
    from marquee.artwork.palette import read_palette
    from marquee.artwork.read import read_artwork
    from marquee.colour.parts import load_part

    artwork = read_artwork(Path(project.artwork.file), project.artwork)
    palette = () if project.zones.palette is None else read_palette(project.zones.palette)
    colour = project.colour
    part = load_part(project.leds.part)
    if colour.calibration is not None:
        from marquee.bench.calibration_file import part_as_measured

        part = part_as_measured(part, colour.calibration, colour.observer)
    others = tuple(load_part(name) for name in _COMPARED if name != part.name)
    return plan_stages(project, artwork, palette, part, others, run)


def plan_stages(
    project: Project,
    artwork: Artwork,
    palette: tuple[TargetColour, ...],
    part: Part,
    others: tuple[Part, ...] = (),
    run: Runner = call,
) -> Plan:
    """Return the plan from what was read: pure, no files. `others` are parts to compare the power of."""
    from marquee.artwork.zones import find_zones
    from marquee.box.barriers import build_box
    from marquee.box.cut import plan_cut
    from marquee.box.cut_material import with_material
    from marquee.box.leds import place_leds
    from marquee.box.light import light_face, transfer_light
    from marquee.box.slots import with_slots
    from marquee.box.unwalled import light_unwalled
    from marquee.colour.drive import solve_drive
    from marquee.firmware import check_frame, choose_constants, estimate_budget
    from marquee.power.design import check_settings, plan_power
    from marquee.power.dimming import Driven, brightness_findings

    check_settings(part, project.power)
    zone_map = run(find_zones, artwork, project.zones, palette, project.box.wall_thickness_mm)
    box = run(build_box, zone_map, project.box)
    chain = run(place_leds, zone_map, box, part, project.leds, project.box)
    check_frame(chain.count, part, project.firmware)
    box = run(with_slots, box, chain)
    notch_mm = (project.cut.notch_width_mm, project.cut.notch_height_mm)
    cut = run(plan_cut, zone_map, box, chain, project.cut)
    transfer = run(transfer_light, zone_map, box, chain, project.box, notch_mm)
    drive = run(solve_drive, zone_map, part, transfer, project.colour, chain)
    light = run(light_face, transfer, zone_map, drive)
    unwalled = run(light_unwalled, zone_map, box, chain, drive, project.box)
    power = run(plan_power, chain, part, drive, project.power, box, others)
    power = with_material(power, cut, box, project)
    constants = run(choose_constants, zone_map, chain, part, drive, power)
    budget = run(estimate_budget, constants, part, project.firmware)
    stages = (artwork, zone_map, box, chain, cut, transfer, drive, light, power, budget)
    told = {finding.code for finding in box.findings}
    findings = tuple(
        finding
        for stage in stages
        for finding in stage.findings
        # The barriers say the same of the same place, with the wall it takes.
        if not (finding.code == "zones.touching" and "barriers.touching" in told)
    )
    findings += brightness_findings(
        Driven(
            zone_map=zone_map,
            chain=chain,
            part=part,
            transfer=transfer,
            settings=project.colour,
            drive=drive,
        )
    )
    return Plan(
        project=project,
        artwork=artwork,
        part=part,
        zone_map=zone_map,
        box=box,
        chain=chain,
        cut=cut,
        transfer=transfer,
        drive=drive,
        light=light,
        unwalled=unwalled,
        power=power,
        constants=constants,
        budget=budget,
        findings=findings,
    )


class _Callable(ModuleType):
    """The type of `marquee.plan`, the module, so that it can be called as the function of its name."""

    __call__ = staticmethod(plan)


sys.modules[__name__].__class__ = _Callable
