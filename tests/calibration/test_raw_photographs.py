"""Raw photographs: files made up tag by tag after Adobe's DNG specification, version 1.4.0.0 (2012).

A made-up sensor saw known shares of its full range; what is read back must be these shares. The specification's chapter
5, "Mapping Raw Values to Linear Reference Values", states the sensor's value of each: black + share × (white − black).
"""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from marquee.errors import InputError
from marquee.photo.read import read_shot
from marquee.photo.values import Shot, State

rawpy = pytest.importorskip("rawpy")
tifffile = pytest.importorskip("tifffile")
Array = NDArray[np.float64]
# Three flat patches side by side, as shares of the sensor's range: red, green, blue.
PATCHES = ((0.10, 0.20, 0.05), (0.30, 0.40, 0.60), (0.05, 0.10, 0.08))
BLACK, WHITE = 512, 16383
# IEC 61966-2-1's XYZ to linear RGB, as a camera's ColorMatrix1 in thousandths (D65: CalibrationIlluminant1 is 21).
MATRIX = (3241, -1537, -499, -969, 1876, 42, 56, -204, 1057)
# A pixel of 14 bits read as 16 is off by half a step at most.
STEP = 1 / (WHITE - BLACK)


def _dng(
    path: Path, shares: Array, *, neutral: tuple[int, ...] = (500, 1000, 625), turned: int = 1
) -> Path:
    """Write a mosaic of 16 bits, red at the top left, then green; `neutral` is AsShotNeutral in thousandths."""
    row, column = np.indices(shares.shape[:2])
    channel = np.array([[0, 1], [1, 2]])[row % 2, column % 2]
    share = np.take_along_axis(shares, channel[..., None], 2)[..., 0]
    mosaic = np.rint(BLACK + share * (WHITE - BLACK)).astype(np.uint16)
    tags = [
        (271, "s", 0, "Made-up"),  # Make
        (272, "s", 0, "phone"),  # Model
        (274, "H", 1, turned),  # Orientation
        (33421, "H", 2, (2, 2)),  # CFARepeatPatternDim (ISO 12234-2)
        (33422, "B", 4, bytes([0, 1, 1, 2])),  # CFAPattern
        (34666, "I", 1, 0),
        (50706, "B", 4, bytes([1, 4, 0, 0])),  # DNGVersion
        (50707, "B", 4, bytes([1, 1, 0, 0])),  # DNGBackwardVersion
        (50708, "s", 0, "Made-up phone"),  # UniqueCameraModel
        (50714, "H", 1, BLACK),  # BlackLevel
        (50717, "H", 1, WHITE),  # WhiteLevel
        (50721, "2i", 9, tuple(v for one in MATRIX for v in (one, 1000))),  # ColorMatrix1
        (50728, "2I", 3, tuple(v for one in neutral for v in (one, 1000))),  # AsShotNeutral
        (50778, "H", 1, 21),  # CalibrationIlluminant1
    ]
    tifffile.imwrite(path, mosaic, photometric="cfa", extratags=tags, metadata=None, subfiletype=0)
    data = path.read_bytes()
    # The library keeps the Exif IFD's tag (34665) to itself, so that another stands there until its place is known.
    kept = struct.pack("<HHII", 34666, 4, 1, 0)
    assert data.count(kept) == 1
    data = data.replace(kept, struct.pack("<HHII", 34665, 4, 1, len(data)))
    path.write_bytes(data + _exif(len(data)))
    return path


def _exif(at: int) -> bytes:
    """Return an Exif IFD (Exif 2.32, 4.6.2) for this place: 1/50 s, f/1.8, sensitivity 200."""
    values = at + 2 + 3 * 12 + 4
    return struct.pack(
        "<H HHII HHII HHIHH I 4I",
        3,
        *(0x829A, 5, 1, values),  # ExposureTime
        *(0x829D, 5, 1, values + 8),  # FNumber
        *(0x8827, 3, 1, 200, 0),  # PhotographicSensitivity
        0,
        *(1, 50, 18, 10),
    )


def _patches(by: float = 1.0) -> Array:
    shares = np.zeros((64, 96, 3))
    for number, share in enumerate(PATCHES):
        shares[:, 32 * number : 32 * (number + 1)] = share
    return shares * by


def _seen(shot: Shot) -> Array:
    """Return each patch's middle, away from what interpolation mixes."""
    rows = [shot.pixels[32, 32 * number + 16] for number in range(3)]
    return np.array(rows, float) / shot.most


# At 1.6 the second patch's blue is at 0.96 of the range: nothing is scaled by the photograph's own brightest pixel.
@pytest.mark.parametrize("by", [0.5, 1.0, 1.6])
def test_raw_values_are_the_shares_of_the_range_the_sensor_saw(tmp_path: Path, by: float) -> None:
    shot = read_shot(_dng(tmp_path / "white.dng", _patches(by)), State(kind="white"))
    assert shot.linear
    assert shot.size_px == (96, 64)
    assert _seen(shot) == pytest.approx(np.array(PATCHES) * by, abs=STEP)


def test_the_phones_white_balance_leaves_raw_values_alone(tmp_path: Path) -> None:
    day = read_shot(_dng(tmp_path / "day.dng", _patches()), State(kind="white"))
    lamp = _dng(tmp_path / "lamp.dng", _patches(), neutral=(900, 1000, 300))
    assert (read_shot(lamp, State(kind="white")).pixels == day.pixels).all()


def test_a_raw_photographs_exposure_and_turn_are_the_files(tmp_path: Path) -> None:
    # TIFF 6.0, Orientation 6: the first row is the right-hand side, so the first patch comes to the top.
    turned = read_shot(_dng(tmp_path / "turned.dng", _patches(), turned=6), State(kind="white"))
    assert turned.size_px == (64, 96)
    rows = np.array([turned.pixels[y, 32] for y in (16, 48, 80)]) / turned.most
    assert rows == pytest.approx(np.array(PATCHES), abs=STEP)
    assert turned.exposure == pytest.approx(0.02 * 200 / 1.8**2, rel=1e-6)


# Cut in the header, in its tags, or in the picture.
@pytest.mark.parametrize("cut", [6, 200, 3000, -100])
def test_a_damaged_raw_photograph_is_one_line(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], cut: int
) -> None:
    path = _dng(tmp_path / "white.dng", _patches())
    path.write_bytes(path.read_bytes()[:cut])
    with pytest.raises(InputError, match="cannot be developed") as caught:
        read_shot(path, State(kind="white"))
    assert caught.value.where == f"{path}"
    assert "b'" not in f"{caught.value}"
    # The decoder's library writes its own words to the terminal unless hindered.
    assert capfd.readouterr().err == ""


@pytest.mark.slow
def test_damaged_raw_bytes_crash_nothing(tmp_path: Path) -> None:
    whole = bytearray(_dng(tmp_path / "white.dng", _patches()).read_bytes())
    rng = np.random.default_rng(5)
    refused = 0
    for _ in range(60):
        data = bytearray(whole)
        for at in rng.integers(0, 600, 6):
            data[at] = int(rng.integers(0, 256))
        (tmp_path / "bad.dng").write_bytes(data)
        try:
            shot = read_shot(tmp_path / "bad.dng", State(kind="white"))
        except InputError:
            refused += 1
        else:
            assert shot.pixels.ndim == 3
    assert refused > 0
