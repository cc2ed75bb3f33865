"""`marquee light`: how even and bright each zone is, what would make it better, and sweeps."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Literal

import click

from marquee.cli import options
from marquee.cli.make import runner
from marquee.cli.source import project_from

if TYPE_CHECKING:
    from marquee.plan import Plan
    from marquee.power.dimming import Dimmed, Room
    from marquee.stage import Runner
    from marquee.values_light import Advice, Sweep

Range = tuple[Literal["depth", "pitch"], float, float]


@click.command(
    epilog="Example: marquee light sign.png --width 380mm --sweep depth=20mm:80mm --picture sweep.png"
)
@click.argument("source", metavar="ARTWORK|PROJECT.toml")
@options.artwork_options
@options.box_options
@options.colour_options
@options.luminance_option
@options.power_options
@click.option("--aim", metavar="SHARE", help="Darkest to brightest a zone should have [60%].")
@click.option(
    "--sweep",
    "ranges",
    metavar="WHAT=FROM:TO",
    multiple=True,
    help="Try depth=20mm:80mm or pitch=7mm:33mm.",
)
@click.option(
    "--steps", type=click.IntRange(2, 100), default=9, metavar="N", help="Steps of a sweep [9]."
)
@click.option("--picture", metavar="FILE.png", help="Draw the sweeps.")
@click.option("--advice/--no-advice", default=True, help="Leave the advice out: it takes longest.")
@options.cache_option
@options.json_option
def light(
    source: str,
    *,
    aim: str | None,
    ranges: tuple[str, ...],
    steps: int,
    picture: str | None,
    advice: bool,
    cache: bool,
    as_json: bool,
    **flags: Any,  # noqa: ANN401 -- click hands over every shared option by name
) -> None:
    """Show each zone's light, advice found by running the model again, and sweeps of depth or pitch."""
    from marquee.box.light_metrics import LEDS_VISIBLE
    from marquee.plan import make_plan
    from marquee.units import parse_fraction

    if picture is not None and not ranges:
        raise click.UsageError("--picture draws sweeps: add --sweep depth=20mm:80mm")
    wanted = [_range(text) for text in ranges]
    aimed = LEDS_VISIBLE if aim is None else parse_fraction(aim, "--aim")
    project = project_from(source, flags)
    options.note("planning …")
    with runner(cache) as run:
        plan = make_plan(project, run)
        sweeps = _swept(run, plan, wanted, steps)
        if picture is not None:
            _draw(plan, sweeps, picture)
        found = _advised(run, plan, aimed) if advice else None
    _say(plan, sweeps, aimed, found, as_json)


def _range(text: str) -> Range:
    from marquee.units import parse_length_mm

    what, equals, span = text.partition("=")
    start, colon, stop = span.partition(":")
    if what not in {"depth", "pitch"} or not equals or not colon:
        raise click.UsageError(
            f"--sweep '{text}' is not understood: write depth=20mm:80mm or pitch=7mm:33mm"
        )
    low, high = (parse_length_mm(end, f"--sweep {what}") for end in (start, stop))
    if low == high:
        raise click.UsageError(f"--sweep '{text}' goes nowhere: give two different lengths")
    return ("depth" if what == "depth" else "pitch"), low, high


def _swept(run: Runner, plan: Plan, wanted: list[Range], steps: int) -> tuple[Sweep, ...]:
    from marquee.advice.sweep import sweep_light

    sweeps = []
    for what, low, high in wanted:
        options.note(f"sweeping {what} …")
        sweeps.append(run(sweep_light, plan, what, low, high, steps))
    return tuple(sweeps)


def _advised(run: Runner, plan: Plan, aim: float) -> tuple[Advice, ...]:
    from marquee.advice.advise import advise

    options.note("trying changes …")
    return run(advise, plan, aim)


def _draw(plan: Plan, sweeps: tuple[Sweep, ...], picture: str) -> None:
    from marquee.outputs.pictures.sweep import sweep_picture
    from marquee.outputs.single_file import write_file

    write_file(picture, sweep_picture(plan, sweeps))


def _say(
    plan: Plan,
    sweeps: tuple[Sweep, ...],
    aim: float,
    advice: tuple[Advice, ...] | None,
    as_json: bool,
) -> None:
    from marquee.outputs import light_text as out
    from marquee.outputs.clean import clean
    from marquee.power.dimming import white_cd_m2

    rooms = _rooms(plan)
    white = white_cd_m2(plan.transfer, plan.drive)
    if as_json:
        told: dict[str, Any] = {
            "white_cd_m2": white,
            "current_a": plan.power.planned_a,
            "zones": out.zones_dict(plan),
            "brightness": [out.brightness_dict(*room) for room in rooms],
            "aim": aim,
            "advice": None if advice is None else [out.advice_dict(one) for one in advice],
            "sweeps": [out.sweep_dict(sweep) for sweep in sweeps],
        }
        click.echo(json.dumps(clean(told), indent=1, ensure_ascii=False))
        return
    texts = [out.zones_text(plan), out.brightness_text(white, plan, rooms)]
    if advice is not None:
        texts.append(out.advice_text(plan, advice, aim))
    click.echo("\n".join([*texts, *(out.sweep_text(sweep) for sweep in sweeps)]), nl=False)


def _rooms(plan: Plan) -> tuple[tuple[Room, Dimmed | None], ...]:
    from marquee.power.dimming import Driven, dim_to, rooms

    sign = Driven(
        zone_map=plan.zone_map,
        chain=plan.chain,
        part=plan.part,
        transfer=plan.transfer,
        settings=plan.project.colour,
        drive=plan.drive,
    )
    return tuple((room, dim_to(room.high_cd_m2, sign)) for room in rooms())
