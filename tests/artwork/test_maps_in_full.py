"""Maps and pictures held compactly come out in full as numpy and Pillow make them."""

from __future__ import annotations

import pickle
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageOps

from marquee.artwork.read import read_artwork
from marquee.artwork.zones import find_zones
from marquee.cache.codec import from_bytes, pack, to_bytes
from marquee.project import ArtworkSettings, ZoneSettings
from marquee.values import Artwork, ZoneMap
from marquee.values_pixels import Enlarged, Padded, as_given
from tests.artwork.drawing import emblem


@given(st.data())
def test_enlarged_map_is_the_kronecker_product_with_single_pixels_set(data: st.DataObject) -> None:
    factor = data.draw(st.integers(1, 4))
    rows, columns = data.draw(st.integers(1, 6)), data.draw(st.integers(1, 6))
    height = rows * factor - data.draw(st.integers(0, factor - 1))
    width = columns * factor - data.draw(st.integers(0, factor - 1))
    rng = np.random.default_rng(data.draw(st.integers(0, 999)))
    coarse = rng.integers(-1, 5, (rows, columns)).astype(np.int32)
    place = np.flatnonzero(rng.random(height * width) < 0.3)
    own = rng.integers(-1, 5, place.size).astype(np.int32)
    expected = np.kron(coarse, np.ones((factor, factor), np.int32))[:height, :width].copy()
    expected.ravel()[place] = own
    held = Enlarged(coarse=coarse, factor=factor, shape=(height, width), place=place, own=own)
    assert (held.in_full() == expected).all()
    top = data.draw(st.integers(0, height - 1))
    bottom = data.draw(st.integers(top + 1, height + 3))
    assert (held.window(top, bottom) == expected[top:bottom]).all()
    lit = np.zeros((rows * factor, columns * factor), bool)
    lit[:height, :width] = expected >= 0
    blocks = lit.reshape(rows, factor, columns, factor).any(axis=(1, 3))
    # A block keeps what single pixels took from it, so it may be called lit without need, never the other way.
    assert (held.coarse_any() | ~blocks).all()


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> tuple[Artwork, ZoneMap]:
    """Return an emblem of 9 megapixels, 0.08 mm a pixel, so that zones are found on pixels of 0.24 mm."""
    path = tmp_path_factory.mktemp("large") / "emblem.png"
    Image.fromarray(emblem(13).paint()).save(path)
    artwork = read_artwork(
        path, ArtworkSettings.model_validate({"file": str(path), "width": "400mm"})
    )
    return artwork, find_zones(artwork, ZoneSettings(), (), 3.0)


def test_full_map_follows_edges_finer_than_the_work_s_pixels(
    large: tuple[Artwork, ZoneMap],
) -> None:
    artwork, zones = large
    assert isinstance(as_given(zones, "aperture_of_px"), Enlarged)
    lit = zones.aperture_of_px >= 0
    drawn = artwork.srgb_8bit.max(axis=2) >= 128
    inner = np.zeros_like(lit)
    inner[1:-1, 1:-1] = True
    # Edge pixels are shared, so which side they fall on is open; a pixel's width along every edge is 0.3 % of all.
    assert np.mean((lit != drawn) & inner) < 5e-4
    owner = np.append([a.zone for a in zones.apertures], -1)
    assert (owner[zones.aperture_of_px] == zones.zone_of_px).all()
    assert not zones.zone_of_px.flags.writeable


def test_sizes_and_cached_bytes_need_no_full_map(large: tuple[Artwork, ZoneMap]) -> None:
    artwork, zones = large
    assert (artwork.width_px, artwork.height_px) == (5200, 1560)
    assert zones.width_mm == pytest.approx(400)
    assert zones.height_mm == pytest.approx(120)
    packed = pack(zones)
    assert sum(piece.nbytes for piece in packed.pieces) < artwork.width_px * artwork.height_px
    back, _ = from_bytes(to_bytes(packed, packed.digest()))
    assert isinstance(back, ZoneMap)
    assert (back.aperture_of_px == zones.aperture_of_px).all()
    again = pickle.loads(pickle.dumps(zones))  # noqa: S301 -- our own
    assert (again.zone_of_px == zones.zone_of_px).all()


@pytest.mark.parametrize("form", ["png", "jpg", "webp"])
@pytest.mark.parametrize("orientation", [1, 6])
def test_pixels_decoded_in_place_are_those_pillow_decodes(
    tmp_path: Path, form: str, orientation: int
) -> None:
    path = tmp_path / f"picture.{form}"
    exif = Image.Exif()
    exif[0x0112] = orientation
    Image.fromarray(emblem(2).paint()).save(path, exif=exif, lossless=True)
    settings = ArtworkSettings.model_validate({"file": str(path), "width": "400mm"})
    read = read_artwork(path, settings)
    assert isinstance(as_given(read, "srgb_8bit"), Padded) == (orientation == 1)
    with Image.open(path) as image:
        expected = np.asarray(ImageOps.exif_transpose(image).convert("RGB"))
    assert (read.srgb_8bit == expected).all()
