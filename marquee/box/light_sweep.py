"""What another depth or wall gap would do, by running the light model again."""

from __future__ import annotations

from dataclasses import dataclass, replace

from marquee.box.light import light_face, transfer_light
from marquee.box.light_metrics import LEDS_VISIBLE
from marquee.project import BoxSettings
from marquee.values import Box, Chain, Drive, ZoneLight, ZoneMap

# Depths are tried in steps of this factor; a maker cuts walls to a few mm.
_STEP = 1.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One box that was tried, and its zones' light at the same drive values."""

    depth_mm: float
    wall_gap_mm: float
    zones: tuple[ZoneLight, ...]

    @property
    def worst_min_over_max(self) -> float:
        """Evenness E_min/E_max of the least even zone that is lit; 0 if none is."""
        lit = [zone.min_over_max for zone in self.zones if zone.luminance_cd_m2 > 0]
        return min(lit, default=0.0)

    @property
    def worst_bleed(self) -> float:
        """Largest share of a zone's light that comes from other zones."""
        return max((zone.bleed for zone in self.zones), default=0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Setup:
    """What stays the same while depth or gap are tried."""

    zone_map: ZoneMap
    box: Box
    chain: Chain
    settings: BoxSettings
    drive: Drive


def try_depth(setup: Setup, depth_mm: float) -> Trial:
    """Return the light with another depth; walls, LEDs and bytes stay as they are.

    Raises
    ------
    QuantityError
        The depth is not above zero, or not above the wall gap or the diffuser's thickness.
    """
    return _try(setup, depth_mm, setup.box.wall_gap_mm)


def try_wall_gap(setup: Setup, wall_gap_mm: float) -> Trial:
    """Return the light with another gap between the walls' tops and the diffuser.

    Raises
    ------
    QuantityError
        The gap is negative or not below the depth.
    """
    return _try(setup, setup.box.depth_mm, wall_gap_mm)


def depth_for_evenness(
    setup: Setup, wanted_min_over_max: float = LEDS_VISIBLE, deepest_mm: float = 120.0
) -> Trial | None:
    """Return the shallowest box, in steps of a tenth, whose least even zone reaches the wanted evenness.

    None if no depth up to `deepest_mm` does: then the light falls off towards the cells' edges, and LEDs nearer to
    the edge help, not depth.
    """
    depth_mm = setup.box.depth_mm
    while depth_mm <= deepest_mm:
        trial = try_depth(setup, depth_mm)
        if trial.worst_min_over_max >= wanted_min_over_max:
            return trial
        depth_mm *= _STEP
    return None


def _try(setup: Setup, depth_mm: float, wall_gap_mm: float) -> Trial:
    box = replace(setup.box, depth_mm=depth_mm, wall_gap_mm=wall_gap_mm)
    settings = setup.settings.model_copy(update={"depth_mm": depth_mm, "wall_gap_mm": wall_gap_mm})
    transfer = transfer_light(setup.zone_map, box, setup.chain, settings)
    light = light_face(transfer, setup.zone_map, setup.drive)
    return Trial(depth_mm=depth_mm, wall_gap_mm=wall_gap_mm, zones=light.zones)
