"""`marquee bench photo`: photographs of the lit sign against its plan."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from marquee.cli import options
from marquee.cli.make import planned

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from marquee.photo.check import Pending
    from marquee.photo.values import Checked
    from marquee.plan import Plan

_STATES = "black, red, green, blue, white, ramp-N, zone-N or planned"


@click.command(
    epilog="Example: marquee bench photo project.toml shot.jpg white.jpg black.jpg --picture checked.png"
)
@click.argument("source", metavar="ARTWORK|PROJECT.toml")
@click.argument("photos", nargs=-1, required=True, metavar="PHOTO…")
@click.option(
    "--state",
    "states",
    multiple=True,
    metavar="STATE=PHOTO",
    help=f"What a photograph shows, if its name does not say so: {_STATES}.",
)
@click.option(
    "--corners",
    metavar="'X,Y X,Y X,Y X,Y'",
    help="The face's corners on the photographs in pixels: top left, top right, bottom right, bottom left [found].",
)
@click.option(
    "--code",
    type=click.IntRange(1, 255),
    default=255,
    metavar="N",
    help="Byte of the states red, green, blue and white [255].",
)
@click.option("--picture", metavar="FILE.png", help="Draw the photograph with the zones over it.")
@click.option("--signals", metavar="FILE.csv", help="Write the channels' light for 'bench fit'.")
@options.artwork_options
@options.box_options
@options.colour_options
@options.power_options
@options.json_option
@click.option("--strict", is_flag=True, help="Exit with status 1 if there is a remark.")
def photo(  # noqa: PLR0917 -- click hands options over one by one
    source: str,
    photos: tuple[str, ...],
    states: tuple[str, ...],
    corners: str | None,
    code: int,
    picture: str | None,
    signals: str | None,
    as_json: bool,
    strict: bool,
    **flags: Any,  # noqa: ANN401 -- shared options by name
) -> int:
    """Lay photographs of the lit sign over its plan: evenness, bleed, dark LEDs, swapped wires.

    One photograph of the sign as it runs is enough; more tell more. All come from one place with one setting: phone
    on a stand, exposure and white balance locked, dark room, nothing burnt out. A file's name says what
    the sign showed: black.jpg (off), red.jpg, green.jpg, blue.jpg, white.jpg (all LEDs alike), ramp-64.jpg (all
    channels at code 64), zone-2.jpg (that zone alone, as planned); any other name, the sign as planned. 'marquee
    bench show' steps a sign through them. Photographs are PNG, JPEG, TIFF or DNG.
    """
    from marquee.outputs.single_file import write_file
    from marquee.photo.check import check_photos

    at = None if corners is None else _corners(corners)
    pending = _pending(photos, states)
    plan = planned(source, flags)
    checked = check_photos(plan, pending, at, code, options.note)
    if picture is not None:
        from marquee.outputs.pictures.photo import photo_picture

        write_file(picture, photo_picture(checked, plan))
    if signals is not None:
        write_file(signals, _signals_csv(checked, plan, code).encode())
    if as_json:
        click.echo(json.dumps(_as_dict(checked), indent=1, ensure_ascii=False))
    else:
        click.echo(_as_text(checked, plan))
        for name in (picture, signals):
            if name is not None:
                click.echo(f"{name} written")
    for number, finding in enumerate(checked.findings, 1):
        click.echo(f"{number}. {finding.where}: {finding.message} [{finding.code}]", err=True)
    return int(strict and bool(checked.findings))


def _pending(photos: tuple[str, ...], states: tuple[str, ...]) -> tuple[Pending, ...]:
    """Return the photographs with their states, from options or from their names."""
    from functools import partial

    from marquee.errors import InputError
    from marquee.photo.check import Pending
    from marquee.photo.read import read_shot, state_named, state_of_file

    told: dict[Path, str] = {}
    for text in states:
        word, mark, name = text.partition("=")
        if not mark or not name:
            raise InputError(
                f"--state {text}", "is not STATE=PHOTO", "write --state red=IMG_7.jpg"
            )
        told[Path(name)] = word
    paths = list(dict.fromkeys([*map(Path, photos), *told]))
    found = []
    for path in paths:
        state = (
            state_named(told[path], f"--state {told[path]}")
            if path in told
            else state_of_file(path)
        )
        found.append(Pending(state=state, file=path.name, read=partial(read_shot, path, state)))
    return tuple(found)


def _corners(text: str) -> NDArray[np.float64]:
    import numpy as np

    from marquee.errors import InputError

    try:
        points = np.array([[float(v) for v in pair.split(",")] for pair in text.split()], float)
    except ValueError:
        points = np.empty(0)
    if points.shape != (4, 2) or not np.isfinite(points).all():
        raise InputError(
            "--corners",
            f"'{text}' is not four places",
            "give pixels of top left, top right, bottom right and bottom left: '240,410 1790,330 1740,800 290,870'",
        )
    x, y = (points - points.mean(axis=0)).T
    cross = x * np.roll(y, -1) - y * np.roll(x, -1)
    if not (cross > 0).all():
        raise InputError(
            "--corners",
            "they do not run round the face from top left by top right",
            "give top left, top right, bottom right, bottom left",
        )
    return points


def _as_text(checked: Checked, plan: Plan) -> str:
    from marquee.errors import printable
    from marquee.photo.look import EDGE_MM

    found = checked.registration
    corners = ", ".join(f"{x:.0f},{y:.0f}" for x, y in found.corners_px)
    curve = {
        "ramps": f"measured on codes {', '.join(str(n) for n in checked.curve.ramps)}",
        "linear": "none, raw",
        "sRGB": "taken as sRGB's",
    }[checked.curve.source]
    zones = ", ".join(f"{zone}" for zone in found.dark)
    dark = f", zone {zones} taken as dark" if zones else ""
    lines = [
        f"face at {corners} px, {found.px_per_mm:.1f} px a mm, agreement {found.score:.2f} of 1{dark}; states "
        f"{', '.join(checked.states)}; camera's curve {curve}",
        f"{'zone':<22} {'min/max':>8} {'planned':>8} {'min/mean':>9} {'planned':>8} {'from others':>12} {'planned':>8} {'light':>6}",
    ]
    names = {zone.id: zone.name for zone in plan.zone_map.zones}
    for one in checked.zones:
        bleed = "–" if one.bleed is None else f"{one.bleed:.1%}"
        light = "–" if one.light is None else f"{one.light:.0%}"
        lines.append(
            f"{one.zone} {printable(names[one.zone])[:20]:<20} {one.min_over_max:>8.2f} "
            f"{one.predicted_min_over_max:>8.2f} {one.min_over_mean:>9.2f} {one.predicted_min_over_mean:>8.2f} "
            f"{bleed:>12} {one.predicted_bleed:>8.1%} {light:>6}"
        )
    lines.append(
        f"planned: the plan's light at the places read, {EDGE_MM:g} mm from edges where there is room: evener than the "
        "plan says of whole zones"
    )
    pairs = sorted(checked.pairs, key=lambda pair: -pair.measured)
    lines += [
        f"zone {pair.zone} has {pair.measured:.1%} of its light from zone {pair.source}, {pair.predicted:.1%} planned"
        for pair in pairs
        if max(pair.measured, pair.predicted) >= 0.005
    ]
    if not checked.findings:
        lines.append("as planned: nothing to look at")
    return "\n".join(lines)


def _as_dict(checked: Checked) -> dict[str, Any]:
    from dataclasses import asdict

    found = checked.registration
    return {
        "face": {
            "corners_px": found.corners_px,
            "px_per_mm": found.px_per_mm,
            "agreement": found.score,
            "taken_as_dark": found.dark,
        },
        "states": checked.states,
        "curve": {"source": checked.curve.source, "ramps": checked.curve.ramps},
        "zones": [asdict(one) for one in checked.zones],
        "bleed": [asdict(one) for one in checked.pairs],
        "leds": [asdict(one) for one in checked.leds],
        "signals": checked.signals,
        "findings": [asdict(one) for one in checked.findings],
    }


def _signals_csv(checked: Checked, plan: Plan, code: int) -> str:
    from marquee.errors import InputError

    if checked.signals is None:
        raise InputError(
            "--signals", "the states red, green and blue are missing", "photograph all three"
        )
    raw = "raw" if checked.curve.source == "linear" else "coded"
    values = ",".join(f"{value:.6g}" for value in checked.signals)
    return (
        "# Light of the channels as a phone saw it, over the light model's; written by marquee bench photo.\n"
        "# Only a sign already calibrated, photographed by the same phone with the same white balance, gives it\n"
        "# a meaning: marquee bench fit DIR --known THAT-SIGN'S-DIR\n"
        f"part,code,file,r,g,b\n{plan.part.name},{code},{raw},{values}\n"
    )
