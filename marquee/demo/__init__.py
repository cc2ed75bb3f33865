"""The packaged demo: Orb Hollow, an invented venue; artwork, palette and project file."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from importlib import resources
from pathlib import Path


@contextmanager
def demo_folder() -> Iterator[Path]:
    """Give the folder with marquee.png, palette.toml and project.toml, also from a zipped package."""
    with resources.as_file(resources.files("marquee.demo")) as folder:
        yield folder
