"""Kinds of artwork makers bring, drawn with exact truth: areas and counts from supersampled label maps (drawing.py)."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from marquee.artwork.zones import find_zones
from marquee.colour.difference import delta_e_2000
from marquee.colour.spaces import srgb_8bit_to_lab_d65
from marquee.project import ZoneSettings
from marquee.values import ZoneMap
from tests.artwork.drawing import (
    Drawing,
    as_artwork,
    codes,
    emblem,
    enlarged,
    jpeg,
    laid_over,
    softened,
    striped,
)

Picture = NDArray[np.uint8]
Made = tuple[Drawing, Picture, Picture | None]
KERNELS = {
    "bilinear": Image.Resampling.BILINEAR,
    "bicubic": Image.Resampling.BICUBIC,
    "lanczos": Image.Resampling.LANCZOS,
    "repeated": Image.Resampling.NEAREST,
}


def zones_of(art: Drawing, picture: Picture, alpha: Picture | None = None) -> ZoneMap:
    return find_zones(as_artwork(picture, art.width_mm, alpha), ZoneSettings(), (), 3.0)


def check(art: Drawing, zones: ZoneMap, area_rel: float = 0.01) -> None:
    """Colours exact in number and within CIEDE2000 3, apertures exact in number, areas as stated."""
    truth = art.truth()
    wanted = sorted({colour for colour, *_ in truth})
    true = srgb_8bit_to_lab_d65(np.array([codes(c) for c in wanted]))
    found = np.array([c.lab_d65 for c in zones.colours])
    distance = delta_e_2000(true[:, None], found[None])
    assert len(found) == len(wanted)
    assert distance.min(axis=1).max() < 3.0
    assert len(zones.apertures) == len(truth)
    for k, colour in zip(distance.argmin(axis=1).tolist(), wanted, strict=True):
        area = sum(a for c, a, *_ in truth if c == colour)
        assert zones.colours[k].area_mm2 == pytest.approx(area, rel=area_rel)


def pair(second: str) -> Made:
    art = Drawing(400, 120, 4)
    art.box("#3c78c8", 20, 20, 120, 100)
    art.box(second, 120, 20, 180, 100)
    art.disc("#3c78c8", 240, 60, 34)
    art.disc(second, 335, 60, 34)
    return art, art.paint(), None


def thin(px_per_mm: float, *, linear: bool = False) -> Made:
    art = Drawing(400, 120, px_per_mm)
    art.word("#ffd21f", 20, 20, 45, 0.5)
    art.word("#18b8d8", 20, 70, 30, 0.5)
    art.line("#ff4040", 0.5, (250, 20), (380, 90), (250, 95))
    return art, art.paint(linear=linear), None


def thin_between() -> Made:
    art = Drawing(400, 120, 4)
    art.box("#d81e2c", 20, 20, 100, 100)
    art.box("#2346d2", 101, 20, 180, 100)
    art.box("#ffffff", 100, 20, 101, 100)
    return art, art.paint(), None


def blend_is_a_colour() -> Made:
    art = Drawing(400, 120, 4)
    art.box("#d81e2c", 20, 20, 120, 100)
    art.box("#1fa64a", 120, 20, 220, 100)
    art.box("#7c623b", 240, 20, 300, 100)  # half way between the two
    art.polygon("#ffffff", (310, 20), (390, 20), (350, 100))
    art.polygon("#808080", (320, 25), (380, 25), (350, 60))
    return art, art.paint(), None


def outlined() -> Made:
    art = Drawing(400, 120, 4)
    art.word("#ffffff", 25, 25, 60, 14)
    art.word("#d81e2c", 25, 25, 60, 10)
    return art, art.paint(), None


def dusty() -> Made:
    art = emblem(4)
    picture = art.paint()
    rng = np.random.default_rng(1)
    for _ in range(200):
        y, x = rng.integers(0, picture.shape[0] - 4), rng.integers(0, picture.shape[1] - 4)
        size = rng.integers(1, 4)
        picture[y : y + size, x : x + size] = rng.integers(60, 256, 3)
    return art, picture, None


def noisy() -> Made:
    art = emblem(4)
    picture = art.paint()
    noise = np.random.default_rng(5).normal(0, 4, picture.shape)
    return art, np.rint(picture + noise).clip(0, 255).astype(np.uint8), None


def fringed(matte: tuple[int, int, int]) -> Made:
    """Alpha edges whose colours were mixed with what lay behind."""
    art = emblem(4)
    cover = 1 - art.cover(0)[..., None]
    painted = sum(art.cover(k)[..., None] * codes(c) for k, c in enumerate(art.colours) if k > 0)
    mixed = painted + (1 - cover) * np.array(matte)
    alpha = np.rint(cover[..., 0] * 255).astype(np.uint8)
    return art, np.rint(mixed).clip(0, 255).astype(np.uint8), alpha


def plain(art: Drawing) -> Made:
    return art, art.paint(), None


EXACT: dict[str, Callable[[], Made]] = {
    "blended in codes": lambda: plain(emblem(4)),
    "blended in linear light": lambda: (art := emblem(4), art.paint(linear=True), None),
    "few pixels": lambda: (art := emblem(2.5), art.paint(linear=True), None),
    "colours 10 apart": lambda: pair("#526892"),
    "dark lit colours": lambda: plain(emblem(4, "#3a1420", "#14283a")),
    "darkest lit colours": lambda: plain(emblem(4, "#301010", "#101c2c")),
    "half millimetre strokes": lambda: thin(4),
    "half millimetre strokes in linear light": lambda: thin(4, linear=True),
    "half millimetre strokes, few pixels": lambda: thin(2.5),
    "line between two colours": thin_between,
    "a blend that is a colour": blend_is_a_colour,
    "greys": lambda: plain(emblem(4, "#ffffff", "#808080")),
    "two millimetre outline": outlined,
    "dust": dusty,
    "noise": noisy,
    "fringe of white": lambda: fringed((255, 255, 255)),
    "fringe of black": lambda: fringed((0, 0, 0)),
    "fringe of green": lambda: fringed((0, 255, 0)),
    "light background": lambda: plain(emblem(4, face="#f2ead8")),
    "stripes of 12 mm": lambda: plain(striped(12)),
    "upright stripes of 12 mm": lambda: plain(striped(12, upright=True)),
}


@pytest.mark.parametrize("kind", EXACT)
def test_colours_counts_and_areas_are_right(kind: str) -> None:
    art, picture, alpha = EXACT[kind]()
    zones = zones_of(art, picture, alpha)
    check(art, zones)
    assert all(zone.kind == "solid" for zone in zones.zones)


@pytest.mark.parametrize("quality", [50, 75, 90])
@pytest.mark.parametrize("second", ["#18b8d8", "#d81e2c"])
def test_lossy_compression_adds_no_colours_or_slivers(quality: int, second: str) -> None:
    art = emblem(4, second=second)
    check(art, zones_of(art, jpeg(art.paint(), quality)))


@pytest.mark.parametrize("kernel", KERNELS)
@pytest.mark.parametrize("factor", [2, 4])
def test_enlarging_adds_no_colours_or_slivers(kernel: str, factor: int) -> None:
    art = emblem(4 / factor)
    check(art, zones_of(art, enlarged(art.paint(), factor, KERNELS[kernel])))


def test_compressing_what_was_enlarged_adds_no_colours_or_slivers() -> None:
    art = emblem(2)
    check(art, zones_of(art, jpeg(enlarged(art.paint(), 2, KERNELS["bicubic"]), 75)))


@pytest.mark.parametrize("strength", [0.4, 0.6, 0.9])
def test_a_glow_is_reported_and_not_cut(strength: float) -> None:
    art = emblem(4)
    glow = sum(softened(art, k, 3, strength) * codes(art.colours[k]) for k in (1, 2))
    zones = zones_of(art, laid_over(art, np.asarray(glow)))
    check(art, zones)
    assert "zones.soft" in [f.code for f in zones.findings]
    assert all(zone.kind == "solid" for zone in zones.zones)


def test_a_shadow_on_a_light_face_is_reported_and_not_cut() -> None:
    art = emblem(4, face="#f2ead8")
    shade = (
        codes("#f2ead8") * (1 - softened(art, 1, 2, 0.5, 3)) * (1 - softened(art, 2, 2, 0.5, 3))
    )
    zones = zones_of(art, laid_over(art, shade))
    check(art, zones)
    codes_found = [f.code for f in zones.findings]
    assert "zones.soft" in codes_found
    assert "zones.light-background" in codes_found


@pytest.mark.parametrize("upright", [False, True])
@pytest.mark.parametrize("width_mm", [1, 2])
def test_stripes_finer_than_a_wall_become_one_mixed_zone(width_mm: float, upright: bool) -> None:
    art = striped(width_mm, upright=upright)
    zones = zones_of(art, art.paint())
    mixed = [z for z in zones.zones if z.kind == "mixed"]
    assert len(mixed) == 1
    assert len(mixed[0].colours) == 4
    assert f"{width_mm:g} mm stripes, wall 3 mm" in mixed[0].reason
    assert len(zones.colours) == 5


@pytest.mark.parametrize("radial", [False, True])
def test_a_gradient_becomes_one_mixed_zone(radial: bool) -> None:
    art = Drawing(400, 120, 4)
    art.word("#808080", 25, 25, 48, 12)
    art.box("#18b8d8", 25, 95, 380, 108)
    y, x = np.mgrid[: art.height_px, : art.width_px] / 4
    t = np.hypot(x - 150, y - 50) / 140 if radial else (x - 25) / 250
    colour = codes("#e01030") + np.clip(t, 0, 1)[..., None] * (codes("#ffe020") - codes("#e01030"))
    picture = art.paint() + art.cover(1)[..., None] * (colour - codes("#808080"))
    zones = zones_of(art, np.rint(picture).clip(0, 255).astype(np.uint8))
    mixed = [z for z in zones.zones if z.kind == "mixed"]
    assert len(mixed) == 1
    assert mixed[0].mode == "hue-cycle"
    assert len(zones.apertures) == len(art.truth())
    area = sum(a for c, a, *_ in art.truth() if c == "#808080")
    assert mixed[0].area_mm2 == pytest.approx(area, rel=0.01)


def test_pure_noise_is_one_mixed_area_and_says_so() -> None:
    noise = np.random.default_rng(1).integers(0, 256, (400, 800, 3), np.uint8)
    zones = find_zones(as_artwork(noise, 600), ZoneSettings(), (), 3.0)
    assert [z.kind for z in zones.zones] == ["mixed"]
    assert "zones.photograph" in [f.code for f in zones.findings]


@pytest.mark.slow
def test_large_artwork_gives_the_small_one_s_areas() -> None:
    """Worked on coarser, brought back to every pixel: same counts, areas within a fifth of a percent."""
    art = emblem(10)
    zones = zones_of(art, art.paint())
    check(art, zones, area_rel=0.002)
    lit = art.cover(0) < 0.5
    assert np.mean((zones.zone_of_px >= 0) != lit) < 1e-3


@pytest.mark.parametrize("kernel", ["bilinear", "bicubic"])
@pytest.mark.parametrize(("quality", "factor"), [(50, 4), (60, 3), (75, 4), (90, 3), (90, 4)])
def test_enlarging_what_was_compressed_adds_no_colours_or_slivers(
    quality: int, factor: int, kernel: str
) -> None:
    art = emblem(4 / factor)
    zones = zones_of(art, enlarged(jpeg(art.paint(), quality), factor, KERNELS[kernel]))
    # A pixel of the original is up to 1 mm, its colour kept at half resolution: 3 % is a seventh of that all round.
    check(art, zones, area_rel=0.03)


@pytest.mark.parametrize("quality", [60, 75, 90])
def test_a_compressed_gradient_stays_one_mixed_zone(quality: int) -> None:
    art = Drawing(400, 120, 4)
    art.word("#808080", 25, 25, 48, 12)
    art.box("#18b8d8", 25, 95, 380, 108)
    x = np.arange(art.width_px) / 4
    t = np.clip((x - 25) / 250, 0, 1)[None, :, None]
    colour = codes("#e01030") + t * (codes("#ffe020") - codes("#e01030"))
    picture = art.paint() + art.cover(1)[..., None] * (colour - codes("#808080"))
    zones = zones_of(art, jpeg(np.rint(picture).clip(0, 255).astype(np.uint8), quality))
    assert len(zones.colours) == 2
    assert len(zones.apertures) == len(art.truth())
    (mixed,) = [z for z in zones.zones if z.kind == "mixed"]
    area = sum(a for c, a, *_ in art.truth() if c == "#808080")
    assert mixed.area_mm2 == pytest.approx(area, rel=0.02)


@pytest.mark.parametrize("kernel", ["bicubic", "lanczos"])
@pytest.mark.parametrize("light", ["#dcdce6", "#c8aa96", "#a0c8a0"])
def test_the_bright_rim_of_a_sharpening_reduction_is_no_colour(light: str, kernel: str) -> None:
    """Kernels with negative lobes overshoot at edges: 12 % of the step with Pillow's Lanczos filter."""
    art = Drawing(400, 120, 3.5)
    art.polygon(light, (57, 60), (120, 31), (234, 31), (280, 60), (234, 88), (120, 88))
    art.disc("#145ac8", 200, 60, 17)
    art.polygon("#e6321e", (17, 60), (54, 42), (54, 77))
    art.polygon("#fadc3c", (300, 100), (340, 20), (380, 95))
    fine = np.array([codes(c) for c in art.colours], np.uint8)[art.labels[::2, ::2]]
    size = (art.width_px, art.height_px)
    check(art, zones_of(art, np.asarray(Image.fromarray(fine).resize(size, KERNELS[kernel]))))
