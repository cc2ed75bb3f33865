"""`marquee bench`: templates for measurements, the fit, and a picture of it."""

from __future__ import annotations

from dataclasses import replace
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from marquee.cli.photo import photo
from marquee.cli.show import show
from marquee.cli.trim import trim

if TYPE_CHECKING:
    from marquee.bench.advice import Advice
    from marquee.bench.calibration import Calibration, Measurements, Outcome, Used
    from marquee.bench.values import ChannelBalance
    from marquee.values import Part

_KNOWN_PART = "LED part [as last fitted, or ws2812b]; see 'marquee parts'."
_PART_HELP = "LED part [ws2812b]; see 'marquee parts'."


@click.group(epilog="Example: marquee bench new cabinet-two")
def bench() -> None:
    """Measure or match colours on the finished sign, and let every later plan know.

    Fill in the templates of 'bench new', fit them with 'bench fit', and plan with --calibration.
    """


@bench.command(epilog="Example: marquee bench new cabinet-two --part sk6812-rgbw-nw")
@click.argument("folder", metavar="DIR")
@click.option("--part", "part_name", default="ws2812b", metavar="NAME|FILE", help=_PART_HELP)
def new(folder: str, part_name: str) -> None:
    """Write commented CSV files to fill in; files that are there already are kept as they are.

    pairs.csv takes colours matched by eye, readings.csv a colorimeter's, currents.csv a supply's amperes.
    """
    from marquee.bench.template import bench_templates
    from marquee.colour.parts import load_part

    texts = bench_templates(load_part(part_name))
    written = [name for name, text in texts.items() if _write_new(Path(folder) / name, text)]
    kept = [name for name in texts if name not in written]
    if written:
        click.echo(
            f"{folder}/ with {', '.join(written)}; white teaches most: match it first. Filled in, run: "
            f"marquee bench fit {folder} --part {part_name}"
        )
    for name in kept:
        click.echo(f"{folder}/{name} exists already and was left as it is", err=True)


@bench.command(epilog="Example: marquee bench fit cabinet-two --name 'cabinet two'")
@click.argument("folder", metavar="DIR")
@click.option("--part", "part_name", metavar="NAME|FILE", help=_KNOWN_PART)
@click.option(
    "--known",
    metavar="DIR",
    help="A calibrated sign's folder; both signs' signals.csv are one phone's.",
)
@click.option("--name", metavar="TEXT", help="What the cabinet or reel is called [DIR].")
@click.option(
    "--reel",
    is_flag=True,
    help="For other signs of the same reel: its lengths differ a little, so the bands are wider.",
)
@click.option("--white", default="D65", metavar="WHITE", help="The white matched under [D65].")
@click.option(
    "--observer",
    type=click.Choice(["cie-1931-2", "cie-2015-2", "cie-2015-10"]),
    default="cie-1931-2",
    help="Standard observer of the matches [cie-1931-2].",
)
@click.option("--out", metavar="FILE", help="Calibration to write [DIR/calibration.toml].")
@click.option("--picture", metavar="FILE.png", help="Also draw what was found.")
@click.option("--strict", is_flag=True, help="Exit with status 1 if there is a warning.")
def fit(
    folder: str,
    part_name: str | None,
    known: str | None,
    out: str | None,
    picture: str | None,
    strict: bool,
    **about: Any,  # noqa: ANN401 -- click hands over the labels by name
) -> int:
    """Fit what DIR's CSV files hold to the part, and write a calibration for plans.

    An earlier calibration at that place is kept beside it, with .1, .2 … at its end.
    """
    from marquee import __version__
    from marquee.bench.advice import next_colours
    from marquee.bench.calibration import Labels, calibrate
    from marquee.bench.calibration_file import calibration_text
    from marquee.colour.parts import load_part

    last = _last(Path(folder))
    part = load_part(part_name or ("ws2812b" if last is None else last.part))
    labels = Labels(
        name=about["name"] or Path(folder).resolve().name,
        kind="reel" if about["reel"] else "cabinet",
        observer=about["observer"],
        white=about["white"],
        made_by=f"marquee {__version__}",
    )
    measured = _measured(Path(folder), part, known)
    outcome = calibrate(part, measured, labels)
    target = Path(out) if out is not None else Path(folder) / "calibration.toml"
    if picture is not None:
        _draw(outcome, part, picture)
    earlier = _replace(target, calibration_text(outcome.calibration))
    advised = next_colours(outcome.calibration.posterior, outcome.bench)
    click.echo(_as_text(outcome, advised))
    click.echo(_band(part, outcome))
    kept = "" if earlier is None else f"; the earlier one is kept as {earlier}"
    click.echo(f"{target} written{kept}; give it to your plans: --calibration {target}")
    for number, finding in enumerate(outcome.findings, 1):
        click.echo(f"{number}. {finding.where}: {finding.message} [{finding.code}]", err=True)
    return int(strict and bool(outcome.findings))


