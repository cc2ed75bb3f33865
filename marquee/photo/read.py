"""Photographs from files: upright pixels as the phone coded them, with the exposure the file states."""

from __future__ import annotations

import hashlib
import io
import os
import re
import stat
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from marquee.errors import InputError
from marquee.photo.values import Shot, State, StateKind

_MOST_BYTES, _MOST_MEGAPIXELS = 400_000_000, 120.0
_FORMATS = ("PNG", "JPEG", "TIFF", "MPO")
# Exif 2.32, tables 4 and 7.
_ORIENTATION, _EXIF, _TIME_S, _F_NUMBER, _SENSITIVITY = 0x0112, 0x8769, 0x829A, 0x829D, 0x8827
_SHOW = "photograph it, or name another file"
STATE_WORDS = (
    "black, red, green, blue, white (all LEDs alike), ramp-N (all channels at code N), "
    "zone-N (that zone alone, as planned) and planned (the sign as it runs)"
)


def state_named(text: str, where: str) -> State:
    """Return the state a word names: ``black``, ``red``, ``ramp-64``, ``zone-2``, ``planned`` and so on.

    Raises
    ------
    InputError
        It names none, or a code outside 1 to 255.
    """
    state = _state(text.strip().lower())
    if state is None:
        raise InputError(where, f"'{text}' is no state", f"states are {STATE_WORDS}")
    if state.kind == "ramp" and not 1 <= state.number <= 255:
        raise InputError(where, f"code {state.number} is outside 1 to 255", "name the code shown")
    return state


def state_of_file(path: Path) -> State:
    """Return the state a file's name states, ``planned`` for any other name.

    Raises
    ------
    InputError
        A ramp's code outside 1 to 255.
    """
    word = path.stem.lower().replace("_", "-")
    return State(kind="planned") if _state(word) is None else state_named(word, f"{path}")


def _state(word: str) -> State | None:
    if word in {"planned", "black", "red", "green", "blue", "white"}:
        return State(kind=cast("StateKind", word))
    match = re.fullmatch(r"(ramp|zone)-?(\d{1,4})", word)
    return None if match is None else State(kind=cast("StateKind", match[1]), number=int(match[2]))


def read_shot(path: Path, state: State) -> Shot:
    """Return the photograph in a PNG, JPEG, TIFF or DNG file.

    Colours stay as the phone coded them: a profile's wider primaries are kept, only the curve is undone later.

    Raises
    ------
    InputError
        Missing, not a photograph, damaged, too large, or without colours.
    """
    where = f"{path}"
    data = _bytes_of(path, where)
    if path.suffix.lower() == ".dng":
        (pixels, exposure), linear = _raw(data, where), True
    else:
        pixels, exposure = _coded(data, where)
        linear = False
    return Shot(
        file=path.name,
        state=state,
        pixels=pixels,
        linear=linear,
        exposure=exposure,
        sha256=hashlib.sha256(data).hexdigest(),
    )


def _bytes_of(path: Path, where: str) -> bytes:
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise InputError(where, "is no file", "name the photograph's file")
        if status.st_size > _MOST_BYTES:
            size = status.st_size / 1e6
            raise InputError(where, f"{size:.0f} MB is too large for a photograph", _SHOW)
        return path.read_bytes()
    except FileNotFoundError:
        raise InputError(where, "does not exist", "check the path") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or f"{error}"
        raise InputError(where, f"cannot be read ({reason})", "check the path") from None


