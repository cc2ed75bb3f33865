"""What a drawing is before it is a file: lines, smooth paths and labels on layers, in mm, y down."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from marquee.outputs.pictures.style import plain, shorten, text_width
from marquee.values import Path_mm, Point
from marquee.values_cut import Ring

Rgb = tuple[int, int, int]
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """A layer: its name in files, what it is for, and how it looks; `dxf_colour` is a colour index of DXF."""

    name: str
    means: str
    colour: Rgb
    dxf_colour: int
    line_mm: float
    dash_mm: tuple[float, ...] = ()


CUT = Layer(name="CUT", means="cut through", colour=(0, 0, 0), dxf_colour=7, line_mm=0.1)
SCORE = Layer(
    name="SCORE",
    means="score to half depth, this side",
    colour=(20, 80, 200),
    dxf_colour=5,
    line_mm=0.1,
)
SCORE_BEHIND = Layer(
    name="SCORE-BEHIND",
    means="score to half depth, other side",
    colour=(180, 60, 180),
    dxf_colour=6,
    line_mm=0.1,
    dash_mm=(2.0, 1.0),
)
BEVEL = Layer(
    name="BEVEL",
    means="bevel the end down to this line",
    colour=(120, 120, 120),
    dxf_colour=8,
    line_mm=0.1,
    dash_mm=(1.0, 1.0),
)
BRIDGE = Layer(
    name="BRIDGE",
    means="leave uncut here: holds an island",
    colour=(200, 40, 30),
    dxf_colour=1,
    line_mm=0.15,
)
GAP = Layer(
    name="GAP",
    means="face narrower than a wall here (not cut)",
    colour=(220, 110, 0),
    dxf_colour=30,
    line_mm=0.2,
)
RIM = Layer(name="RIM", means="inside of the box", colour=(0, 0, 0), dxf_colour=7, line_mm=0.2)
WALL = Layer(
    name="WALL", means="walls, true thickness", colour=(0, 0, 0), dxf_colour=7, line_mm=0.15
)
CENTRE = Layer(
    name="CENTRE",
    means="walls' centre lines",
    colour=(110, 110, 110),
    dxf_colour=8,
    line_mm=0.1,
    dash_mm=(4.0, 1.0, 1.0, 1.0),
)
LED_ROW = Layer(
    name="LED-ROW",
    means="LED strip, walls notched",
    colour=(0, 130, 90),
    dxf_colour=3,
    line_mm=0.1,
    dash_mm=(2.0, 2.0),
)
PART_END = Layer(
    name="PART-END", means="where parts meet", colour=(200, 40, 30), dxf_colour=1, line_mm=0.25
)
TAPER = Layer(
    name="TAPER",
    means="taper the top to a knife edge, this side",
    colour=(220, 110, 0),
    dxf_colour=30,
    line_mm=0.5,
)
TAPER_BEHIND = Layer(
    name="TAPER-BEHIND",
    means="taper the top to a knife edge, other side",
    colour=(220, 110, 0),
    dxf_colour=32,
    line_mm=0.5,
    dash_mm=(2.0, 1.0),
)
PRINT = Layer(
    name="PRINT",
    means="pieces of the printed walls",
    colour=(150, 90, 40),
    dxf_colour=33,
    line_mm=0.15,
    dash_mm=(6.0, 2.0),
)
TAPERED = Layer(
    name="TAPERED",
    means="wall over a lit aperture: top tapered",
    colour=(220, 110, 0),
    dxf_colour=30,
    line_mm=0.6,
)
SHEET = Layer(
    name="SHEET",
    means="edge of the sheet, not cut",
    colour=(150, 150, 150),
    dxf_colour=9,
    line_mm=0.2,
)
LABEL = Layer(
    name="LABEL", means="mark or engrave lightly", colour=(60, 60, 60), dxf_colour=4, line_mm=0.1
)
NOTE = Layer(
    name="NOTE",
    means="to read, not to cut or mark",
    colour=(40, 40, 40),
    dxf_colour=8,
    line_mm=0.1,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A path of straight lines; `fill` is a grey (0 to 255) or None."""

    layer: Layer
    points: Path_mm
    closed: bool = True
    fill: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Smooth:
    """A closed path of curves."""

    layer: Layer
    ring: Ring


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A line of text: its baseline's place, height of the type [mm], turn [degrees, clockwise]."""

    layer: Layer
    text: str
    at: Point
    size_mm: float = 3.0
    degrees: float = 0.0
    anchor: Anchor = "start"
    bold: bool = False


