"""One changed setting: LEDs placed again, light and drive solved again, current counted again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

from marquee.box.leds import place_leds
from marquee.box.light import light_face, transfer_light
from marquee.colour.drive import solve_drive
from marquee.parallel import run_all
from marquee.plan import Plan
from marquee.power.dimming import white_cd_m2
from marquee.power.extra import extra_loads
from marquee.power.load import find_load
from marquee.project import BoxSettings
from marquee.values import Chain, Drive, Light, Transfer
from marquee.values_light import Change, Trial


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Relit:
    """What a change makes of the stages from the LEDs on."""

    settings: BoxSettings
    chain: Chain
    transfer: Transfer
    drive: Drive
    light: Light


def try_change(plan: Plan, change: Change) -> Trial:
    """Return the plan's light with a change made, in figures.

    Parameters
    ----------
    plan : Plan
    change : Change
        Depth, pitch, wall gap [mm] or paint to try.

    Raises
    ------
    QuantityError
        The change cannot be built: a pitch below the package, a diffuser thicker than the box, no wall left.
    UnknownNameError
        No such paint.
    """
    return _trial(plan, relight(plan, change))


def relight(plan: Plan, change: Change) -> Relit:
    """Return the plan's stages with a change made: the walls stay where they are, all after them is done again.

    Raises
    ------
    QuantityError, UnknownNameError
        As `try_change`.
    """
    settings = changed_box(plan, change)
    box = replace(plan.box, depth_mm=settings.depth_mm, wall_gap_mm=settings.wall_gap_mm)
    chain = _chain(plan, change, settings)
    cut = plan.project.cut
    notch_mm = (cut.notch_width_mm, cut.notch_height_mm)
    transfer = transfer_light(plan.zone_map, box, chain, settings, notch_mm)
    drive = solve_drive(plan.zone_map, plan.part, transfer, plan.project.colour, chain)
    light = light_face(transfer, plan.zone_map, drive)
    return Relit(settings=settings, chain=chain, transfer=transfer, drive=drive, light=light)


def planned_trial(plan: Plan) -> Trial:
    """Return the plan as it is, in the form its changes are told in."""
    return _trial(
        plan,
        Relit(
            settings=plan.project.box,
            chain=plan.chain,
            transfer=plan.transfer,
            drive=plan.drive,
            light=plan.light,
        ),
    )


def changed_box(plan: Plan, change: Change) -> BoxSettings:
    """Return the box's settings with a change made; another paint takes the place of a measured one."""
    update: dict[str, object] = {}
    if change.depth_mm is not None:
        update["depth_mm"] = change.depth_mm
    if change.wall_gap_mm is not None:
        update["wall_gap_mm"] = change.wall_gap_mm
    if change.paint is not None:
        update |= {"paint": change.paint, "reflectance": None}
    return plan.project.box.model_copy(update=update)


def _chain(plan: Plan, change: Change, settings: BoxSettings) -> Chain:
    """Return the LEDs as the changed settings lay them; walls that stop short are not asked for then."""
    leds, depth_mm = plan.project.leds, settings.depth_mm
    if change.pitch_mm is None and change.paint is None and depth_mm == plan.box.depth_mm:
        return plan.chain
    if change.pitch_mm is not None:
        leds = leds.model_copy(update={"pitch_mm": change.pitch_mm})
    box = replace(plan.box, depth_mm=depth_mm)
    return place_leds(plan.zone_map, box, plan.part, leds, settings)


def _trial(plan: Plan, relit: Relit) -> Trial:
    chain, settings = relit.chain, relit.settings
    extra_a = sum(extra.current_a for extra in extra_loads(plan.project.power))
    load = find_load(chain, plan.part, relit.drive, extra_a)
    return Trial(
        depth_mm=settings.depth_mm,
        pitch_mm=chain.led_pitch_mm,
        wall_gap_mm=settings.wall_gap_mm,
        paint=settings.paint,
        led_count=chain.count,
        current_a=load.planned_total_a,
        white_cd_m2=white_cd_m2(relit.transfer, relit.drive),
        zones=relit.light.zones,
    )


class Trials:
    """A plan's changes tried so far, so that questions that meet share their answers."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.planned = planned_trial(plan)
        self._found: dict[Change, Trial] = {Change(): self.planned}

    @property
    def count(self) -> int:
        """Changes tried, the plan itself not counted."""
        return len(self._found) - 1

    def ask(self, changes: list[Change]) -> None:
        """Try those not tried yet, side by side on the processor's cores."""
        new = [change for change in dict.fromkeys(changes) if change not in self._found]
        found = run_all([partial(try_change, self.plan, change) for change in new])
        self._found |= dict(zip(new, found, strict=True))

    def of(self, change: Change) -> Trial:
        """Return what a change comes to."""
        if change not in self._found:
            self._found[change] = try_change(self.plan, change)
        return self._found[change]
