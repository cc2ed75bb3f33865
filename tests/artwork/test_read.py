"""Reading artwork: every form of pixels against the colours the formats' standards give them."""

from __future__ import annotations

import hashlib
import io
import struct
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from marquee.artwork.read import read_artwork
from marquee.project import ArtworkSettings
from marquee.values import Artwork
from tests.artwork.drawing import emblem
from tests.artwork.files import png

DATA = Path(__file__).parents[1] / "data" / "artwork" / "images"


def read(path: Path, **more: object) -> Artwork:
    stated = {"file": "picture", "width": "400mm", **more}
    return read_artwork(path, ArtworkSettings.model_validate(stated))


def reread(tmp_path: Path, data: bytes) -> Artwork:
    path = tmp_path / "picture.png"
    path.write_bytes(data)
    return read(path)


def ramp() -> np.ndarray:
    """All 256 codes in three channels, each in another order."""
    line = np.arange(256, dtype=np.uint8)
    return np.stack([line, line[::-1], np.roll(line, 90)], axis=1)[None].repeat(4, axis=0)


@pytest.mark.parametrize("form", ["PNG", "TIFF", "WEBP"])
def test_lossless_formats_give_the_pixels_written(tmp_path: Path, form: str) -> None:
    path = tmp_path / f"picture.{form.lower()}"
    Image.fromarray(ramp()).save(path, form, lossless=True)
    assert (read(path).srgb_8bit == ramp()).all()


def test_interlaced_png_gives_the_same_pixels(tmp_path: Path) -> None:
    picture = emblem(1).paint()
    assert (reread(tmp_path, png(picture, interlaced=True)).srgb_8bit == picture).all()


def test_16_bit_rgb_keeps_its_high_byte(tmp_path: Path) -> None:
    wide = ramp().astype(np.uint16) * 257  # PNG third edition, 13.12: replication of the byte
    assert (reread(tmp_path, png(wide)).srgb_8bit == ramp()).all()


def test_16_bit_grey_is_scaled_and_not_clipped_to_white(tmp_path: Path) -> None:
    wide = (np.arange(256, dtype=np.uint16) * 257)[None, :, None].repeat(3, axis=0)
    grey = reread(tmp_path, png(wide)).srgb_8bit
    assert (grey == np.arange(256)[None, :, None]).all()


def test_grey_with_alpha_keeps_both(tmp_path: Path) -> None:
    pixels = np.zeros((2, 256, 2), np.uint8)
    pixels[..., 0], pixels[..., 1] = np.arange(256), np.arange(256)[::-1]
    artwork = reread(tmp_path, png(pixels))
    assert (artwork.srgb_8bit[0, :, 1] == np.arange(256)).all()
    assert artwork.alpha_8bit is not None
    assert (artwork.alpha_8bit[0] == np.arange(256)[::-1]).all()


def test_alpha_that_is_opaque_everywhere_is_none(tmp_path: Path) -> None:
    Image.fromarray(ramp()).convert("RGBA").save(tmp_path / "picture.png")
    assert read(tmp_path / "picture.png").alpha_8bit is None


def test_palette_transparency_becomes_alpha(tmp_path: Path) -> None:
    image = Image.new("P", (4, 1))
    image.putpalette([10, 20, 30, 200, 100, 50])
    image.putdata([0, 1, 1, 0])
    image.save(tmp_path / "picture.png", transparency=bytes([0, 255]))
    artwork = read(tmp_path / "picture.png")
    assert artwork.alpha_8bit is not None
    assert artwork.alpha_8bit.tolist() == [[0, 255, 255, 0]]
    assert artwork.srgb_8bit[0, 1].tolist() == [200, 100, 50]


@pytest.mark.parametrize("channels", [1, 3])
def test_transparent_key_of_16_bit_samples_is_found(tmp_path: Path, channels: int) -> None:
    pixels = np.full((2, 3, channels), 40_000, np.uint16)
    pixels[0, 0] = 12_345
    key = struct.pack(f">{channels}H", *([12_345] * channels))
    artwork = reread(tmp_path, png(pixels, extra=((b"tRNS", key),)))
    assert artwork.alpha_8bit is not None
    assert artwork.alpha_8bit.tolist() == [[0, 255, 255], [255, 255, 255]]


