"""`marquee header`: the firmware constants alone, or a check of a header against its plan."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from marquee.cli import options
from marquee.cli.source import project_from

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
def header(source: str | None, check: str | None, form: str, **flags: Any) -> int:  # noqa: ANN401 -- shared options by name
    """Print a plan's firmware constants, or --check whether a header is edited or stale.

    Without artwork or project, --check tells only whether the values were edited. Status 1: it differs.
    """
    if check is None:
        if source is None:
            raise click.UsageError("give an artwork or project, or a header to --check")
        click.echo(_constants(source, form, flags), nl=False)
        return 0
    text = _read(Path(check))
    differences = _differences(text, check, source, flags)
    for difference in differences:
        click.echo(difference)
    if not differences:
        click.echo(
            "says what the plan says" if source else "not edited: the checksum fits its values"
        )
    return int(bool(differences))


def _constants(source: str, form: str, flags: dict[str, Any]) -> str:
    from marquee.outputs.constants_json import constants_json_text
    from marquee.outputs.constants_py import constants_py_text
    from marquee.outputs.header import header_text
    from marquee.plan import make_plan

    text_of = {"c": header_text, "py": constants_py_text, "json": constants_json_text}[form]
    return text_of(make_plan(project_from(source, flags)))


def _differences(
    text: str, where: str, source: str | None, flags: dict[str, Any]
) -> tuple[str, ...]:
    from marquee.outputs.header import header_text
    from marquee.outputs.header_code import code_differences
    from marquee.outputs.header_read import check_header, edited_by_hand
    from marquee.plan import make_plan

    if source is None:
        return edited_by_hand(text, where)
    plan = make_plan(project_from(source, flags))
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
