from __future__ import annotations

import io

import cv2
import numpy as np
import pytest
from PIL import Image

from marquee.outputs.pictures.png import png_bytes


@pytest.mark.parametrize("size", [(1, 1), (1, 700), (700, 1), (33, 257), (600, 1200)])
def test_other_programs_read_back_the_very_pixels(size: tuple[int, int]) -> None:
    pixels = np.random.default_rng(1).integers(0, 256, (*size, 3), np.uint8)
    content = png_bytes(pixels)
    with Image.open(io.BytesIO(content)) as image:
        assert image.mode == "RGB"
        assert np.array_equal(np.asarray(image), pixels)
    bgr = np.asarray(cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_UNCHANGED))
    assert np.array_equal(bgr[..., ::-1], pixels)


def test_a_mirrored_view_of_pixels_is_written_as_it_looks() -> None:
    pixels = np.arange(2 * 5 * 3, dtype=np.uint8).reshape(2, 5, 3)
    with Image.open(io.BytesIO(png_bytes(pixels[:, ::-1]))) as image:
        assert np.array_equal(np.asarray(image), pixels[:, ::-1])


def test_a_picture_holds_no_notes_beside_its_pixels() -> None:
    content = png_bytes(np.zeros((9, 9, 3), np.uint8))
    kinds, place = [], 8
    while place < len(content):
        length = int.from_bytes(content[place : place + 4])
        kinds.append(content[place + 4 : place + 8])
        place += 12 + length
    # W3C PNG third edition, 5.6: these three and no other are demanded of a truecolour picture.
    assert kinds == [b"IHDR", b"IDAT", b"IEND"]
