"""Pixels as a file holds them to sRGB: embedded profile, PNG gamma and primaries."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from marquee.errors import Finding

# PNG third edition, 11.3.2.2: 45455 stands for 1/2.2, what sRGB is written as where no sRGB chunk is used.
_SRGB_GAMMA = 1 / 2.2
# PNG third edition, 11.3.2.1 and table 29: white, red, green, blue of sRGB, x then y.
_SRGB_CHROMATICITY = (0.3127, 0.329, 0.64, 0.33, 0.30, 0.60, 0.15, 0.06)
# cICP code points (ITU-T H.273): BT.709 primaries with the sRGB transfer, RGB, full range.
_CICP_SRGB = (1, 13, 0, 1)
Conversion = Callable[[Image.Image], Image.Image]
_INTENT = ImageCms.Intent.RELATIVE_COLORIMETRIC


def srgb_conversion(info: dict[str, Any], where: str) -> tuple[Conversion, list[Finding]]:
    """Return what turns an image (mode L or RGB) into RGB in sRGB, and remarks on profiles that could not be used.

    An embedded ICC profile comes first, then an sRGB mark, then gamma and primaries (PNG third edition,
    4.3, table 1). Without any the pixels are taken as sRGB.

    Parameters
    ----------
    info : dict
        What Pillow found beside the pixels.
    where : str
        The file, for remarks.
    """
    profile = info.get("icc_profile")
    if profile:
        through = _through_profile(bytes(profile))
        if through is not None:
            return through, []
        message = (
            "the embedded colour profile does not fit the pixels or is damaged and was ignored: colours are "
            "taken as sRGB; export the artwork as sRGB if they look wrong"
        )
        return as_rgb, [Finding(code="artwork.profile", where=where, message=message)]
    if "srgb" in info or ("gamma" not in info and "chromaticity" not in info):
        return as_rgb, []
    return _through_gamma(info), []


def as_rgb(image: Image.Image) -> Image.Image:
    """Return the image in RGB: the conversion of what is in sRGB already."""
    return image if image.mode == "RGB" else image.convert("RGB")


def coding_finding(coding: tuple[int, ...] | None, where: str) -> list[Finding]:
    """Return the remark that a PNG states a video colour coding which is not sRGB's."""
    if coding is None or coding == _CICP_SRGB:
        return []
    message = (
        f"the file states colour coding {'-'.join(map(str, coding))} (cICP), which is not read: colours are "
        "taken as sRGB; export the artwork as sRGB"
    )
    return [Finding(code="artwork.profile", where=where, message=message)]


def _through_profile(profile: bytes) -> Conversion | None:
    """Return the conversion a profile asks for, or None where the profile cannot be applied."""
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        target = ImageCms.createProfile("sRGB")
        mode = {"GRAY": "L", "RGB": "RGB"}.get(source.profile.xcolor_space.strip())
        if mode is None:
            return None
        transform = ImageCms.buildTransform(source, target, mode, "RGB", _INTENT)
        changes = not _changes_nothing(transform, mode)
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return None
    if mode == "RGB" and not changes:
        return as_rgb

    def apply(image: Image.Image) -> Image.Image:
        return transform.apply(image if image.mode == mode else image.convert(mode))

    return apply


def _changes_nothing(transform: ImageCms.ImageCmsTransform, mode: str) -> bool:
    """Return whether a grid of colours comes back as it went in (the profile is sRGB itself)."""
    steps = np.linspace(0, 255, 9).round().astype(np.uint8)
    grid = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(27, 27, 3)
    sent = Image.fromarray(grid).convert(mode)
    back = np.asarray(ImageCms.applyTransform(sent, transform))
    return int(np.abs(back.astype(int) - np.asarray(sent.convert("RGB"))).max()) <= 1


def _through_gamma(info: dict[str, Any]) -> Conversion:
    from marquee.colour.spaces import srgb_decode, srgb_encode

    gamma = float(info.get("gamma", _SRGB_GAMMA))
    if not 0.05 <= gamma <= 5:  # gAMA of 0 or absurd: nothing can be meant by it
        gamma = _SRGB_GAMMA
    chromaticity = tuple(float(v) for v in info.get("chromaticity", _SRGB_CHROMATICITY))
    plain = abs(gamma - _SRGB_GAMMA) < 0.01
    if plain and np.allclose(chromaticity, _SRGB_CHROMATICITY, atol=0.005):
        return as_rgb
    level = np.arange(256) / 255
    linear = srgb_decode(level) if plain else level ** (1 / gamma)
    matrix = _primaries_matrix(chromaticity)
    table = np.rint(srgb_encode(linear) * 255).astype(np.uint8).tolist() * 3

    def apply(image: Image.Image) -> Image.Image:
        rgb = as_rgb(image)
        if matrix is None:
            return rgb.point(table)
        light = np.clip(linear[np.asarray(rgb)] @ matrix.T, 0, 1)
        return Image.fromarray(np.rint(srgb_encode(light) * 255).astype(np.uint8))

    return apply


def _primaries_matrix(chromaticity: tuple[float, ...]) -> NDArray[np.float64] | None:
    """Return the matrix from linear RGB of stated primaries and white to linear sRGB, None if the same."""
    from marquee.colour.adapt import adaptation_matrix
    from marquee.colour.constants import D65_XYZ, XYZ_TO_SRGB, xyz_of_xy

    if np.allclose(chromaticity, _SRGB_CHROMATICITY, atol=0.005):
        return None
    xy = [(chromaticity[i], chromaticity[i + 1]) for i in (0, 2, 4, 6)]
    if any(y <= 0 for _, y in xy):
        return None
    columns = np.stack([xyz_of_xy(p) for p in xy[1:]], axis=1)
    if abs(np.linalg.det(columns)) < 1e-6:
        return None
    white = xyz_of_xy(xy[0])
    to_xyz = columns * np.linalg.solve(columns, white)
    return np.asarray(XYZ_TO_SRGB @ adaptation_matrix(white, D65_XYZ) @ to_xyz, float)