def test_embedded_profile_is_applied() -> None:
    # Display P3 picture whose truth.json names the sRGB colours and what an ignored profile would give.
    artwork = read(DATA / "s20_p3_icc.png")
    amber = artwork.srgb_8bit[200, 200].astype(int)
    assert np.abs(amber - [255, 154, 30]).max() <= 2


def test_grey_profile_is_applied(tmp_path: Path) -> None:
    """A grey profile of gamma 1 (ICC.1:2022, 10.6): code 128 is half the light, sRGB code 188."""
    artwork = reread(
        tmp_path, png(np.full((2, 2, 1), 128, np.uint8), extra=((b"iCCP", grey_profile()),))
    )
    assert artwork.findings == ()
    # IEC 61966-2-1: 1.055 · 0.50196^(1/2.4) − 0.055 = 0.7367 → 187.9; profiles round to 16 bits.
    assert np.abs(artwork.srgb_8bit.astype(int) - 188).max() <= 1


def grey_profile() -> bytes:
    """Return an iCCP chunk's body with the least grey profile ICC.1:2022 allows, gamma 1."""
    import zlib

    def s15(value: float) -> bytes:
        return struct.pack(">i", round(value * 65536))

    white = b"XYZ \0\0\0\0" + s15(0.9642) + s15(1.0) + s15(0.8249)
    curve = b"curv\0\0\0\0" + struct.pack(">I", 0)
    text = (
        b"mluc\0\0\0\0"
        + struct.pack(">II2s2sII", 1, 12, b"en", b"US", 2, 28)
        + "g".encode("utf-16-be")
    )
    tags = [(b"desc", text), (b"cprt", text), (b"wtpt", white), (b"kTRC", curve)]
    table, data = b"", b""
    start = 128 + 4 + 12 * len(tags)
    for name, body in tags:
        table += struct.pack(">4sII", name, start + len(data), len(body))
        data += body + b"\0" * (-len(body) % 4)
    head = struct.pack(
        ">I4sI4s4s4s12s4sIIIII", 0, b"\0\0\0\0", 0x04400000, b"mntr", b"GRAY", b"XYZ ",
        struct.pack(">6H", 2020, 1, 1, 0, 0, 0), b"acsp", 0, 0, 0, 0, 0,
    )  # fmt: skip
    head += struct.pack(">I", 0) + b"\0" * 4 + s15(0.9642) + s15(1.0) + s15(0.8249)
    profile = head.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + data
    profile = struct.pack(">I", len(profile)) + profile[4:]
    return b"grey\0\0" + zlib.compress(profile)


def test_srgb_profile_changes_nothing(tmp_path: Path) -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.fromarray(ramp()).save(tmp_path / "picture.png", icc_profile=profile)
    assert (read(tmp_path / "picture.png").srgb_8bit == ramp()).all()


def test_damaged_profile_is_ignored_with_a_remark(tmp_path: Path) -> None:
    Image.fromarray(ramp()).save(tmp_path / "picture.png", icc_profile=b"not a profile")
    artwork = read(tmp_path / "picture.png")
    assert [f.code for f in artwork.findings] == ["artwork.profile"]
    assert (artwork.srgb_8bit == ramp()).all()


def test_linear_gamma_chunk_is_honoured(tmp_path: Path) -> None:
    """PNG third edition, 11.3.2.2: gAMA 100000 means linear light; half the light is sRGB code 188."""
    pixels = np.full((2, 2, 3), 128, np.uint8)
    artwork = reread(tmp_path, png(pixels, extra=((b"gAMA", struct.pack(">I", 100_000)),)))
    assert (artwork.srgb_8bit == 188).all()


def test_usual_gamma_chunk_is_taken_as_srgb(tmp_path: Path) -> None:
    chunk = (b"gAMA", struct.pack(">I", 45_455))
    assert (reread(tmp_path, png(ramp(), extra=(chunk,))).srgb_8bit == ramp()).all()