@dataclass(slots=True)
class Drawing:
    """A drawing being put together; its size grows with what is put on it.

    `left_mm`, `top_mm` to `right_mm`, `bottom_mm` is what a page must show.
    """

    title: str
    right_mm: float
    bottom_mm: float
    left_mm: float = 0.0
    top_mm: float = 0.0
    strokes: list[Stroke] = field(default_factory=list)
    smooths: list[Smooth] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)

    @property
    def layers(self) -> tuple[Layer, ...]:
        """The layers used, in order of first use: paths, then text."""
        used = [s.layer for s in self.strokes] + [s.layer for s in self.smooths]
        return tuple(dict.fromkeys([*used, *(label.layer for label in self.labels)]))

    def stroke(
        self,
        layer: Layer,
        points: Sequence[Point],
        *,
        closed: bool = True,
        fill: int | None = None,
    ) -> None:
        """Add a path of straight lines."""
        self.strokes.append(Stroke(layer=layer, points=tuple(points), closed=closed, fill=fill))

    def rectangle(self, layer: Layer, x0: float, y0: float, x1: float, y1: float) -> None:
        """Add a rectangle."""
        self.stroke(layer, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)))

    def label(
        self,
        layer: Layer,
        text: str,
        at: Point,
        size_mm: float = 3.0,
        *,
        anchor: Anchor = "start",
        bold: bool = False,
        degrees: float = 0.0,
    ) -> None:
        """Add a line of text, level unless turned."""
        shown = Label(
            layer=layer,
            text=plain(text),
            at=at,
            size_mm=size_mm,
            degrees=degrees,
            anchor=anchor,
            bold=bold,
        )
        self.labels.append(shown)

    def heading(self, view: str, about: str) -> None:
        """Put the view in large letters above the work, and what it is."""
        width = max(self.right_mm, 60.0)
        used = width_mm(view, 10.0, bold=True) + 6.0
        room = width - used
        # On a narrow drawing what it is stands below the view, not beside it.
        if room > 50.0:
            self.label(NOTE, view, (0.0, self.top_mm - 8.0), 10.0, bold=True)
            self.label(NOTE, fitted(about, 4.0, room), (used, self.top_mm - 8.0), 4.0)
            self.top_mm -= 22.0
        else:
            self.label(NOTE, view, (0.0, self.top_mm - 14.0), 10.0, bold=True)
            self.label(NOTE, fitted(about, 4.0, width), (0.0, self.top_mm - 6.0), 4.0)
            self.top_mm -= 28.0
        self.right_mm = max(self.right_mm, used)

    def notes(self, lines: Sequence[str], size_mm: float = 3.2) -> None:
        """Put lines of text below everything else, wrapped to the drawing's width."""
        width = max(self.right_mm - self.left_mm, 120.0)
        # Wide letters take 0.58 of the type's size on average; labels hold no more than 150 characters.
        per_line = min(max(24, int(width / (0.58 * size_mm))), 150)
        y = self.bottom_mm + 8.0
        for line in lines:
            for part in textwrap.wrap(line, per_line) or [""]:
                self.label(NOTE, part, (self.left_mm, y), size_mm)
                y += 1.55 * size_mm
        self.bottom_mm = y
        self.right_mm = max(self.right_mm, self.left_mm + width)

    def legend(self) -> None:
        """Put a key of the layers below everything else."""
        y = self.bottom_mm + 8.0
        x = self.left_mm
        for layer in self.layers:
            if layer.name == NOTE.name:
                continue
            text = f"{layer.name}: {layer.means}"
            needed = 14.0 + width_mm(text, 3.2) + 8.0
            if x > self.left_mm and x + needed > max(self.right_mm, self.left_mm + 120.0):
                x, y = self.left_mm, y + 6.0
            self.labels.append(Label(layer=NOTE, text=text, at=(x + 14.0, y), size_mm=3.2))
            self._sample(layer, x, y - 1.1)
            x += needed
        self.bottom_mm = y + 2.0

    def _sample(self, layer: Layer, x: float, y: float) -> None:
        # The sample is a note: nothing on a working layer may lie outside the work.
        sample = Layer(
            name=NOTE.name,
            means=NOTE.means,
            colour=layer.colour,
            dxf_colour=layer.dxf_colour,
            line_mm=max(layer.line_mm, 0.3),
            dash_mm=layer.dash_mm,
        )
        self.strokes.append(Stroke(layer=sample, points=((x, y), (x + 11, y)), closed=False))


def width_mm(text: str, size_mm: float, *, bold: bool = False) -> float:
    """Return how wide a line of text comes out [mm]; `size_mm` is the type's size."""
    return text_width(plain(text), 40, bold=bold) * size_mm / 40


def fitted(text: str, size_mm: float, room_mm: float, *, bold: bool = False) -> str:
    """Return `text`, shortened with an ellipsis where it would be wider than the room [mm]."""
    return shorten(plain(text), max(room_mm, 1.0) * 40 / size_mm, 40, bold=bold)


LASER_NOTES = (
    "Laser: never leave it running unattended; extract the fumes; keep an extinguisher at hand. Know what the sheet is: "
    "PVC and vinyl give off hydrogen chloride, which harms lungs and machine, and must not be cut. "
    "The machine's manual and the sheet's data sheet come first.",
    "Saw or knife: guard, glasses, and a straight edge thicker than the sheet. Try every joint on scrap first.",
)