@bench.command(epilog="Example: marquee bench report cabinet-two bench.png")
@click.argument("folder", metavar="DIR")
@click.argument("picture", metavar="FILE.png")
@click.option("--part", "part_name", metavar="NAME|FILE", help=_KNOWN_PART)
@click.option("--white", metavar="WHITE", help="The white matched under [as last fitted, or D65].")
@click.option("--known", metavar="DIR", help="A calibrated sign's folder, as for fit.")
def report(
    folder: str, picture: str, part_name: str | None, white: str | None, known: str | None
) -> None:
    """Draw what DIR's measurements tell: colours before and after, what is left, the responses."""
    from marquee.bench.calibration import Labels, calibrate
    from marquee.colour.parts import load_part

    last = _last(Path(folder))
    part = load_part(part_name or ("ws2812b" if last is None else last.part))
    labels = Labels(name=Path(folder).resolve().name, white=white or "D65")
    if last is not None:
        labels = replace(
            labels,
            name=last.name,
            kind=last.kind,
            observer=last.observer,
            white=white or last.white,
        )
    outcome = calibrate(part, _measured(Path(folder), part, known), labels)
    _draw(outcome, part, picture)
    click.echo(f"{picture} written")


bench.add_command(trim)
bench.add_command(photo)
bench.add_command(show)


def _last(folder: Path) -> Calibration | None:
    """Return the folder's calibration as last fitted, which knows part and white; None where there is none to read."""
    from marquee.bench.calibration_file import read_calibration
    from marquee.errors import MarqueeError

    path = folder / "calibration.toml"
    try:
        return read_calibration(f"{path}") if path.is_file() else None
    except MarqueeError:
        return None


def _balance(folder: Path, part: Part, known: str) -> tuple[ChannelBalance, Used]:
    """Return the channels' balance against a calibrated sign's, from both signs' photographs."""
    from marquee.bench.calibration import Used
    from marquee.bench.calibration_file import read_calibration
    from marquee.bench.signals import balance_against, read_signals

    old = read_calibration(f"{Path(known) / 'calibration.toml'}")
    before, _ = read_signals(Path(known) / "signals.csv", part)
    here, source = read_signals(folder / "signals.csv", part)
    balance = balance_against(here, before, old.posterior, old.meter_xyz)
    return balance, Used(kind="signals", source=source)


def _measured(folder: Path, part: Part, known: str | None) -> Measurements:
    """Read those of the folder's files that are there and filled in."""
    from marquee.bench.calibration import Measurements, Used
    from marquee.bench.measurements import (
        current_columns,
        is_filled_in,
        pair_columns,
        read_currents,
        read_pairs,
        read_readings,
        reading_columns,
    )
    from marquee.errors import InputError

    used: list[Used] = []
    found = Measurements()
    pairs, readings, currents = found.pairs, found.readings, found.currents
    path = folder / "pairs.csv"
    letters = [channel.lower() for channel in part.channels]
    if path.exists() and is_filled_in(path, pair_columns(part), letters):
        pairs, source = read_pairs(path, part)
        used.append(Used(kind="pairs", source=source))
    path = folder / "readings.csv"
    if path.exists() and is_filled_in(path, reading_columns(part), "xyYXZ"):
        readings, source = read_readings(path, part)
        used.append(Used(kind="readings", source=source))
    path = folder / "currents.csv"
    if path.exists() and is_filled_in(path, current_columns(part), ("current_a", "power_w")):
        currents, source = read_currents(path, part)
        used.append(Used(kind="currents", source=source))
    balance = None
    if known is not None:
        balance, told = _balance(folder, part, known)
        used.append(told)
    elif (folder / "signals.csv").exists():
        click.echo("signals.csv is left aside: without --known it tells no gains", err=True)
    if not used:
        raise InputError(
            f"{folder}",
            "holds no filled-in pairs.csv, readings.csv or currents.csv",
            f"write templates with 'marquee bench new {folder}' and fill in at least one row",
        )
    return Measurements(
        pairs=pairs, readings=readings, currents=currents, balance=balance, used=tuple(used)
    )


