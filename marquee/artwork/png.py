"""What a PNG file says before anything is decoded: its size, and that every chunk arrived intact."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass, replace

from marquee.errors import InputError, printable

SIGNATURE = b"\x89PNG\r\n\x1a\n"
# PNG third edition, 8.2: first column and row of the seven passes, and their steps.
_ADAM7 = (
    (0, 0, 8, 8),
    (4, 0, 8, 8),
    (0, 4, 4, 8),
    (2, 0, 4, 4),
    (0, 2, 2, 4),
    (1, 0, 2, 2),
    (0, 1, 1, 2),
)
_MOST_CHUNKS = 10_000
_MEND = "export or copy the file again"


@dataclass(frozen=True, slots=True, kw_only=True)
class PngHeader:
    """IHDR and the chunks that say how the samples are to be read (PNG third edition, 11.2 and 11.3)."""

    width_px: int
    height_px: int
    bit_depth: int
    colour_type: int
    transparent: tuple[int, ...] | None  # tRNS of grey and RGB: the sample values that are clear
    interlaced: bool
    coding: tuple[int, ...] | None = None  # cICP: primaries, transfer, matrix, full range


def check_png(data: bytes, where: str) -> PngHeader:
    """Return the header once the file is complete and every chunk's checksum is right.

    Pillow skips the checksums of ancillary chunks; a damaged profile or transparency chunk would silently
    change the colours, so all are checked (PNG third edition, 5.3 and 5.5: CRC-32 of type and data).

    Raises
    ------
    InputError
        Truncated, a wrong checksum, no IHDR first, or zero pixels.
    """
    header: PngHeader | None = None
    transparent: bytes | None = None
    coding: tuple[int, ...] | None = None
    kind = b""
    place = len(SIGNATURE)
    others = 0
    while kind != b"IEND":
        kind, body, place = _chunk(data, place, where)
        others += kind != b"IDAT"
        if others > _MOST_CHUNKS:
            raise InputError(
                where, f"holds more than {_MOST_CHUNKS} chunks beside its pixels", _MEND
            )
        if header is None:
            header = _header(kind, body, where)
        elif kind == b"tRNS":
            transparent = body
        elif kind == b"cICP" and len(body) == 4:
            coding = tuple(body)
    if header is None:  # pragma: no cover -- the first chunk either is the header or raises
        raise InputError(where, "has no header", _MEND)
    return replace(header, transparent=_key(transparent, header.colour_type), coding=coding)


def check_rows(data: bytes, header: PngHeader, where: str) -> None:
    """Check that a file already found intact holds as many samples as it declares.

    Pillow leaves missing rows black, which in artwork on a black face nobody notices.

    Raises
    ------
    InputError
        Fewer bytes of samples than rows need.
    """
    inflate = zlib.decompressobj()
    got = 0
    kind, place = b"", len(SIGNATURE)
    while kind != b"IEND":
        kind, body, place = _chunk_at(data, place)
        while kind == b"IDAT" and body:
            got += len(inflate.decompress(body, 1 << 20))
            body = inflate.unconsumed_tail
    needed = _sample_bytes(header)
    if got + len(inflate.flush()) < needed:
        raise InputError(where, f"holds {got} of the {needed} bytes its size needs", _MEND)


def _sample_bytes(header: PngHeader) -> int:
    """Return the bytes of filtered rows: PNG third edition, 7.2 and 8.2."""
    channels = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}.get(header.colour_type, 1)
    passes = _ADAM7 if header.interlaced else ((0, 0, 1, 1),)
    total = 0
    for x, y, step_x, step_y in passes:
        width = max(0, -(-(header.width_px - x) // step_x))
        height = max(0, -(-(header.height_px - y) // step_y))
        row = -(-width * channels * header.bit_depth // 8)
        total += height * (1 + row) if width else 0
    return total


def _chunk_at(data: bytes, place: int) -> tuple[bytes, bytes, int]:
    """Return type, data and the next chunk's place of a chunk known to be whole."""
    length = int.from_bytes(data[place : place + 4], "big")
    return data[place + 4 : place + 8], data[place + 8 : place + 8 + length], place + 12 + length


def _chunk(data: bytes, place: int, where: str) -> tuple[bytes, bytes, int]:
    """Return type, data and the next chunk's place."""
    end = place + 8
    length = int.from_bytes(data[place : place + 4], "big") if end <= len(data) else -1
    if length < 0 or end + length + 4 > len(data):
        raise InputError(where, f"is cut short at byte {len(data)}", _MEND)
    kind = data[place + 4 : end]
    body = data[end : end + length]
    stated = int.from_bytes(data[end + length : end + length + 4], "big")
    if zlib.crc32(body, zlib.crc32(kind)) != stated:
        shown = printable(kind.decode("latin-1"))
        raise InputError(where, f"chunk {shown} at byte {place} has a wrong checksum", _MEND)
    return kind, body, end + length + 4


def _header(kind: bytes, body: bytes, where: str) -> PngHeader:
    if kind != b"IHDR" or len(body) != 13:
        raise InputError(where, "does not start with a PNG header chunk", _MEND)
    width_px, height_px, bit_depth, colour_type, _, _, interlace = struct.unpack(">IIBBBBB", body)
    return PngHeader(
        width_px=width_px,
        height_px=height_px,
        bit_depth=bit_depth,
        colour_type=colour_type,
        transparent=None,
        interlaced=interlace != 0,
    )


def _key(body: bytes | None, colour_type: int) -> tuple[int, ...] | None:
    count = {0: 1, 2: 3}.get(colour_type)
    if body is None or count is None or len(body) != 2 * count:
        return None
    return struct.unpack(f">{count}H", body)
