"""`marquee power`: supply, wire and fuse for a number of LEDs, or the voltages of a given network."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from marquee.cli import options
from marquee.cli.make import runner
from marquee.keywords import laid_out

if TYPE_CHECKING:
    from marquee.values import Power


@click.command(
    epilog="Example: marquee power --leds 300 --pitch 16.7mm --part ws2815 --feed start,end "
    "--wire 18AWG --feed-length 1.5m"
)
@click.option("--leds", type=click.IntRange(1, 100_000), metavar="N", help="LEDs on the chain.")
@click.option("--pitch", metavar="LENGTH", help="LED spacing [16.67mm, 60 a metre].")
@click.option("--part", metavar="NAME|FILE", help="LED part [ws2812b]; see 'marquee parts'.")
@click.option(
    "--feed", "feeds", metavar="PLACES", help="Where wires join: start,middle,end [auto]."
)
@click.option("--wire", "wire_size", metavar="SIZE", help="Wire you own: 18AWG, 1.5mm2 [auto].")
@click.option("--feed-length", metavar="LENGTH", help="Wire from supply to chain [1m].")
@click.option("--supply", metavar="V/A", help="A supply you own: 5V/4A.")
@click.option(
    "--extra",
    "extras",
    multiple=True,
    metavar="[NAME=]A",
    help="Controller's current [0.1A]; others by name: 'shelf lamps=0.5A'.",
)
@click.option(
    "--rail", "rail_ohm_per_m", type=float, metavar="OHM", help="Strip copper, Ω a metre."
)
@click.option("--copper", "conductor_c", type=float, metavar="C", help="Copper temperature [45].")
@click.option("--tariff", type=float, metavar="PRICE", help="Price of a kWh.")
@click.option("--currency", metavar="WORD", help="Its money.")
@click.option("--hours", "hours_per_day", type=float, metavar="H", help="Lit hours a day.")
@click.option("--cabinets", type=int, metavar="N", help="How many cabinets [1].")
@click.option(
    "--price", "prices", multiple=True, metavar="ITEM=PRICE", help="What you pay: supply=20."
)
@click.option("--measured-w", type=float, metavar="W", help="What a plug-in meter shows.")
@click.option("--circuit", metavar="FILE.json", help="Solve this network and print its voltages.")
@options.cache_option
@options.json_option
def power(
    leds: int | None,
    circuit: str | None,
    cache: bool,
    as_json: bool,
    tariff: float | None,
    **flags: Any,  # noqa: ANN401 -- click hands over the settings by name
) -> None:
    """Size supply, wire and fuses for a chain, every channel full, without any artwork.

    It ends at the supply's DC terminals; local codes and a licensed electrician decide the rest.
    """
    if circuit is not None:
        click.echo(json.dumps(_solve(Path(circuit)), indent=1))
        return
    if leds is None:
        raise click.UsageError("say how many LEDs (--leds 300), or give a network (--circuit)")
    from marquee.colour.parts import load_part
    from marquee.power.design import plan_power
    from marquee.power.ladder import straight_chain
    from marquee.project import make_project

    led_flags = {key: flags.pop(key) for key in ("pitch", "part")}
    given = {**_extras(flags.pop("extras")), **_prices(flags.pop("prices"))}
    stated = {**flags, "tariff_per_kwh": tariff}
    given |= {key: value for key, value in stated.items() if value is not None}
    tables = {
        "artwork": {"file": "-", "width": "1mm"},
        "power": given,
        **laid_out(led_flags),
    }
    project = make_project(tables, "options")
    part = load_part(project.leds.part)
    compared = tuple(load_part(n) for n in ("ws2815",) if n != part.name)
    chain = straight_chain(leds, project.leds.pitch_mm)
    with runner(cache) as run:
        found = run(plan_power, chain, part, None, project.power, None, compared)
    if as_json:
        click.echo(_as_json(found))
    else:
        from marquee.outputs.power_text import power_text

        click.echo(power_text(found, leds, part.title), nl=False)


def _as_json(found: Power) -> str:
    from marquee.outputs.clean import clean
    from marquee.outputs.power_json import power_dict

    warnings = [{"code": f.code, "where": f.where, "message": f.message} for f in found.findings]
    return json.dumps(clean({**power_dict(found), "warnings": warnings}), indent=1)


def _extras(typed: tuple[str, ...]) -> dict[str, Any]:
    """Return the settings of --extra: a bare current is the controller's."""
    bare = [text for text in typed if "=" not in text]
    if len(bare) > 1:
        raise click.UsageError("--extra: name all loads but the controller: 'shelf lamps=0.5A'")
    found: dict[str, Any] = {"extra_load_a": bare[0]} if bare else {}
    named = dict(text.rsplit("=", 1) for text in typed if "=" in text)
    return found | ({"extra_loads": named} if named else {})


def _prices(typed: tuple[str, ...]) -> dict[str, Any]:
    prices: dict[str, Any] = {}
    for text in typed:
        key, _, price = text.rpartition("=")
        if not key:
            raise click.UsageError(f"--price: '{text}' names no item; write supply=20")
        prices[key] = price
    return {"prices": prices} if prices else {}


def _solve(path: Path) -> dict[str, Any]:
    from marquee.errors import InputError
    from marquee.power.circuit import solve_json

    try:
        raw = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(
            f"{path}", f"cannot be read ({error.strerror})", "check the path"
        ) from None
    except ValueError as error:
        raise InputError(f"{path}", f"is not JSON ({error})", "correct it") from None
    if not isinstance(raw, dict):
        raise InputError(f"{path}", "holds no table", "begin it with {")
    return solve_json(raw)
