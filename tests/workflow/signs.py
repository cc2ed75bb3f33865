"""Small signs of invented venues, drawn where a test needs them."""

from __future__ import annotations

from pathlib import Path

from PIL import Image, ImageDraw

TEAL, AMBER, ROSE = "#18b8a8", "#ff9a1e", "#c2476b"


def two_squares(path: Path, left: str = TEAL, right: str = AMBER) -> Path:
    """Draw two lit squares, 8 mm apart on 120 × 60 mm of black at 0.5 mm a pixel."""
    image = Image.new("RGB", (240, 120), "#000000")
    pen = ImageDraw.Draw(image)
    pen.rectangle((20, 20, 99, 99), fill=left)
    pen.rectangle((116, 20, 215, 99), fill=right)
    image.save(path)
    return path


def project(folder: Path, name: str, artwork: str, *lines: str, width: str = "120mm") -> Path:
    """Write a project file beside its artwork; `lines` follow the artwork's section."""
    path = folder / name
    text = f'[artwork]\nfile = "{artwork}"\nwidth = "{width}"\n' + "\n".join(lines) + "\n"
    path.write_text(text, encoding="utf-8")
    return path