def test_srgb_chunk_outranks_gamma(tmp_path: Path) -> None:
    """PNG third edition, 4.3: sRGB takes precedence over gAMA."""
    chunks = ((b"sRGB", b"\0"), (b"gAMA", struct.pack(">I", 100_000)))
    assert (reread(tmp_path, png(ramp(), extra=chunks)).srgb_8bit == ramp()).all()


def test_wider_primaries_give_stronger_colours(tmp_path: Path) -> None:
    """Primaries (cHRM) of Display P3 (SMPTE EG 432-1) agrees with Little CMS on a profile of the same primaries."""
    values = (31270, 32900, 68000, 32000, 26500, 69000, 15000, 6000)
    chunk = (b"cHRM", struct.pack(">8I", *values))
    pixels = np.full((2, 2, 3), (241, 159, 65), np.uint8)
    artwork = reread(tmp_path, png(pixels, extra=((b"gAMA", struct.pack(">I", 45_455)), chunk)))
    # truth.json of the reference pictures: P3 #f19f41 is sRGB #ff9a1e.
    assert np.abs(artwork.srgb_8bit[0, 0].astype(int) - [255, 154, 30]).max() <= 2


@pytest.mark.parametrize("orientation", range(1, 9))
def test_exif_orientation_is_undone(tmp_path: Path, orientation: int) -> None:
    """Exif 2.32, table 4: what the stored rows and columns stand for."""
    upright = np.arange(6, dtype=np.uint8).reshape(2, 3, 1).repeat(3, axis=2) * 40
    stored = {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.transpose(1, 0, 2),
        6: np.rot90(upright, 1),
        7: upright[::-1, ::-1].transpose(1, 0, 2),
        8: np.rot90(upright, -1),
    }[orientation]
    exif = Image.Exif()
    exif[0x0112] = orientation
    Image.fromarray(np.ascontiguousarray(stored)).save(tmp_path / "picture.png", exif=exif)
    artwork = read(tmp_path / "picture.png")
    assert (artwork.srgb_8bit == upright).all()
    assert artwork.mm_per_px == pytest.approx(400 / 3)


def test_first_of_several_pictures_is_taken_with_a_remark(tmp_path: Path) -> None:
    first, second = Image.new("RGB", (4, 4), "#ff0000"), Image.new("RGB", (4, 4), "#0000ff")
    path = tmp_path / "pages.tiff"
    first.save(path, save_all=True, append_images=[second])
    artwork = read(path)
    assert artwork.srgb_8bit[0, 0].tolist() == [255, 0, 0]
    assert [f.code for f in artwork.findings] == ["artwork.frames"]


def test_digest_is_of_the_file_s_bytes(tmp_path: Path) -> None:
    data = png(ramp())
    assert reread(tmp_path, data).sha256 == hashlib.sha256(data).hexdigest()


def test_pixels_cannot_be_written_to(tmp_path: Path) -> None:
    assert not reread(tmp_path, png(ramp())).srgb_8bit.flags.writeable


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=30)
@given(width=st.integers(1, 12), height=st.integers(1, 12), channels=st.sampled_from([3, 4]))
def test_any_small_picture_survives(
    tmp_path: Path, width: int, height: int, channels: int
) -> None:
    pixels = np.random.default_rng(width * 100 + height).integers(
        0, 256, (height, width, channels), np.uint8
    )
    artwork = reread(tmp_path, png(pixels, interlaced=True))
    assert (artwork.srgb_8bit == pixels[..., :3]).all()


def test_jpeg_is_read_as_pillow_decodes_it(tmp_path: Path) -> None:
    buffer = io.BytesIO()
    Image.fromarray(emblem(1).paint()).save(buffer, "JPEG", quality=90)
    path = tmp_path / "picture.jpg"
    path.write_bytes(buffer.getvalue())
    assert (read(path).srgb_8bit == np.asarray(Image.open(path).convert("RGB"))).all()
