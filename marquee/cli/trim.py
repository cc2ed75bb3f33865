"""`marquee bench trim`: a sign's colours set by eye over its serial line."""

from __future__ import annotations

import sys
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from marquee.cli import options
from marquee.cli.make import planned

if TYPE_CHECKING:
    from collections.abc import Callable

    from marquee.bench.trim import Axis, TrimState, TrimZone
    from marquee.bench.trim_link import TrimLink
    from marquee.cli.keys import Keys
    from marquee.cli.pairs_file import PairsFile
    from marquee.colour.seen import Seen
    from marquee.plan import Plan

Result = TypeVar("Result")
# What a key moves; arrows in both forms terminals send.
_MOVES: dict[str, tuple[Axis, int]] = {
    "\x1b[A": ("lightness", 1),
    "\x1bOA": ("lightness", 1),
    "\x1b[B": ("lightness", -1),
    "\x1bOB": ("lightness", -1),
    "\x1b[C": ("hue", 1),
    "\x1bOC": ("hue", 1),
    "\x1b[D": ("hue", -1),
    "\x1bOD": ("hue", -1),
    "+": ("chroma", 1),
    "=": ("chroma", 1),
    "-": ("chroma", -1),
}
# Zones the example program's trim mode remembers (TRIM_ZONES of trim.c); the others run as planned.
_MOST_ZONES = 32
_HELP = (
    "up down: lighter, darker | left right: hue | + -: stronger, paler | f: fine steps | u: undo | "
    "enter: looks right, keep it | n p: next, previous zone | a: all zones or this one | q: quit"
)


@click.command(epilog="Example: marquee bench trim project.toml --port /dev/ttyUSB0")
@click.argument("source", metavar="ARTWORK|PROJECT.toml")
@click.option("--port", required=True, metavar="PORT", help="Serial port of the sign's board.")
@click.option("--pairs", default="pairs.csv", metavar="FILE", help="Where pairs go [pairs.csv].")
@options.artwork_options
@options.box_options
@options.colour_options
@options.power_options
def trim(source: str, port: str, pairs: str, **flags: Any) -> None:  # noqa: ANN401 -- shared options by name
    """Set the sign's colours by eye, zone by zone; what looks right goes into the pairs file at once.

    The board runs the program of 'marquee firmware' with this very plan's constants. Keys move lightness, hue
    and chroma; enter keeps a zone's bytes and goes on to the next. Then: marquee bench fit.
    """
    from marquee.bench.trim import TrimState, trim_zones
    from marquee.cli.pairs_file import PairsFile
    from marquee.colour.emission import emission
    from marquee.colour.seen import seen_part
    from marquee.errors import InputError

    plan = planned(source, flags)
    settings = plan.project.colour
    seen = seen_part(plan.part, emission(plan.part, settings.observer), settings)
    lit = set(plan.chain.zone.tolist())
    zones = tuple(
        zone
        for zone in trim_zones(plan.drive, plan.zone_map, seen)
        if zone.zone in lit and zone.zone < _MOST_ZONES
    )
    if not zones:
        raise InputError(source, "has no zone of one colour to trim", "nothing needs to be done")
    link = connect(port, plan)
    kept = PairsFile(Path(pairs), plan.part)
    session = _Session(link, kept, seen, plan.drive.white_intensity_cd)
    careful(lambda: session.run(TrimState(zones=zones)), f"--port {port}")


def connect(port: str, plan: Plan) -> TrimLink:
    """Open the port and make sure that this plan's constants answer."""
    import serial

    from marquee.bench.trim_link import BAUD, TrimLink
    from marquee.errors import InputError
    from marquee.outputs.header_values import values_crc32

    where = f"--port {port}"
    try:
        opened = serial.Serial(port, BAUD, timeout=0.05, write_timeout=5.0)
    except (serial.SerialException, OSError, ValueError) as error:
        raise InputError(where, f"cannot be opened ({error})", "name the board's port") from None
    options.note("waiting for the sign …")
    link = TrimLink(opened, where)
    said = careful(link.hello, where, "plug it in and start again")
    if said.crc32 != values_crc32(plan.constants):
        raise InputError(
            where,
            f"the sign runs constants {said.crc32:08X}, this plan's are {values_crc32(plan.constants):08X}",
            "load this plan's header onto the board, or name the plan it was made from",
        )
    return link


_GROWS = "what was kept is in the pairs file: plug it in and start again, the file goes on growing"


