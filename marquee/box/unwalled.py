"""The light once more in one open box, so that the maker sees what the walls are for."""

from __future__ import annotations

from dataclasses import replace

from marquee.box.light import light_face, transfer_light
from marquee.project import BoxSettings
from marquee.values import Box, Chain, Drive, ZoneMap
from marquee.values_light import Unwalled

# Patches of half a depth, which take half the time on a large sign: zones' means keep within 0.1 % of those with a third,
# and nothing is decided by this picture.
_PATCH_DEPTHS = 0.5


def light_unwalled(
    zone_map: ZoneMap, box: Box, chain: Chain, drive: Drive, settings: BoxSettings
) -> Unwalled | None:
    """Return the light of the same LEDs and bytes with all walls left out; None where there are none.

    Parameters
    ----------
    zone_map : ZoneMap
    box : Box
    chain : Chain
    drive : Drive
        The bytes found for the box with walls; they are kept.
    settings : BoxSettings
        Paint and diffuser.
    """
    if not box.walls:
        return None
    opened = replace(box, walls=())
    transfer = transfer_light(zone_map, opened, chain, settings, patch_depths=_PATCH_DEPTHS)
    return Unwalled(transfer=transfer, light=light_face(transfer, zone_map, drive))