def _coded(data: bytes, where: str) -> tuple[NDArray[Any], float | None]:
    """Return pixels as coded and the exposure of a picture file."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            image: Image.Image = Image.open(io.BytesIO(data), formats=_FORMATS)
            _check_size(image.size, where)
            deep = _sixteen_bits(data, image)
            exposure = _exposure(image)
            if deep is not None:
                return deep, exposure
            _check_mode(image.mode, where)
            image.load()
            upright = ImageOps.exif_transpose(image) if image.format != "TIFF" else image
            return np.asarray(upright.convert("RGB")), exposure
    except UnidentifiedImageError:
        raise InputError(
            where, "is not a PNG, JPEG, TIFF or DNG photograph", "export it as one of these"
        ) from None
    except InputError:
        raise
    except Exception as error:  # noqa: BLE001 -- decoders raise anything on damaged files
        reason = _reason(error)
        raise InputError(where, f"is damaged or cut short ({reason})", "copy it again") from None


def _sixteen_bits(data: bytes, image: Any) -> NDArray[np.uint16] | None:  # noqa: ANN401 -- Pillow's image
    """Return pixels of 16 bits, which Pillow would cut to 8, by OpenCV; None where there are only 8."""
    if image.format not in {"PNG", "TIFF"}:
        return None
    import cv2

    flags = cv2.IMREAD_UNCHANGED
    found = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if found is None or found.dtype != np.uint16 or found.ndim != 3:
        return None
    turned = {2: (1,), 3: (0, 1), 4: (0,)}.get(int(image.getexif().get(_ORIENTATION, 1)), ())
    rgb = np.flip(found[..., 2::-1], turned) if turned else found[..., 2::-1]
    return np.ascontiguousarray(rgb)


def _exposure(image: Any) -> float | None:  # noqa: ANN401 -- Pillow's image
    """Return time × sensitivity / f-number², None where the file does not say."""
    try:
        told = image.getexif().get_ifd(_EXIF)
        sensitivity = told[_SENSITIVITY]
        if isinstance(sensitivity, tuple):
            sensitivity = sensitivity[0]
        return _exposed(float(told[_TIME_S]), float(sensitivity), float(told[_F_NUMBER]))
    except Exception:  # noqa: BLE001 -- any odd or missing entry only means that nothing is known
        return None


def _exposed(time_s: float, sensitivity: float, f_number: float) -> float | None:
    if not f_number > 0:
        return None
    value = time_s * sensitivity / f_number**2
    return value if np.isfinite(value) and value > 0 else None


def _raw(data: bytes, where: str) -> tuple[NDArray[np.uint16], float | None]:
    """Return a raw file's sensor colours in proportion to light and its exposure.

    Black is taken off and white is full, as Adobe's DNG specification 1.4, chapter 5, has it. No white balance and
    no scale of the photograph's own: either would make two photographs of one light differ.
    """
    try:
        import rawpy
    except ImportError:
        raise InputError(
            where,
            "is a raw file, and rawpy is not installed",
            "pip install rawpy, or export a JPEG",
        ) from None
    try:
        with _hushed(), rawpy.imread(io.BytesIO(data)) as raw:
            size = raw.sizes
            _check_size((size.width, size.height), where)
            linear = raw.postprocess(
                gamma=(1, 1),
                no_auto_bright=True,
                user_wb=[1, 1, 1, 1],
                # Else the brightest pixel becomes full where it is above three quarters.
                adjust_maximum_thr=0.0,
                output_bps=16,
                output_color=rawpy.ColorSpace.raw,
            )
            told = raw.other
            exposure = _exposed(told.shutter_speed, told.iso_speed, told.aperture)
    except InputError:
        raise
    except Exception as error:  # noqa: BLE001 -- the decoder's own errors have no common base
        reason = _reason(error)
        raise InputError(
            where, f"cannot be developed ({reason})", "copy it again, or export it as JPEG"
        ) from None
    return np.ascontiguousarray(linear[..., :3], np.uint16), exposure


def _reason(error: Exception) -> str:
    # The raw decoder's messages are bytes.
    told = error.args[0] if error.args else ""
    text = told.decode(errors="replace") if isinstance(told, bytes) else f"{error}"
    return " ".join(text.split())[:120] or type(error).__name__


@contextmanager
def _hushed() -> Iterator[None]:
    """Keep the raw decoder's library from writing to the terminal beside its error."""
    try:
        kept = os.dup(2)
    except OSError:  # there is no standard error to keep quiet
        yield
        return
    try:
        with Path(os.devnull).open("wb") as nowhere:
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)


def _check_mode(mode: str, where: str) -> None:
    if mode not in {"RGB", "RGBA"}:
        raise InputError(
            where, f"has {mode} pixels, no RGB colours", "export it as RGB JPEG or PNG"
        )


def _check_size(size: tuple[int, int], where: str) -> None:
    if min(size) < 1 or size[0] * size[1] > _MOST_MEGAPIXELS * 1e6:
        raise InputError(where, f"declares {size[0]} × {size[1]} pixels", _SHOW)
