"""Image files written byte by byte where no library writes them: PNG chunks, interlacing, 16 bits, damage."""

from __future__ import annotations

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

SIGNATURE = b"\x89PNG\r\n\x1a\n"
# PNG third edition, 8.2: start column, start row, column step, row step of the seven passes.
ADAM7 = (
    (0, 0, 8, 8),
    (4, 0, 8, 8),
    (0, 4, 4, 8),
    (2, 0, 4, 4),
    (0, 2, 2, 4),
    (1, 0, 2, 2),
    (0, 1, 1, 2),
)
COLOUR_TYPE = {1: 0, 2: 4, 3: 2, 4: 6}


def chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def png(
    pixels: NDArray[np.generic],
    *,
    interlaced: bool = False,
    extra: tuple[tuple[bytes, bytes], ...] = (),
) -> bytes:
    """Return a PNG of (height, width, channels) uint8 or uint16 samples, with extra chunks before the data."""
    height, width, channels = pixels.shape
    depth = 8 * pixels.dtype.itemsize
    big = pixels.astype(">u2") if depth == 16 else pixels
    passes = ADAM7 if interlaced else ((0, 0, 1, 1),)
    raw = b""
    for x, y, step_x, step_y in passes:
        part = big[y::step_y, x::step_x]
        if part.size:
            raw += b"".join(b"\0" + row.tobytes() for row in part)
    header = struct.pack(
        ">IIBBBBB", width, height, depth, COLOUR_TYPE[channels], 0, 0, int(interlaced)
    )
    body = b"".join(chunk(kind, data) for kind, data in extra)
    data = chunk(b"IDAT", zlib.compress(raw))
    return SIGNATURE + chunk(b"IHDR", header) + body + data + chunk(b"IEND", b"")


def declared(width_px: int, height_px: int) -> bytes:
    """Return a PNG that only declares a size."""
    header = struct.pack(">IIBBBBB", width_px, height_px, 8, 2, 0, 0, 0)
    return (
        SIGNATURE
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\0" * 100))
        + chunk(b"IEND", b"")
    )