def careful(job: Callable[[], Result], where: str, mend: str = _GROWS) -> Result:
    """Run something that talks to the sign; a port that goes away becomes one line."""
    import serial

    from marquee.errors import InputError

    try:
        return job()
    except (serial.SerialException, OSError) as error:
        raise InputError(
            where,
            f"went away ({error})",
            mend,
        ) from None


class _Session:
    """One sitting at the keys."""

    def __init__(self, link: TrimLink, kept: PairsFile, seen: Seen, white_cd: float) -> None:
        self._link, self._kept = link, kept
        self._seen, self._white_cd = seen, white_cd
        self._alone = True

    def run(self, state: TrimState) -> None:
        """Read keys until the maker quits; whatever ends it, nothing kept is lost."""
        from marquee.cli.keys import Keys
        from marquee.errors import MarqueeError

        click.echo(_HELP)
        self._state = state
        try:
            with Keys() as keys:
                self._state = self._show_alone(self._state)
                while (key := self._key(keys)) is not None:
                    self._state = self._pressed(self._state, key)
            self._link.run()
        except KeyboardInterrupt:
            with suppress(MarqueeError, OSError):
                self._link.run()
            raise click.exceptions.Exit(130) from None
        finally:
            self._end()

    def _end(self) -> None:
        for zone in self._state.zones:
            if zone.changed:
                bytes_now = ",".join(str(code) for code in zone.shown)
                self._kept.remark(f"not kept: zone {zone.zone} {zone.name} stood at {bytes_now}")
        click.echo(f"\n{self._kept.rows} pairs added to {self._kept.path}")

    def _key(self, keys: Keys) -> str | None:
        """Return the next key, or None where the maker quits."""
        self._tell(self._state)
        try:
            key = keys.read()
        except EOFError:
            return None
        return None if key in {"q", "Q"} else key

    def _pressed(self, state: TrimState, key: str) -> TrimState:
        from marquee.bench.trim import stepped, turned_to, undone

        if key in _MOVES:
            axis, sign = _MOVES[key]
            return self._show(stepped(state, axis, sign, self._seen, self._white_cd))
        if key in {"\r", "\n"}:
            return self._show_alone(turned_to(self._keep(state), 1))
        if key in {"n", "p"}:
            return self._show_alone(turned_to(state, 1 if key == "n" else -1))
        if key == "u":
            return self._show_alone(undone(state))
        if key == "f":
            state = replace(state, fine=not state.fine)
        elif key == "a":
            self._alone = not self._alone
            state = self._show_alone(state)
        else:
            click.echo(f"\n{_HELP}")
        return state

    def _show(self, state: TrimState) -> TrimState:
        from marquee.bench.trim import with_zone

        zone = state.zone
        shown, _ = self._link.show(zone.zone, zone.codes, zone.global_code)
        return with_zone(state, replace(zone, shown=shown))

    def _show_alone(self, state: TrimState) -> TrimState:
        zone = state.zone
        if self._alone:
            self._link.only(zone.zone, len(zone.codes), zone.global_code)
        else:
            self._link.all()
        return self._show(state)

    def _keep(self, state: TrimState) -> TrimState:
        from marquee.bench.trim import colour_text, with_zone

        zone = state.zone
        letters = [channel.lower() for channel in self._seen.part.channels]
        self._kept.keep(
            {
                "name": zone.name,
                "colour": colour_text(zone.target),
                **dict(zip(letters, zone.shown, strict=True)),
                "global": "" if zone.global_code is None else zone.global_code,
                "brightness": f"{zone.brightness:.4g}",
            }
        )
        return with_zone(state, replace(zone, changed=False))

    def _tell(self, state: TrimState) -> None:
        text = _line(state.zone, state)
        clear = "\r\x1b[K" if sys.stdout.isatty() else ""
        click.echo(f"{clear}{text}", nl=not clear)


def _line(zone: TrimZone, state: TrimState) -> str:
    from marquee.errors import printable

    codes = ",".join(str(code) for code in zone.shown)
    marks = [
        "fine" if state.fine else "",
        "not kept" if zone.changed else "",
        "held down by the sign's cap" if zone.held_down else "",
    ]
    told = ", ".join(mark for mark in marks if mark)
    place = f"{state.at + 1}/{len(state.zones)}"
    return f"{place} zone {zone.zone} {printable(zone.name)[:30]} {codes} {told}".rstrip()
