"""Labels beside the face, joined to their places by lines that do not cross."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from marquee.outputs.pictures.sheet import Lettering, Sheet
from marquee.outputs.pictures.style import BODY_PX, Rgb, shorten, text_width

Place = tuple[float, float]
_GAP_PX = 16.0
_COLUMN_STEP_PX = 22.0
# How long a label in a row may be, tried in turn; with none only the number is left.
_WIDTHS_PX = (230.0, 160.0, 110.0, 0.0)
_WHITE: Rgb = (255, 255, 255)


@dataclass(frozen=True, slots=True, kw_only=True)
class Callout:
    """A label and the place on the sheet it speaks of."""

    number: str
    text: str
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """Where labels go: in a row (axis 0) or a column (axis 1) from low to high.

    `port` is the other coordinate of the ends of the lines, `middle` that of the labels' middle or left end.
    """

    axis: int
    low: float
    high: float
    port: float
    middle: float

    def end(self, centre: float) -> Place:
        """Return where the line of a label ends."""
        return (centre, self.port) if self.axis == 0 else (self.port, centre)


_Item = tuple[Callout, str, float]


def spread(
    wanted: Sequence[float], sizes: Sequence[float], low: float, high: float
) -> list[float]:
    """Return centres near the wanted ones, in the order given, that neither overlap nor leave low…high.

    Least squares by joining neighbours that collide into blocks (pool adjacent violators).

    Parameters
    ----------
    wanted : (n,)
        Centres wished for.
    sizes : (n,)
        Extent of each, gaps included; they fit between low and high together.
    low, high : float
        The strip's ends.
    """
    # A block: sum of the starts its members would give it, number of members, extent.
    blocks: list[tuple[float, int, float]] = []
    for centre, size in zip(wanted, sizes, strict=True):
        block = (centre - size / 2, 1, size)
        while blocks and _start(blocks[-1], low, high) + blocks[-1][2] > _start(block, low, high):
            starts, members, extent = blocks.pop()
            block = (starts + block[0] - block[1] * extent, members + block[1], extent + block[2])
        blocks.append(block)
    centres: list[float] = []
    for block in blocks:
        place = _start(block, low, high)
        for size in sizes[len(centres) : len(centres) + block[1]]:
            centres.append(place + size / 2)
            place += size
    return centres


def _start(block: tuple[float, int, float], low: float, high: float) -> float:
    return max(min(block[0] / block[1], high - block[2]), low)


def draw_callouts(
    sheet: Sheet, callouts: Sequence[Callout], strip: Strip, halo: Rgb = _WHITE
) -> int:
    """Draw labels in a strip and the lines to their places; return how many found no room.

    Parameters
    ----------
    sheet : Sheet
        What is drawn on.
    callouts : sequence of Callout
        Most important first: the last are left out where there is no room.
    strip : Strip
        Where the labels go.
    halo : Rgb
        Drawn round lines and dots to lift them off what they cross.
    """
    items = _fitting(callouts, strip, sheet.width_px)
    ordered = _untangled(items, strip)
    centres = _centres(ordered, strip)
    for (callout, _, _), centre in zip(ordered, centres, strict=True):
        sheet.line([strip.end(centre), callout.place], sheet.theme.ink, 1, halo)
        sheet.bar_line(strip.end(centre), callout.place)
    for (callout, text, _), centre in zip(ordered, centres, strict=True):
        sheet.dot(*callout.place, 4.5, halo)
        sheet.dot(*callout.place, 3.0, sheet.theme.ink)
        if strip.axis == 0:
            sheet.text(centre, strip.middle, text, Lettering(align="centre"))
        else:
            sheet.text(strip.middle, centre, text)
    return len(callouts) - len(ordered)


def _fitting(callouts: Sequence[Callout], strip: Strip, width_px: int) -> list[_Item]:
    room = strip.high - strip.low
    if strip.axis == 1:
        most = width_px - strip.middle - _GAP_PX
        kept = callouts[: int(room // _COLUMN_STEP_PX)]
        return [(c, _label(c, most), _COLUMN_STEP_PX) for c in kept]
    items: list[_Item] = []
    for most in _WIDTHS_PX:
        texts = [_label(c, most) for c in callouts]
        sizes = [text_width(t, BODY_PX) + _GAP_PX for t in texts]
        items = list(zip(callouts, texts, sizes, strict=True))
        if sum(sizes) <= room:
            return items
    while sum(size for _, _, size in items) > room:
        items.pop()
    return items


def _label(callout: Callout, most_px: float) -> str:
    if most_px == 0.0:
        return callout.number
    return shorten(f"{callout.number}  {callout.text}", most_px, BODY_PX)


def _centres(items: Sequence[_Item], strip: Strip) -> list[float]:
    wanted = [callout.place[strip.axis] for callout, _, _ in items]
    return spread(wanted, [size for _, _, size in items], strip.low, strip.high)


def _untangled(items: Sequence[_Item], strip: Strip) -> list[_Item]:
    ordered = sorted(items, key=lambda item: item[0].place[strip.axis])
    # Each swap of two crossing lines shortens them together, so this ends; the limit is for ties.
    for _ in range(4 * len(ordered)):
        centres = _centres(ordered, strip)
        lines = [(strip.end(c), item[0].place) for c, item in zip(centres, ordered, strict=True)]
        pairs = combinations(range(len(ordered)), 2)
        crossing = next(((i, j) for i, j in pairs if _cross(*lines[i], *lines[j])), None)
        if crossing is None:
            break
        i, j = crossing
        ordered[i], ordered[j] = ordered[j], ordered[i]
    return ordered


def _cross(a: Place, b: Place, c: Place, d: Place) -> bool:
    return _side(a, b, c) * _side(a, b, d) < 0 and _side(c, d, a) * _side(c, d, b) < 0


def _side(p: Place, q: Place, r: Place) -> float:
    return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])
