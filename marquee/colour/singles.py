"""Single colours on a part, without a sign: bytes, what raw bytes would have given, and other observers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from marquee.colour.compare import (
    OBSERVERS,
    ObserverChange,
    RawBytes,
    observer_change,
    raw_bytes,
)
from marquee.colour.meet import Solution, drive_for
from marquee.colour.seen import seen_part
from marquee.colour.solve import can_make
from marquee.project import ColourSettings
from marquee.values import Part, TargetColour


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Singles:
    """Colours solved one by one; tuples run over them.

    `too_pure` tells colours whose chromaticity the part cannot mix at any brightness, `too_bright` those it cannot
    make as bright as its white asks for, `all_bright_enough` the brightness at which it can make every one of
    them. `others` is how the bytes look to the standard observers they were not solved for.
    """

    part: Part
    settings: ColourSettings
    solution: Solution
    leds: int
    too_pure: tuple[bool, ...]
    too_bright: tuple[bool, ...]
    all_bright_enough: float
    raw: tuple[RawBytes, ...]
    others: tuple[ObserverChange, ...]


def solve_singles(
    targets: Sequence[TargetColour], part: Part, settings: ColourSettings, leds: int = 1
) -> Singles:
    """Return the bytes for colours as on a sign whose white is as bright as the part allows.

    Parameters
    ----------
    targets : sequence of TargetColour
        What is to be met.
    part, settings
        The LED part, and how colours are met.
    leds : int
        LEDs of a zone, over which neighbouring codes are shared out; 1: none.

    Raises
    ------
    MarqueeError
        The part or the white cannot be used.
    """
    from marquee.colour.emission import emission

    light = emission(part, settings.observer)
    seen = seen_part(part, light, settings)
    solution = drive_for(
        targets,
        part,
        light,
        settings,
        limited_by="white",
        led_counts=np.full(len(targets), leds, np.int64),
    )
    xyz = np.array([target.xyz for target in targets], float).reshape(-1, 3)
    mixed = can_make(xyz, seen.emitters, any_brightness=True)
    # `room`: how many times the white's full intensity each colour, once in gamut, could go with.
    short = solution.room < solution.brightness * (1 - 1e-9)
    return Singles(
        part=part,
        settings=settings,
        solution=solution,
        leds=leds,
        too_pure=tuple(not bool(one) for one in mixed),
        too_bright=tuple(bool(one) for one in short),
        all_bright_enough=float(min(1.0, solution.room.min(initial=1.0))),
        raw=raw_bytes(targets, part, settings, solution.scale_cd),
        others=tuple(
            observer_change(solution.zones, part, settings, observer)
            for observer in OBSERVERS
            if observer != settings.observer
        ),
    )
