from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from coloraide.everything import ColorAll as Color
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from marquee.artwork.palette import read_palette
from marquee.colour.parts import part_names
from marquee.demo import demo_folder, draw
from marquee.project import read_project

PALETTES = sorted((Path(__file__).parents[2] / "palettes").glob("*.toml"))


@pytest.fixture(scope="module", name="folder")
def _folder() -> Iterator[Path]:
    with demo_folder() as folder:
        yield folder


@pytest.fixture(scope="module", name="pixels")
def _pixels(folder: Path) -> NDArray[np.uint8]:
    with Image.open(folder / "marquee.png") as image:
        return np.asarray(image.convert("RGB"))


def where(pixels: NDArray[np.uint8], colour: tuple[int, int, int]) -> NDArray[np.bool_]:
    """Return the pixels at least half covered by a colour that meets nothing but the black face."""
    share = pixels.astype(float) @ np.array(colour, float) / float(np.dot(colour, colour))
    left = np.abs(pixels - share[..., None] * np.array(colour, float)).max(axis=-1)
    return np.asarray((share > 0.5) & (left < 3), bool)


def test_drawing_again_gives_the_packaged_pixels(pixels: NDArray[np.uint8]) -> None:
    assert (draw.artwork() == pixels).all(), "run python -m marquee.demo.draw"


def test_artwork_is_small_plain_and_of_the_stated_proportions(folder: Path) -> None:
    path = folder / "marquee.png"
    assert path.stat().st_size < 200_000
    with Image.open(path) as image:
        assert image.mode == "RGB"
        assert (
            image.info == {}
        )  # no date, no software, no resolution that could contradict --width
        project = read_project(folder / "project.toml")
        assert project.artwork.width_mm is not None
        mm_per_px = project.artwork.width_mm / image.width
    assert mm_per_px * 600 == pytest.approx(100, abs=1e-9)


def test_project_file_validates_and_names_what_is_there(folder: Path) -> None:
    project = read_project(folder / "project.toml")
    assert Path(project.artwork.file) == folder / "marquee.png"
    assert project.zones.palette is not None
    assert Path(project.zones.palette).is_file()
    assert project.leds.part in part_names()


def test_palette_is_what_the_artwork_shows(folder: Path, pixels: NDArray[np.uint8]) -> None:
    flat, counts = np.unique(pixels.reshape(-1, 3), axis=0, return_counts=True)
    shown = [Color("srgb", list(c / 255)) for c in flat[counts > 2000] if c.any()]
    rows = tomllib.loads((folder / "palette.toml").read_text(encoding="utf-8"))["colour"]
    assert len(shown) == len(rows) == 9
    for row in rows:
        stated = Color(row["value"]) if "value" in row else Color("lab", row["lab"])
        # coloraide's CIEDE2000; two decimals of Lab and 8 bits of sRGB leave less than 0.3.
        assert min(stated.delta_e(colour, method="2000") for colour in shown) < 0.3


@pytest.mark.parametrize("path", PALETTES, ids=lambda p: p.stem)
def test_palettes_are_read_as_coloraide_reads_them(path: Path) -> None:
    rows = tomllib.loads(path.read_text(encoding="utf-8"))["colour"]
    for row, target in zip(rows, read_palette(str(path)), strict=True):
        if "value" in row:
            stated = Color(row["value"])
        elif "lab" in row:
            stated = Color({"D50": "lab", "D65": "lab-d65"}[row["white"]], row["lab"])
        else:
            stated = Color("xyy", row["xyY"])
        wanted = stated.convert("xyz-d65").coords()
        # The white's 4th digit differs between the two (0.3127, 0.3290 against the ICC's).
        assert target.xyz == pytest.approx(wanted, abs=2e-4)


def test_there_are_two_more_palettes_and_each_says_it_is_fictional(folder: Path) -> None:
    assert len(PALETTES) >= 2
    for path in (*PALETTES, folder / "palette.toml"):
        table = tomllib.loads(path.read_text(encoding="utf-8"))
        assert "fictional" in table["name"]
        assert any("fictional" in row.get("note", "") for row in table["colour"])


def test_word_mark_has_nine_letters_and_six_counters(pixels: NDArray[np.uint8]) -> None:
    letters = where(pixels, draw.LETTERS)
    # O R B H O L L O W: counters in O (1), R (1), B (2), O (1), O (1).
    assert ndimage.label(letters)[1] == 9
    assert ndimage.label(~letters)[1] == 6 + 1  # and what lies around them


def test_web_between_orb_and_ring_is_4_to_5_mm_and_partly_nearer(
    pixels: NDArray[np.uint8],
) -> None:
    orb, ring = where(pixels, draw.ORB), where(pixels, draw.RING)
    gap_mm = ndimage.distance_transform_edt(~ring)[orb] / draw.PX_PER_MM
    assert gap_mm.min() == pytest.approx(2.0, abs=0.35)  # behind: ± one pixel and the blend
    far_mm = ndimage.distance_transform_edt(~orb)[ring] / draw.PX_PER_MM
    near = np.histogram(far_mm, bins=[0, 1.5, 3.5, 5.0])[0]
    assert near[0] == 0
    assert near[1] > 0
    assert near[2] > 3 * near[1]  # most of the web is the wider one


def test_tail_stripes_are_finer_than_a_wall(pixels: NDArray[np.uint8], folder: Path) -> None:
    row = pixels[int(draw.PX_PER_MM * 71.5), draw.PX_PER_MM * 130 : draw.PX_PER_MM * 340]
    palette = np.array(draw.TAIL, float)
    nearest = np.argmin(((row[:, None, :] - palette) ** 2).sum(axis=-1), axis=1)
    steps = np.flatnonzero(np.diff(nearest))
    # Stripes lean 0.55 mm to the right per mm up: a level row crosses them at a slant.
    stripe_mm = np.median(np.diff(steps)) / draw.PX_PER_MM / np.hypot(1, 0.55)
    assert stripe_mm == pytest.approx(2.0, abs=1 / draw.PX_PER_MM)
    assert stripe_mm < read_project(folder / "project.toml").box.wall_thickness_mm
    assert len(set(nearest.tolist())) == len(draw.TAIL)
