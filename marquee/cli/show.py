"""`marquee bench show`: a sign stepped through the states photographs are taken of."""

from __future__ import annotations

import sys
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import click

from marquee.cli import options
from marquee.cli.make import planned
from marquee.cli.trim import careful, connect

if TYPE_CHECKING:
    from marquee.bench.trim_link import TrimLink
    from marquee.plan import Plan
    from marquee.values import ZoneDrive

# All LEDs alike, in the order they are photographed; ramps at codes a phone's curve is well told by.
_ALIKE: tuple[tuple[str, tuple[int, int, int]], ...] = (("black", (0, 0, 0)), ("white", (1, 1, 1)), ("red", (1, 0, 0)), ("green", (0, 1, 0)), ("blue", (0, 0, 1)))  # fmt: skip
_RAMPS = (1 / 8, 1 / 4, 1 / 2)


@click.command(epilog="Example: marquee bench show project.toml --port /dev/ttyUSB0 --code 128")
@click.argument("source", metavar="ARTWORK|PROJECT.toml")
@click.option("--port", required=True, metavar="PORT", help="Serial port of the sign's board.")
@click.option(
    "--code",
    type=click.IntRange(16, 255),
    default=128,
    metavar="N",
    help="Byte of red, green, blue and white [128]; bench photo takes the same.",
)
@options.artwork_options
@options.box_options
@options.colour_options
@options.power_options
def show(source: str, port: str, code: int, **flags: Any) -> None:  # noqa: ANN401 -- shared options by name
    """Step the sign through black, white, red, green, blue, ramps and each zone alone; photograph each.

    The board runs the program of 'marquee firmware' with this very plan's constants. Enter goes on to the next.
    """
    plan = planned(source, flags)
    link = connect(port, plan)
    careful(
        lambda: _step(link, plan, code),
        f"--port {port}",
        "plug it in and start again; what you photographed from this place still counts",
    )


def _step(link: TrimLink, plan: Plan, code: int) -> None:
    from marquee.errors import MarqueeError

    try:
        for name, lit in _ALIKE:
            _alike(link, plan, tuple(code * one for one in lit), name)
        for share in _RAMPS:
            _alike(link, plan, (round(code * share),) * 3, f"ramp-{round(code * share)}")
        link.run()
        link.hello()
        for zone in _steady(plan):
            level = zone.global_code
            link.only(zone.zone, len(zone.codes), level)
            _wait(f"zone-{zone.zone}")
        link.all()
        _wait("planned")
    finally:
        with suppress(MarqueeError, OSError):
            link.run()
    click.echo(f"then: marquee bench photo … *.jpg --code {code}")


def _steady(plan: Plan) -> list[ZoneDrive]:
    lit = set(plan.chain.zone.tolist())
    return [zone for zone in plan.drive.zones if zone.zone in lit]


def _alike(link: TrimLink, plan: Plan, rgb: tuple[int, ...], name: str) -> None:
    """Show the same bytes in every zone, the dies beyond red, green and blue dark; tell where the sign holds them down."""
    channels = len(plan.part.channels)
    codes = (*rgb, *(0,) * (channels - 3))
    top = 2**plan.part.global_bits - 1 if plan.part.global_bits else None
    held = False
    for zone in sorted(set(plan.chain.zone.tolist()) - {-1}):
        shown, _ = link.show(zone, codes, top)
        held |= shown != codes
    if held:
        click.echo(f"{name}: the sign's limit holds it down; take a lower --code", err=True)
    _wait(name)


def _wait(name: str) -> None:
    click.echo(f"{name}: photograph it as {name}.jpg, then press enter ", nl=False)
    sys.stdin.readline()
