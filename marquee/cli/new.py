"""`marquee new`: a commented project file to start from."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(epilog="Example: marquee new cabinet-two --artwork sign.png --width 380mm")
@click.argument("folder", metavar="DIR")
@click.option(
    "--artwork", default="artwork.png", metavar="FILE", help="Artwork, named in the file."
)
@click.option("--width", default="380mm", metavar="LENGTH", help="Width on the cabinet [380mm].")
def new(folder: str, artwork: str, width: str) -> None:
    """Start a project: DIR/project.toml with every setting, its default and its reason."""
    from marquee.errors import OutputError
    from marquee.project_template import project_template
    from marquee.units import parse_length_mm

    parse_length_mm(width, "--width")
    target = Path(folder) / "project.toml"
    text = project_template(artwork, width)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError:
        raise OutputError(
            f"{target}", "exists already", "edit it, or choose another folder"
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise OutputError(f"{target}", f"cannot be written ({reason})", "check the path") from None
    click.echo(f"{target} written; put the artwork beside it and run: marquee plan {target}")
