"""An artwork file to upright sRGB pixels, refusing what cannot be trusted before it is decoded."""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import stat
import struct
import warnings
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from PIL import Image, ImageOps, UnidentifiedImageError

from marquee.artwork.lent import Lent, lend_memory
from marquee.artwork.png import SIGNATURE, PngHeader, check_png, check_rows
from marquee.artwork.samples import read_samples
from marquee.artwork.tone import coding_finding
from marquee.errors import Finding, InputError
from marquee.project import ArtworkSettings
from marquee.tables.maker_file import path_mend
from marquee.values import Artwork, read_only

_FORMATS = ("PNG", "JPEG", "TIFF", "WEBP")
# How these begin (TIFF and gzip are asked for more).
_PICTURES = (SIGNATURE, b"\xff\xd8\xff", b"RIFF")
# Largest sample layout read: 16-bit RGBA; a file far above it holds something else.
_BYTES_PER_PX, _SPARE_BYTES = 8, 64_000_000
_ORIENTATION = 0x0112  # Exif 2.32, table 4
# Everything Pillow's decoders are known to raise on damaged files.
_DECODER_ERRORS = (
    OSError,
    SyntaxError,
    ValueError,
    EOFError,
    TypeError,
    LookupError,
    AttributeError,
    ArithmeticError,
    MemoryError,
    struct.error,
    zlib.error,
)
_LONGEST_PX = 100_000
_MARK = 0x35  # any code will do
_COPY_AGAIN = "export or copy the file again"


def read_artwork(path: Path, settings: ArtworkSettings) -> Artwork:
    """Return the pixels of a PNG, JPEG, TIFF, WebP or SVG file in sRGB, turned upright.

    CMYK, Lab and floating-point files are refused; of animations and files with several pages the first
    picture is taken, with a finding.

    Parameters
    ----------
    path : Path
        The file; must be a regular file.
    settings : ArtworkSettings
        Width on the cabinet [mm] and the limit in megapixels, checked before decoding.

    Raises
    ------
    InputError
        Missing, not a file, not an image, damaged, of an unknown kind, or larger than the limit.
    """
    where = f"{path}"
    data = _file_bytes(path, where, settings)
    with _quiet_pillow(), _quiet_library(data):
        drawing = _drawing(data, where, settings)
        width_mm = drawing[1] if drawing else settings.width_mm
        if width_mm is None:
            raise InputError(
                where, "does not say how wide it is", "give its width, such as --width 380mm"
            )
        header = check_png(data, where) if data.startswith(SIGNATURE) else None
        if header is not None:
            _check_size(header.width_px, header.height_px, where, settings)
        image, lent, findings = (
            (drawing[0], None, drawing[2]) if drawing else _decode(data, header, where, settings)
        )
        try:
            pixels, alpha, more = read_samples(image, lent, header, where)
        except _DECODER_ERRORS as error:
            raise _damaged(where, error) from None
    findings += more + coding_finding(header.coding if header else None, where)
    if alpha is not None and int(alpha.min()) == 255:
        alpha = None
    return Artwork(
        srgb_8bit=pixels,
        alpha_8bit=None if alpha is None else read_only(alpha),
        mm_per_px=width_mm / image.width,
        file=path.name,
        sha256=hashlib.sha256(data).hexdigest(),
        findings=tuple(findings),
    )


def _file_bytes(path: Path, where: str, settings: ArtworkSettings) -> bytes:
    """Return the file's bytes; only regular files are opened, so that a pipe or device cannot hang us."""
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise InputError(where, "is a folder", "name the artwork file inside it")
        if not stat.S_ISREG(status.st_mode):
            raise InputError(
                where, "is a pipe or a device, not a file", "save the artwork to a file first"
            )
        if status.st_size == 0:
            raise InputError(where, "is empty", _COPY_AGAIN)
        if status.st_size > settings.max_megapixels * 1e6 * _BYTES_PER_PX + _SPARE_BYTES:
            raise InputError(
                where,
                f"{status.st_size / 1e6:.0f} MB is more than {settings.max_megapixels:g} megapixels can take",
                "give --max-megapixels a larger value or make the picture smaller",
            )
        return path.read_bytes()
    except FileNotFoundError:
        raise InputError(where, "does not exist", path_mend(where, "check the path")) from None
    except (OSError, ValueError) as error:  # ValueError: a NUL byte in the name
        reason = getattr(error, "strerror", None) or f"{error}"
        raise InputError(where, f"cannot be read ({reason})", "check the path") from None


@contextlib.contextmanager
def _quiet_pillow() -> Iterator[None]:
    """Lift Pillow's own pixel limit, ours having been checked, and keep its remarks off the terminal."""
    limit = Image.MAX_IMAGE_PIXELS
    Image.MAX_IMAGE_PIXELS = None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        Image.MAX_IMAGE_PIXELS = limit


