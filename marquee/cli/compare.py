"""`marquee compare`: what changed between two plans."""

from __future__ import annotations

from pathlib import Path

import click

from marquee.cli import options
from marquee.cli.completing import a_folder


@click.command(epilog="Example: marquee compare sign-plan-before/ sign-plan/")
@click.argument("before", metavar="BEFORE", shell_complete=a_folder)
@click.argument("after", metavar="AFTER", shell_complete=a_folder)
@options.json_option
def compare(before: str, after: str, as_json: bool) -> None:
    """Tell what changed between two plans: give the folders, or their plan.json files."""
    import json

    from marquee.outputs.clean import clean
    from marquee.outputs.compare import compare_plans
    from marquee.outputs.compare_read import read_plan
    from marquee.outputs.compare_text import compare_dict, compare_text

    changes = compare_plans(read_plan(Path(before)), read_plan(Path(after)))
    names = (before, after)
    if as_json:
        told = clean(compare_dict(changes, names))
        click.echo(json.dumps(told, indent=1, ensure_ascii=False))
    else:
        click.echo(compare_text(changes, names), nl=False)
