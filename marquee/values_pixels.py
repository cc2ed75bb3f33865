"""Pictures and maps of millions of pixels, held in few bytes and made in full when first looked at.

Touching memory for the first time costs more than computing what goes there: a stage that needs no full-size
map should not have to pay for one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Generic, Never, Protocol, TypeVar, cast, overload

import numpy as np
from numpy.typing import NDArray

T = TypeVar("T", bound=np.generic)


class Compact(Protocol):
    """What a full-size array can be made of."""

    def in_full(self) -> NDArray[Any]:
        """Return the array."""
        ...


class OnDemand(Generic[T]):
    """A field of a value that is read as an array and may be given as what makes it."""

    def __set_name__(self, owner: type, name: str) -> None:
        """Note under which names the value keeps what it was given and what was made."""
        self._given, self._made = f"_{name}_given", f"_{name}_made"

    @overload
    def __get__(self, value: None, owner: type) -> Never: ...
    @overload
    def __get__(self, value: object, owner: type) -> NDArray[T]: ...
    def __get__(self, value: object | None, owner: type) -> NDArray[T]:
        """Return the array, made now if it was not yet."""
        if value is None:
            raise AttributeError(owner.__name__)  # so that the field has no default
        kept = vars(value)
        made = kept.get(self._made)
        if made is None:
            made = kept[self._given].in_full()
            made.setflags(write=False)
            kept[self._made] = made
        return cast("NDArray[T]", made)

    def __set__(self, value: object, given: NDArray[T] | Compact) -> None:
        """Keep what is given."""
        kept = vars(value)
        kept[self._given] = given
        kept[self._made] = given if isinstance(given, np.ndarray) else None


def as_given(value: object, name: str) -> Any:  # noqa: ANN401 -- a field's value
    """Return a value's field as it was given, without making anything."""
    fallback = object()
    given = getattr(value, f"_{name}_given", fallback)
    return getattr(value, name) if given is fallback else given


def coarse_of(value: object, name: str) -> tuple[NDArray[Any], int]:
    """Return a map as coarse as it is held, without making it in full, and how many pixels a side its blocks have."""
    given = as_given(value, name)
    return (given.coarse, given.factor) if isinstance(given, Enlarged) else (given, 1)


def shrunk_picture(value: object, name: str, size_px: tuple[int, int]) -> NDArray[np.uint8]:
    """Return a picture at a smaller width and height [px], its colours averaged, without making it in full."""
    import cv2

    given = as_given(value, name)
    held = given.rgbx if isinstance(given, Padded) else given
    small = cv2.resize(held, size_px, interpolation=cv2.INTER_AREA)
    return np.ascontiguousarray(np.asarray(small, np.uint8)[..., :3])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Padded:
    """A picture as decoders leave it: `rgbx` (height_px, width_px, 4) uint8, the fourth byte without meaning."""

    rgbx: NDArray[np.uint8]

    @property
    def shape(self) -> tuple[int, int]:
        """Height and width [px]."""
        return self.rgbx.shape[0], self.rgbx.shape[1]

    def in_full(self) -> NDArray[np.uint8]:
        """Return the picture (height_px, width_px, 3)."""
        import cv2

        return np.asarray(cv2.cvtColor(self.rgbx, cv2.COLOR_RGBA2RGB), np.uint8)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Enlarged:
    """A map of ids: `coarse` (rows, columns) in blocks of `factor` pixels a side, and single pixels that differ.

    Those are at the flat indices `place`, in rising order, of the full map `shape` and have the ids `own`. Blocks
    at the right and lower border may reach beyond the map.
    """

    coarse: NDArray[Any]
    factor: int
    shape: tuple[int, int]
    place: NDArray[np.int64]
    own: NDArray[Any]

    def in_full(self) -> NDArray[Any]:
        """Return the map."""
        return self.window(0, self.shape[0])

    def window(self, top: int, bottom: int) -> NDArray[Any]:
        """Return rows `top` to `bottom` of the map, the last one not included."""
        height, width = self.shape
        top, bottom = max(0, top), min(height, bottom)
        first, last = top // self.factor, -(-bottom // self.factor)
        # Stretched along the rows once, then each row copied: half the time of enlarging both ways.
        rows = np.repeat(self.coarse[first:last], self.factor, axis=1)[:, :width]
        full = np.empty((last - first, self.factor, width), self.coarse.dtype)
        full[:] = rows[:, None]
        offset = first * self.factor
        flat = full.ravel()
        low, high = np.searchsorted(
            self.place, [offset * width, min(height, last * self.factor) * width]
        )
        flat[self.place[low:high] - offset * width] = self.own[low:high]
        return flat.reshape(-1, width)[top - offset : bottom - offset]

    def coarse_any(self) -> NDArray[np.bool_]:
        """Return which blocks hold an id above -1."""
        found = self.coarse >= 0
        y, x = np.divmod(self.place[self.own >= 0], self.shape[1])
        found[y // self.factor, x // self.factor] = True
        return found
