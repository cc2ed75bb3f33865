"""`marquee header`: the firmware constants alone, or a check of a header against its plan."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from marquee.cli import options
from marquee.cli.make import planned

if TYPE_CHECKING:
    from marquee.plan import Plan

_MOST_BYTES = 1_000_000


@click.command(epilog="Example: marquee header project.toml --check sketch/marquee_constants.h")
@click.argument("source", metavar="[ARTWORK|PROJECT.toml]", required=False)
@click.option("--check", metavar="FILE.h", help="Compare this header, or the program it is in.")
@click.option(
    "--form", type=click.Choice(["c", "py", "json"]), default="c", help="Language to print [c]."
)
@options.artwork_options
@options.box_options
@options.colour_options
@options.luminance_option
@options.cycle_option
@options.power_options
@options.cache_option
def header(
    source: str | None,
    check: str | None,
    form: str,
    cache: bool,
    **flags: Any,  # noqa: ANN401 -- shared options by name
) -> int:
    """Print a plan's firmware constants, or --check whether a header is edited or stale.

    Without artwork or project, --check tells only whether the values were edited. Status 1: it differs.
    """
    if check is None:
        if source is None:
            raise click.UsageError("give an artwork or project, or a header to --check")
        click.echo(_constants(planned(source, flags, cache), form), nl=False)
        return 0
    text = _read(Path(check))
    plan = None if source is None else planned(source, flags, cache)
    differences = _differences(text, check, plan)
    for difference in differences:
        click.echo(difference)
    if not differences:
        click.echo(
            "says what the plan says" if source else "not edited: the checksum fits its values"
        )
    return int(bool(differences))


def _constants(plan: Plan, form: str) -> str:
    from marquee.outputs.constants_json import constants_json_text
    from marquee.outputs.constants_py import constants_py_text
    from marquee.outputs.header import header_text

    text_of = {"c": header_text, "py": constants_py_text, "json": constants_json_text}[form]
    return text_of(plan)


def _differences(text: str, where: str, plan: Plan | None) -> tuple[str, ...]:
    from marquee.outputs.header import header_text
    from marquee.outputs.header_code import code_differences
    from marquee.outputs.header_read import check_header, edited_by_hand

    if plan is None:
        return edited_by_hand(text, where)
    return check_header(text, plan, where) or code_differences(text, header_text(plan))


def _read(path: Path) -> str:
    from marquee.errors import InputError

    try:
        if path.exists() and not path.is_file():
            raise InputError(f"{path}", "is not a file", "give marquee_constants.h")
        if path.stat().st_size > _MOST_BYTES:
            raise InputError(f"{path}", "is larger than 1 MB", "give marquee_constants.h")
        return path.read_text(encoding="utf-8-sig", errors="replace")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or f"{error}"
        raise InputError(f"{path}", f"cannot be read ({reason})", "check the path") from None