def _band(part: Part, outcome: Outcome) -> str:
    from marquee.bench.advice import typical_band
    from marquee.bench.calibration import calibrated_part
    from marquee.project import ColourSettings

    made = outcome.calibration
    settings = ColourSettings.model_validate({"observer": made.observer, "white": made.white})
    before = typical_band(part, settings)
    after = typical_band(calibrated_part(part, made), settings)
    told = ["unknown" if band is None else f"ΔE {band:.1f}" for band in (before, after)]
    return f"a colour may be off by (95 %): {told[0]} by the data sheet, {told[1]} as calibrated"


def _as_text(outcome: Outcome, advised: tuple[Advice, ...]) -> str:
    from marquee.errors import printable

    made = outcome.calibration
    lines = [f"{printable(made.name)}, {made.part}: {made.summary}", *_figures(outcome)]
    if outcome.pairs is not None:
        lines.append(
            f"{'row':<16} {'colour':<24} {'ΔE before':>9} {'after':>6} {'without it':>10}"
        )
        lines += [
            f"{printable(row.place)[-16:]:<16} {printable(row.name)[:24]:<24} "
            f"{row.before_delta_e_2000:>9.1f} {row.after_delta_e_2000:>6.1f} "
            f"{row.expected_delta_e_2000:>10.1f}"
            for row in outcome.pairs.residuals
        ]
    if outcome.load is not None:
        amps = ", ".join(
            f"{channel} {1000 * a:.1f}"
            for channel, a in zip(made.channels, outcome.load.channel_current_a, strict=True)
        )
        dark = 1000 * outcome.load.dark_current_a
        lines.append(f"mA of one LED at full: {amps}; dark {dark:.2f}")
    lines.append(
        "match next: "
        + "; ".join(
            f"{one.name} {one.colour} (expected error {one.rms_before:.2f} → {one.rms_after:.2f})"
            for one in advised
        )
    )
    return "\n".join(lines)


def _figures(outcome: Outcome) -> list[str]:
    import numpy as np

    made = outcome.calibration
    n = len(made.channels)
    mean, sd = made.posterior.mean, made.posterior.sd
    return [
        f"{'channel':<8} {'light':>13} {'peak':>15} {'exponent':>12}",
        *(
            f"{channel:<8} ×{np.exp(mean[c]):.3f} ± {100 * sd[c]:>2.0f} % "
            f"{mean[n + c]:>+6.1f} ± {sd[n + c]:.1f} nm "
            f"{np.exp(mean[2 * n + c]):>6.3f} ± {100 * sd[2 * n + c]:.0f} %"
            for c, channel in enumerate(made.channels)
        ),
    ]


def _draw(outcome: Outcome, part: Part, picture: str) -> None:
    from marquee.outputs.pictures.bench import bench_picture
    from marquee.outputs.single_file import write_file

    write_file(picture, bench_picture(outcome, part))


def _write_new(path: Path, text: str) -> bool:
    """Write a file that is not there yet; return whether it was written."""
    from marquee.errors import OutputError

    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError:
        if path.is_file():
            return False
        raise OutputError(f"{path}", "is in the way", "choose another folder") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise OutputError(f"{path}", f"cannot be written ({reason})", "check the path") from None
    return True


def _replace(target: Path, text: str) -> Path | None:
    """Write the calibration; keep a different earlier one under the next free number and return its place."""
    from marquee.errors import OutputError
    from marquee.outputs.single_file import replace_file

    kept: Path | None = None
    try:
        if target.exists():
            if target.read_bytes() == text.encode():
                return None
            numbered = (target.with_name(f"{target.name}.{number}") for number in count(1))
            kept = next(place for place in numbered if not place.exists())
        replace_file(target, text.encode(), kept)
    except OSError as error:
        raise OutputError(
            f"{target}", f"cannot be written ({error.strerror or error})", "choose another --out"
        ) from None
    return kept
