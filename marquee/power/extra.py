"""What else hangs on the sign's supply: controller, shelf lamps, each with a fuse of its own."""

from __future__ import annotations

from dataclasses import dataclass

from marquee.errors import QuantityError
from marquee.power.fuse import fuse_fits
from marquee.power.wire import feed_sizes
from marquee.project import PowerSettings

CONTROLLER = "controller and shifter"


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtraLoad:
    """A load beside the LEDs, always on: its name and current [A]."""

    name: str
    current_a: float


def extra_loads(settings: PowerSettings) -> tuple[ExtraLoad, ...]:
    """Return the loads the maker states, the controller first.

    Raises
    ------
    QuantityError
        A load without a name.
    """
    named = []
    for name, current_a in settings.extra_loads.items():
        if not name.strip():
            raise QuantityError(
                "power.extra_loads",
                f"a load of {current_a:g} A has no name",
                'write {"shelf lamps" = "0.5A"}',
            )
        named.append(ExtraLoad(name=" ".join(name.split()), current_a=current_a))
    return (ExtraLoad(name=CONTROLLER, current_a=settings.extra_load_a), *named)


def extra_sum(loads: tuple[ExtraLoad, ...]) -> str:
    """Return the loads as the terms of a sum: ``0.1 A controller and shifter + 0.5 A shelf lamps``."""
    return " + ".join(f"{load.current_a:g} A {load.name}" for load in loads)


def extra_notes(settings: PowerSettings) -> tuple[str, ...]:
    """Return the fuse and wire each named load needs: the feeds' fuses do not protect its wires."""
    notes = []
    for load in extra_loads(settings)[1:]:
        fits = ((wire, fuse_fits(load.current_a, wire)) for wire in feed_sizes(settings.wire))
        wire, fuse_a = next(((w, f) for w, f in fits if f is not None), (None, None))
        how = (
            "more than any wire here carries: give it a supply of its own"
            if wire is None
            else f"a {fuse_a:g} A fuse of its own at the supply, and {wire.name} or thicker"
        )
        notes.append(f"Load beside the LEDs, {load.name}, {load.current_a:g} A: {how}.")
    return tuple(notes)
