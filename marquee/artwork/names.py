"""Plain names for colours no palette names."""

from __future__ import annotations

import numpy as np

from marquee.colour.difference import delta_e_2000
from marquee.colour.spaces import srgb_8bit_to_lab_d65

# Everyday names at places of our choosing in sRGB; the nearest by CIEDE2000 names a colour. Wide names have several.
_NAMES: dict[str, tuple[str, ...]] = {
    "white": ("#ffffff",),
    "light grey": ("#c8c8c8",),
    "grey": ("#8c8c8c",),
    "dark grey": ("#4c4c4c",),
    "near black": ("#1c1c1c",),
    "cream": ("#f6ecc8",),
    "beige": ("#d8c29a",),
    "brown": ("#7a4a22",),
    "dark brown": ("#43260f",),
    "red": ("#d81e2c",),
    "bright red": ("#ff1a10",),
    "dark red": ("#7c1016",),
    "orange red": ("#f0501c",),
    "orange": ("#ff7a10",),
    "amber": ("#ff9f20",),
    "gold": ("#d9a628",),
    "yellow": ("#ffd821",),
    "lemon": ("#fff450",),
    "olive": ("#7a7a1e",),
    "lime": ("#a6dc1c",),
    "bright green": ("#22e030",),
    "green": ("#1fa64a",),
    "dark green": ("#0c4a22",),
    "mint": ("#98e8bc",),
    "teal": ("#0f8080", "#12a0a0"),
    "dark teal": ("#0a3f44",),
    "turquoise": ("#22d0b8",),
    "cyan": ("#18b8d8",),
    "bright cyan": ("#20f0ff",),
    "light blue": ("#98ccf4",),
    "sky blue": ("#4aa2ec",),
    "slate blue": ("#526892",),
    "blue": ("#2346d2", "#1a6ec4"),
    "bright blue": ("#1020ff",),
    "navy": ("#121c58",),
    "violet": ("#6a2ac8",),
    "lavender": ("#bca6ec",),
    "dark violet": ("#2c1058",),
    "purple": ("#8c24a0",),
    "mauve": ("#9c7a9a", "#6c526e"),
    "plum": ("#5a2a58",),
    "magenta": ("#d030c8",),
    "pink": ("#f48cb8",),
    "hot pink": ("#f42c84",),
    "salmon": ("#f48c74",),
    "maroon": ("#5a0c34",),
}


def plain_name(rgb: tuple[float, float, float] | np.ndarray, taken: set[str]) -> str:
    """Return an everyday name for sRGB codes, numbered where it is taken already."""
    words = [name for name, places in _NAMES.items() for _ in places]
    places = [place for several in _NAMES.values() for place in several]
    codes = np.array([[int(h[i : i + 2], 16) for i in (1, 3, 5)] for h in places])
    near = delta_e_2000(srgb_8bit_to_lab_d65(codes), srgb_8bit_to_lab_d65(np.asarray(rgb)))
    return free_name(words[int(np.argmin(near))], taken)


def free_name(name: str, taken: set[str]) -> str:
    """Return `name`, or it with the first number from 2 that is free."""
    if name not in taken:
        return name
    number = 2
    while f"{name} {number}" in taken:
        number += 1
    return f"{name} {number}"
