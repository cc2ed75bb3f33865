"""Pixels as a file holds them to sRGB: embedded profile, PNG gamma and primaries."""

from __future__ import annotations

import io
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
_INTENT = ImageCms.Intent.RELATIVE_COLORIMETRIC


def to_srgb(
    image: Image.Image, info: dict[str, Any], where: str
) -> tuple[Image.Image, list[Finding]]:
    """Return `image` (mode L or RGB) as RGB in sRGB, and remarks on profiles that could not be used.

    An embedded ICC profile comes first, then an sRGB mark, then gamma and primaries (PNG third edition,
    4.3, table 1). Without any the pixels are taken as sRGB.
    """
    profile = info.get("icc_profile")
    if profile:
        converted = _through_profile(image, bytes(profile))
        if converted is not None:
            return converted, []
        message = (
            "the embedded colour profile does not fit the pixels or is damaged and was ignored: colours are "
            "taken as sRGB; export the artwork as sRGB if they look wrong"
        )
        return image.convert("RGB"), [
            Finding(code="artwork.profile", where=where, message=message)
        ]
    rgb = image.convert("RGB")
    if "srgb" in info or ("gamma" not in info and "chromaticity" not in info):
        return rgb, []
    return _through_gamma(rgb, info), []


def coding_finding(coding: tuple[int, ...] | None, where: str) -> list[Finding]:
    """Return the remark that a PNG states a video colour coding which is not sRGB's."""
    if coding is None or coding == _CICP_SRGB:
        return []
    message = (
        f"the file states colour coding {'-'.join(map(str, coding))} (cICP), which is not read: colours are "
        "taken as sRGB; export the artwork as sRGB"
    )
    return [Finding(code="artwork.profile", where=where, message=message)]


def _through_profile(image: Image.Image, profile: bytes) -> Image.Image | None:
    """Return the pixels in sRGB, or None where the profile cannot be applied."""
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        target = ImageCms.createProfile("sRGB")
        space = source.profile.xcolor_space.strip()
        if space == "GRAY":
            image = image.convert("L")
        elif space == "RGB":
            image = image.convert("RGB")
        else:
            return None
        transform = ImageCms.buildTransform(source, target, image.mode, "RGB", _INTENT)
        if image.mode == "RGB" and _changes_nothing(transform):
            return image
        return ImageCms.applyTransform(image, transform)
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return None


def _changes_nothing(transform: ImageCms.ImageCmsTransform) -> bool:
    """Return whether a grid of colours comes back as it went in (the profile is sRGB itself)."""
    steps = np.linspace(0, 255, 9).round().astype(np.uint8)
    grid = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(27, 27, 3)
    back = np.asarray(ImageCms.applyTransform(Image.fromarray(grid), transform))
    return int(np.abs(back.astype(int) - grid).max()) <= 1


def _through_gamma(image: Image.Image, info: dict[str, Any]) -> Image.Image:
    from marquee.colour.spaces import srgb_encode

    gamma = float(info.get("gamma", _SRGB_GAMMA))
    if not 0.05 <= gamma <= 5:  # gAMA of 0 or absurd: nothing can be meant by it
        gamma = _SRGB_GAMMA
    chromaticity = tuple(float(v) for v in info.get("chromaticity", _SRGB_CHROMATICITY))
    plain = abs(gamma - _SRGB_GAMMA) < 0.01
    if plain and np.allclose(chromaticity, _SRGB_CHROMATICITY, atol=0.005):
        return image
    from marquee.colour.spaces import srgb_decode

    level = np.arange(256) / 255
    linear = srgb_decode(level) if plain else level ** (1 / gamma)
    matrix = _primaries_matrix(chromaticity)
    if matrix is None:
        table = np.rint(srgb_encode(linear) * 255).astype(np.uint8)
        return image.point(table.tolist() * 3)
    pixels = np.asarray(image)
    out = np.empty_like(pixels)
    for row in range(0, len(pixels), 64):  # in strips, to keep the float copy small
        light = np.clip(linear[pixels[row : row + 64]] @ matrix.T, 0, 1)
        out[row : row + 64] = np.rint(srgb_encode(light) * 255)
    return Image.fromarray(out)


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