@contextlib.contextmanager
def _quiet_library(data: bytes) -> Iterator[None]:
    """Keep what the TIFF library says of damage off the terminal; our own line says it."""
    try:
        saved = os.dup(2) if data[:2] in {b"II", b"MM"} else -1
    except OSError:  # stderr is closed
        saved = -1
    if saved < 0:
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(saved, 2)
        os.close(saved)
        os.close(nowhere)


def _check_size(width_px: int, height_px: int, where: str, settings: ArtworkSettings) -> None:
    if width_px < 1 or height_px < 1:
        raise InputError(where, f"declares {width_px} × {height_px} pixels", _COPY_AGAIN)
    megapixels = width_px * height_px / 1e6
    if megapixels > settings.max_megapixels:
        raise InputError(
            where,
            f"declares {width_px} × {height_px} pixels ({megapixels:.3g} megapixels), above the limit of "
            f"{settings.max_megapixels:g}",
            f"make it smaller, or give --max-megapixels {np.ceil(megapixels):.0f}",
        )
    if max(width_px, height_px) > _LONGEST_PX:
        raise InputError(
            where,
            f"declares {width_px} × {height_px} pixels, a side above {_LONGEST_PX}",
            "make the picture smaller",
        )


def _drawing(
    data: bytes, where: str, settings: ArtworkSettings
) -> tuple[Image.Image, float, list[Finding]] | None:
    """Return an SVG's picture, width [mm] and remarks, None for anything else."""
    if data.startswith(_PICTURES):
        return None
    from marquee.artwork.svg_parse import is_svg

    if not is_svg(data):
        return None
    from marquee.artwork.svg import draw_svg

    return draw_svg(data, where, settings.width_mm, settings.max_megapixels)


def _decode(
    data: bytes, header: PngHeader | None, where: str, settings: ArtworkSettings
) -> tuple[Image.Image, Lent | None, list[Finding]]:
    """Return the loaded first picture, turned upright, and the array it lies in, if it does."""
    try:
        image: Image.Image = Image.open(io.BytesIO(data), formats=_FORMATS)
    except UnidentifiedImageError:
        raise InputError(
            where, "is not a PNG, JPEG, TIFF, WebP or SVG image", "export the artwork as PNG"
        ) from None
    except _DECODER_ERRORS as error:
        raise _damaged(where, error) from None
    _check_size(*image.size, where, settings)
    if image.mode not in _READABLE:
        raise InputError(
            where,
            f"has {_UNREADABLE.get(image.mode, image.mode)} pixels, which do not say what the screen shows",
            "export the artwork as RGB, PNG for choice",
        )
    findings = []
    try:
        frames = int(getattr(image, "n_frames", 1))
        lent = lend_memory(image)
        if header is None:
            image.load()
        elif not _fills_last_row(image, lent) or header.interlaced:
            check_rows(data, header, where)
        if image.format != "TIFF":  # Pillow turns TIFF itself
            image = _upright(image)
    except _DECODER_ERRORS as error:
        raise _damaged(where, error) from None
    if frames > 1:
        message = (
            f"holds {frames} pictures; the first is used. Export the one you mean if it is another"
        )
        findings.append(Finding(code="artwork.frames", where=where, message=message))
    return image, lent if lent is not None and lent.holds(image) else None, findings


def _fills_last_row(image: Image.Image, lent: Lent | None) -> bool:
    """Load a PNG and return whether its last row surely came from the file.

    Pillow leaves rows the file does not hold as they were, so a mark is laid there first.
    """
    last_row = (0, image.height - 1, image.width, image.height)
    marked = None
    if lent is not None:
        lent.rgbx[-1] = _MARK
        marked = lent.core
    elif image.mode in {"L", "LA", "P", "RGB", "RGBA"}:
        blank = Image.new(image.mode, image.size, None)
        blank.paste((_MARK,) * len(blank.getbands()), last_row)
        marked = image.im = blank.im
    image.load()
    row = np.asarray(image.crop(last_row))
    kept = image.im is marked
    return bool((row != _MARK).any() if kept else row.any())


def _damaged(where: str, error: BaseException) -> InputError:
    reason = " ".join(f"{error}".split())[:120] or type(error).__name__
    return InputError(where, f"is damaged or cut short ({reason})", _COPY_AGAIN)


def _upright(image: Image.Image) -> Image.Image:
    """Return the picture as its EXIF orientation says it is to be shown; unreadable EXIF changes nothing."""
    try:
        orientation = image.getexif().get(_ORIENTATION, 1)
    except _DECODER_ERRORS:
        return image
    if orientation not in range(2, 9):
        return image
    info = image.info
    turned = ImageOps.exif_transpose(image)
    turned.info = {**info, **turned.info}
    return turned


# Pillow modes that can be read, and names of those that cannot.
_READABLE = frozenset({"1", "L", "LA", "La", "P", "PA", "RGB", "RGBA", "RGBa", "RGBX", "YCbCr", "I;16", "I;16B", "I;16L", "I;16N"})  # fmt: skip
_UNREADABLE = {"CMYK": "CMYK", "LAB": "Lab", "F": "floating-point", "I": "32-bit integer"}
