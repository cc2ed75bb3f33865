"""Files that cannot be artwork: each refused in one line that says what and how to mend it, without hanging."""

from __future__ import annotations

import io
import os
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from marquee.artwork.read import read_artwork
from marquee.errors import InputError
from marquee.project import ArtworkSettings
from tests.artwork.files import SIGNATURE, declared, png

SETTINGS = ArtworkSettings.model_validate({"file": "picture", "width": "400mm"})
PICTURE = np.full((8, 8, 3), 200, np.uint8)


def refuse(path: Path, match: str) -> InputError:
    with pytest.raises(InputError, match=match) as caught:
        read_artwork(path, SETTINGS)
    text = str(caught.value)
    assert "\n" not in text
    assert text.isprintable()
    return caught.value


def written(tmp_path: Path, data: bytes, name: str = "picture.png") -> Path:
    path = tmp_path / name
    path.write_bytes(data)
    return path


def test_missing_file(tmp_path: Path) -> None:
    refuse(tmp_path / "nothing.png", "does not exist")


def test_folder(tmp_path: Path) -> None:
    refuse(tmp_path, "is a folder")


def test_pipe_is_refused_without_waiting_for_it(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.png")
    refuse(tmp_path / "pipe.png", "pipe or a device")


def test_device_is_refused() -> None:
    refuse(Path("/dev/zero"), "pipe or a device")


def test_file_below_a_file(tmp_path: Path) -> None:
    refuse(written(tmp_path, b"x") / "picture.png", "cannot be read")


def test_empty_file(tmp_path: Path) -> None:
    refuse(written(tmp_path, b""), "is empty")


@pytest.mark.parametrize("data", [b"hello", b"GIF89a" + b"\0" * 50, b"%PDF-1.7\n", SIGNATURE[:4]])
def test_other_things_are_not_images(tmp_path: Path, data: bytes) -> None:
    refuse(written(tmp_path, data), "not a PNG, JPEG, TIFF, WebP or SVG image")


@pytest.mark.parametrize("keep", [8, 20, 40, -13, -4])
def test_truncated_png(tmp_path: Path, keep: int) -> None:
    refuse(written(tmp_path, png(PICTURE)[:keep]), "cut short")


@pytest.mark.parametrize("form", ["JPEG", "TIFF", "WEBP"])
def test_truncated_file_of_other_formats(tmp_path: Path, form: str) -> None:
    path = tmp_path / "picture"
    noise = np.random.default_rng(1).integers(0, 256, (200, 200, 3), np.uint8)
    Image.fromarray(noise).save(path, form)
    path.write_bytes(path.read_bytes()[:-2000])
    refuse(path, "damaged or cut short|not a PNG")


def test_a_damaged_tiff_is_told_in_our_line_alone(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    noise = np.random.default_rng(3).integers(0, 256, (60, 60, 3), np.uint8)
    to = io.BytesIO()
    Image.fromarray(noise).save(to, "TIFF", compression="tiff_lzw")
    data = bytearray(to.getvalue())
    data[1000:1300] = b"\xff" * 300  # of which the library says "Using code not yet in table"
    refuse(written(tmp_path, bytes(data), "picture.tif"), "damaged or cut short")
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize("interlaced", [False, True])
def test_png_whose_data_ends_early(tmp_path: Path, interlaced: bool) -> None:
    """The header of a taller picture with the data of a lower one, all checksums right."""
    taller = png(np.full((19, 8, 3), 200, np.uint8), interlaced=interlaced)
    lower = png(np.full((9, 8, 3), 200, np.uint8), interlaced=interlaced)
    refuse(written(tmp_path, taller[:33] + lower[33:]), "bytes its size needs|damaged")


@pytest.mark.parametrize("code", [0, 0x35])
def test_png_whose_missing_rows_look_like_its_last(tmp_path: Path, code: int) -> None:
    """Rows of one code all over: what is missing cannot be told from what is there by looking."""
    taller = png(np.full((19, 8, 3), code, np.uint8))
    assert read_artwork(written(tmp_path, taller), SETTINGS).srgb_8bit[-1, -1, -1] == code
    lower = png(np.full((9, 8, 3), code, np.uint8))
    refuse(written(tmp_path, taller[:33] + lower[33:]), "bytes its size needs")


@pytest.mark.parametrize("kind", [b"tEXt", b"IDAT", b"IHDR", b"IEND"])
def test_wrong_checksum_names_the_chunk(tmp_path: Path, kind: bytes) -> None:
    data = bytearray(png(PICTURE, extra=((b"tEXt", b"Comment\0hello"),)))
    place = data.index(kind)
    length = int.from_bytes(data[place - 4 : place], "big")
    data[place + 4 + length] ^= 0xFF
    refuse(written(tmp_path, bytes(data)), f"chunk {kind.decode()} at byte .* wrong checksum")


def test_absurd_size_is_refused_before_decoding(tmp_path: Path) -> None:
    error = refuse(written(tmp_path, declared(200_000, 200_000)), "40000 x|4e\\+04|megapixels")
    assert "--max-megapixels" in error.mend


@pytest.mark.parametrize(("width", "height"), [(0, 10), (10, 0), (0, 0)])
def test_zero_pixels(tmp_path: Path, width: int, height: int) -> None:
    refuse(written(tmp_path, declared(width, height)), "declares 0 × |declares .* × 0 ")


@pytest.mark.parametrize(("width", "height"), [(1, 9_000_000), (9_000_000, 1)])
def test_sides_no_picture_has_are_refused(tmp_path: Path, width: int, height: int) -> None:
    refuse(written(tmp_path, declared(width, height)), "a side above 100000")


def test_chunks_without_end_are_refused(tmp_path: Path) -> None:
    many = ((b"tEXt", b"a\0b"),) * 20_000
    refuse(written(tmp_path, png(PICTURE, extra=many)), "more than 10000 chunks")


def test_text_that_unpacks_to_hundreds_of_megabytes_is_refused_at_once(tmp_path: Path) -> None:
    packed = zlib.compress(b"\0" * 100_000_000, 9)
    for kind, body in ((b"zTXt", b"k\0\0" + packed), (b"iCCP", b"k\0\0" + packed)):
        refuse(written(tmp_path, png(PICTURE, extra=((kind, body),))), "damaged or cut short")


def test_limit_can_be_raised(tmp_path: Path) -> None:
    path = written(tmp_path, png(np.full((40, 50, 3), 9, np.uint8)))
    low = ArtworkSettings.model_validate({"file": "p", "width": "1m", "max_megapixels": 0.001})
    with pytest.raises(InputError, match="above the limit"):
        read_artwork(path, low)
    high = ArtworkSettings.model_validate({"file": "p", "width": "1m", "max_megapixels": 0.002})
    assert read_artwork(path, high).width_px == 50


def test_cmyk_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "picture.jpg"
    Image.new("CMYK", (8, 8)).save(path, "JPEG")
    refuse(path, "CMYK")


@pytest.mark.parametrize("mode", ["F", "I"])
def test_samples_without_a_white_are_refused(tmp_path: Path, mode: str) -> None:
    path = tmp_path / "picture.tiff"
    Image.new(mode, (8, 8)).save(path)
    refuse(path, "floating-point|32-bit")


@pytest.mark.parametrize(
    "name",
    ["a b.png", "-rf.png", "two\nlines.png", "\x1b[31mred.png", "\u202egnp.png", "caf\udce9.png"],
)
def test_awkward_names_are_read_and_shown_safely(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    Path(os.fsdecode(os.fsencode(path))).write_bytes(png(PICTURE))
    assert read_artwork(path, SETTINGS).file == name
    path.write_bytes(b"broken")
    refuse(path, "not a PNG")


def test_pillow_s_own_limit_is_left_as_it_was(tmp_path: Path) -> None:
    before = Image.MAX_IMAGE_PIXELS
    refuse(written(tmp_path, b"broken"), "not a PNG")
    assert before == Image.MAX_IMAGE_PIXELS


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(data=st.data())
def test_damaged_bytes_are_refused_or_read_and_never_crash(
    tmp_path: Path, data: st.DataObject
) -> None:
    raw = bytearray(png(PICTURE))
    for _ in range(data.draw(st.integers(1, 4))):
        raw[data.draw(st.integers(0, len(raw) - 1))] = data.draw(st.integers(0, 255))
    path = written(tmp_path, bytes(raw))
    said = ""
    try:
        assert read_artwork(path, SETTINGS).srgb_8bit.shape[2] == 3
    except InputError as error:
        said = str(error)
    assert "\n" not in said


def encoded(form: str) -> bytes:
    noise = np.random.default_rng(3).integers(0, 256, (24, 24, 3), np.uint8)
    more: dict[str, Any] = {"lossless": True} if form == "WEBP" else {}
    if form == "TIFF":
        more["compression"] = "tiff_lzw"
    to = io.BytesIO()
    Image.fromarray(noise).save(to, form, **more)
    return to.getvalue()


ENCODED = {form: encoded(form) for form in ("JPEG", "TIFF", "WEBP")}


@pytest.mark.parametrize("form", sorted(ENCODED))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(data=st.data())
def test_damaged_bytes_of_other_formats_are_refused_or_read_and_never_crash(
    tmp_path: Path, form: str, data: st.DataObject
) -> None:
    raw = bytearray(ENCODED[form])
    # Half of the changes in the first bytes, where headers and tables are.
    reach = st.integers(0, min(200, len(raw) - 1)) | st.integers(0, len(raw) - 1)
    for _ in range(data.draw(st.integers(1, 6))):
        raw[data.draw(reach)] = data.draw(st.integers(0, 255))
    keep = data.draw(st.just(len(raw)) | st.integers(1, len(raw)))
    said = ""
    try:
        assert read_artwork(written(tmp_path, bytes(raw[:keep])), SETTINGS).srgb_8bit.shape[2] == 3
    except InputError as error:
        said = str(error)
    assert "\n" not in said
