"""`marquee new`: a commented project file to start from, asked for on a terminal or given by flags."""

from __future__ import annotations

import contextlib
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from marquee.cli.completing import a_part
from marquee.errors import MarqueeError
from marquee.keywords import PLACES, laid_out
from marquee.units import states_size


@dataclass(frozen=True, slots=True)
class _Question:
    word: str  # of the flag
    text: str
    default: str = ""  # empty: the setting is left out


_QUESTIONS = (
    _Question("artwork", "Artwork file, beside the project file", "artwork.png"),
    _Question("width", "Width of the whole picture on the cabinet", "380mm"),
    _Question("palette", "Palette file with the exact brand colours (Enter: none)"),
    _Question("part", "LED part, see 'marquee parts'", "ws2812b"),
    _Question("pitch", "LED spacing on the strip", "16.67mm"),
    _Question("depth", "Depth from the LEDs to the diffuser", "40mm"),
    _Question("supply", "Supply you own, such as 5V/4A (Enter: let it be chosen)"),
    _Question("controller", "Controller chip", "atmega328p"),
    _Question("tariff", "Price of a kWh (Enter: none)"),
)


@click.command(epilog="Example: marquee new cabinet-two --artwork sign.png --width 380mm")
@click.argument("folder", metavar="DIR")
@click.option(
    "--artwork",
    metavar="FILE",
    help="Artwork, beside the file [artwork.png].",
)
@click.option("--width", metavar="LENGTH", help="Width on the cabinet [380mm].")
@click.option(
    "--palette",
    metavar="FILE",
    help="Palette with the exact brand colours.",
)
@click.option(
    "--part",
    metavar="NAME|FILE",
    shell_complete=a_part,
    help="LED part [ws2812b]; see 'marquee parts'.",
)
@click.option("--pitch", metavar="LENGTH", help="LED spacing [16.67mm, 60 a metre].")
@click.option("--depth", metavar="LENGTH", help="LED plane to diffuser [40mm].")
@click.option("--supply", metavar="V/A", help="A supply you own: 5V/4A.")
@click.option("--controller", metavar="NAME", help="Controller chip [atmega328p].")
@click.option("--tariff", metavar="PRICE", help="Price of a kWh.")
@click.option(
    "--ask/--no-ask",
    default=None,
    help="Ask for what no flag gives [where a terminal is there and no flag is given].",
)
def new(folder: str, ask: bool | None, **flags: str | None) -> None:
    """Start a project: DIR/project.toml with every setting, its default and its reason."""
    from marquee.errors import OutputError

    target = Path(folder) / "project.toml"
    if target.exists() or target.is_symlink():
        raise OutputError(f"{target}", "exists already", "edit it, or choose another folder")
    answers = {word: _checked(word, text) for word, text in flags.items() if text is not None}
    if ask is None:
        ask = not answers and _is_watched()
    if ask:
        answers |= _asked(answers)
    _write(target, answers)
    artwork = str(answers.get("artwork", _QUESTIONS[0].default))
    there = target.parent / artwork
    first = "" if there.exists() else f"put the artwork at {there}, "
    if not ask and "width" not in answers and not states_size(artwork):
        first += f"set the sign's width in it ({_QUESTIONS[1].default} is a guess), "
    click.echo(f"{target} written; {first}run: marquee plan {target}")


def _is_watched() -> bool:
    return sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty()


def _asked(given: dict[str, str | float]) -> dict[str, str | float]:
    """Return answers to what was not given; Enter takes the default, a wrong answer is told and asked for again.

    Raises
    ------
    click.Abort
        Ctrl-C, Ctrl-D, or an input that has ended: nothing has been written.
    """
    click.echo(
        "Enter takes what stands in brackets. Ctrl-C leaves without writing anything.", err=True
    )
    answers: dict[str, str | float] = {}
    for question in _QUESTIONS:
        while question.word not in given:
            shown = f" [{question.default}]" if question.default else ""
            text = click.prompt(
                question.text + shown, default="", show_default=False, err=True
            ).strip()
            if not text:
                break
            try:
                answers[question.word] = _checked(question.word, text)
            except MarqueeError as error:
                click.echo(f"marquee: {error}", err=True)
            else:
                break
    return answers


def _checked(word: str, text: str) -> str | float:
    """Return the answer as it is written to the file.

    Raises
    ------
    MarqueeError
        It cannot be used, in the words a plan would use.
    """
    from marquee.colour.parts import load_part
    from marquee.firmware import find_controller
    from marquee.project import make_project

    if word == "tariff":
        return _price(text)
    good: dict[str, Any] = {"artwork": {"file": "artwork.png", "width": "380mm"}}
    if word == "artwork":
        good["artwork"]["file"] = text
    else:
        section, keys = next(iter(laid_out({word: text}).items()))
        good.setdefault(section, {}).update(keys)
    project = make_project(good, f"--{word}")
    if word == "part" and not text.lower().endswith(".toml"):
        load_part(text)
    if word == "controller":
        find_controller(project.firmware.controller)
    if word == "supply":
        from marquee.power.supply import parse_supply

        parse_supply(text)
    return text


def _price(text: str) -> float:
    from marquee.errors import QuantityError

    with contextlib.suppress(ValueError):
        price = float(text.replace(",", "."))
        if 0 <= price <= 100:
            return price
    raise QuantityError("--tariff", f"'{text}' is not a price of a kWh", "write it like 0.30")


def _write(target: Path, answers: dict[str, str | float]) -> None:
    """Write the file, whole or not at all, and no folder without it."""
    from marquee.errors import OutputError
    from marquee.outputs.single_file import write_file
    from marquee.project_template import project_template

    artwork, width = (str(answers.get(q.word, q.default)) for q in _QUESTIONS[:2])
    stated = None if "width" not in answers and states_size(artwork) else width
    chosen = {PLACES[w]: v for w, v in answers.items() if w not in {"artwork", "width"}}
    text = project_template(artwork, stated, chosen)
    made = [folder for folder in (target.parent, *target.parent.parents) if not folder.exists()]
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        write_file(f"{target}", text.encode("utf-8", "surrogateescape"))
    except BaseException as error:
        for folder in made:
            with contextlib.suppress(OSError):
                folder.rmdir()
        if isinstance(error, OSError | ValueError):
            reason = getattr(error, "strerror", None) or error
            raise OutputError(
                f"{target}", f"cannot be written ({reason})", "check the path"
            ) from None
        raise
