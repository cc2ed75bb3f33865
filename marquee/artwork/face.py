"""What of the picture stays opaque: clear pixels, the dark, the colour along the border, or a stated one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from marquee.artwork.flat import Flatness
from marquee.colour.difference import delta_e_2000
from marquee.colour.spaces import hex_of_srgb_8bit, srgb_8bit_to_lab_d65
from marquee.colour.target import target_from_text
from marquee.errors import Finding, InputError, QuantityError

# Below this L* nothing reads as lit (common practice, no source).
DARK_LIGHTNESS = 6.0
# Share of clear pixels from which a transparent picture is meant to be cut out along its alpha.
_CLEAR_SHARE = 0.01
# The dark is the face when it holds half the border, or a tenth of the picture.
_DARK_BORDER, _DARK_SHARE = 0.5, 0.1
# One colour along so much of the border is a background (all: common practice, no source).
_BACKGROUND_BORDER = 0.7
_STATED_DELTA_E = 10.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Face:
    """The opaque part: `kind`, its colour, and which of the flat regions belong to it."""

    kind: Literal["alpha", "dark", "colour", "none"]
    rgb: NDArray[np.float64]
    opaque: NDArray[np.bool_]
    findings: tuple[Finding, ...] = ()

    @property
    def srgb(self) -> str:
        """The face's colour, or ``transparent``."""
        if self.kind == "alpha":
            return "transparent"
        return hex_of_srgb_8bit(np.rint(self.rgb).astype(np.uint8))


def clear_share(alpha_8bit: NDArray[np.uint8] | None) -> float:
    """Return the share of pixels that are more clear than not."""
    return 0.0 if alpha_8bit is None else float(np.mean(alpha_8bit < 128))


def uses_alpha(setting: str, alpha_8bit: NDArray[np.uint8] | None) -> bool:
    """Return whether the picture's transparency says what is face.

    Raises
    ------
    InputError
        ``alpha`` was asked for and nothing, or everything, is transparent.
    """
    share = clear_share(alpha_8bit)
    if share == 1 or (alpha_8bit is not None and int(alpha_8bit.max()) < 128):
        raise InputError(
            "artwork", "is entirely transparent", "export it with its content visible"
        )
    if setting.strip().lower() == "alpha":
        if share == 0:
            raise InputError(
                "--face alpha",
                "the artwork has no transparent pixels",
                "use --face auto or a colour",
            )
        return True
    return setting.strip().lower() == "auto" and share >= _CLEAR_SHARE


def choose_face(flat: Flatness, setting: str, *, by_alpha: bool) -> Face:
    """Return the face of a picture already laid on black where it is clear.

    Raises
    ------
    InputError
        The face colour cannot be read or is nowhere in the picture.
    """
    lab = srgb_8bit_to_lab_d65(flat.mean)
    dark = lab[:, 0] < DARK_LIGHTNESS
    dark[0] = False
    black = np.zeros(3)
    word = setting.strip().lower()
    if by_alpha:
        return Face(kind="alpha", rgb=black, opaque=dark)
    if word != "auto":
        return _stated(flat, lab, dark, setting)
    border = _border_counts(flat)
    total = max(1, int(border.sum()))
    if border[dark].sum() >= _DARK_BORDER * total or (
        flat.count[dark].sum() >= _DARK_SHARE * flat.region_of_px.size
    ):
        rgb = _mean(flat, dark)
        return Face(kind="dark", rgb=rgb, opaque=dark, findings=_lit_border(flat, border, dark))
    return _background(flat, lab, dark, border)


def _stated(
    flat: Flatness, lab: NDArray[np.float64], dark: NDArray[np.bool_], setting: str
) -> Face:
    try:
        target = target_from_text(setting, "face", "--face")
    except QuantityError as error:
        raise InputError("--face", error.what, f"{error.mend}; or use auto or alpha") from None
    stated = np.array(target.lab_d65)
    near = delta_e_2000(lab, stated) < _STATED_DELTA_E
    near[0] = False
    if stated[0] < DARK_LIGHTNESS:
        return Face(kind="dark", rgb=_mean(flat, dark | near), opaque=dark | near)
    if not near.any():
        largest = np.argsort(-flat.count[1:], kind="stable")[:50] + 1
        shown = ", ".join([*dict.fromkeys(_hex(flat.mean[r]) for r in largest)][:3])
        raise InputError(
            "--face",
            f"the artwork has no flat area of {target.srgb}",
            f"its largest flat areas are {shown}" if shown else "use auto",
        )
    return Face(kind="colour", rgb=_mean(flat, near), opaque=near | dark)


def _background(
    flat: Flatness, lab: NDArray[np.float64], dark: NDArray[np.bool_], border: NDArray[np.int64]
) -> Face:
    head = int(np.argmax(border))
    near = delta_e_2000(lab, lab[head]) < 5
    near[0] = False
    if head == 0 or border[near].sum() < _BACKGROUND_BORDER * border.sum():
        message = (
            "no dark and no single colour surrounds the artwork, so everything was taken as lit and nothing "
            "as opaque face; state the face's colour with --face if one of the colours is it"
        )
        return Face(
            kind="none",
            rgb=np.zeros(3),
            opaque=dark,
            findings=(Finding(code="zones.no-face", where="face", message=message),),
        )
    rgb = _mean(flat, near)
    message = (
        f"the light background {_hex(rgb)} along the border was taken as the opaque face; if it is to shine, "
        "give --face '#000000'"
    )
    return Face(
        kind="colour",
        rgb=rgb,
        opaque=near | dark,
        findings=(Finding(code="zones.light-background", where="face", message=message),),
    )


def _lit_border(
    flat: Flatness, border: NDArray[np.int64], dark: NDArray[np.bool_]
) -> tuple[Finding, ...]:
    lit = np.where(dark, 0, border)
    lit[0] = 0
    share = lit.sum() / max(1, border.sum())
    if share < 0.02:
        return ()
    colour = _hex(flat.mean[int(np.argmax(lit))])
    message = (
        f"lit colour reaches the picture's border along {share:.0%} of it ({colour} most); the dark was taken "
        f"as the face. If {colour} is only background, give --face '{colour}'"
    )
    return (Finding(code="zones.light-border", where="face", message=message),)


def _border_counts(flat: Flatness) -> NDArray[np.int64]:
    """Return how many pixels of the picture's outermost flat ring each region has."""
    regions = flat.region_of_px
    ring = np.concatenate([regions[0], regions[-1], regions[:, 0], regions[:, -1]])
    return np.bincount(ring, minlength=len(flat.count)).astype(np.int64)


def _mean(flat: Flatness, chosen: NDArray[np.bool_]) -> NDArray[np.float64]:
    weight = np.where(chosen, flat.count, 0).astype(float)
    if not weight.any():
        return np.zeros(3)
    return np.asarray(weight @ flat.mean / weight.sum(), float)


def _hex(rgb: NDArray[np.float64]) -> str:
    return hex_of_srgb_8bit(np.rint(rgb).astype(np.uint8))
