"""What is cut: wall strips and where they lie on sheets, the openings of the face, and its islands' bridges.

Lengths mm. `Strip` outlines lie flat: x along the strip from its start, y up from the edge that stands on the
LED plane, seen from the strip's right side (that is the lower side of a wall that runs to the right on the face).
Everything else is in face coordinates: x right, y down, seen from the front.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from marquee.errors import Finding
from marquee.values import BBox, Gap, Path_mm, Point

# How a strip ends: against another strip's side, by a tee halving into it, in a mitred corner, at the box's rim,
# in line with the next piece of the same wall, at its own other end, or free.
EndKind = Literal["butt", "tee", "mitre", "rim", "in-line", "seam", "free"]
# Six numbers of two cubic Bézier handles and an end point follow each other from a start point.
Curve = tuple[float, float, float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """One end of a strip: how it meets, what (a part number, "" for the rim), and the bevel its end takes.

    `trim_mm` is what the centre line loses there to make room for the other strip (negative where a tongue or
    a bevel's long side needs more). `bevel_degrees` is how far the end is off square, positive where the left
    side is the longer one.
    """

    kind: EndKind
    meets: str = ""
    trim_mm: float = 0.0
    bevel_degrees: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Fold:
    """A score line across the strip: where, by how much it turns, and on which side the score is cut.

    `degrees` is positive where the wall turns towards its right (clockwise on the face seen from the front);
    the score is on the outer side of the turn.
    """

    at_mm: float
    degrees: float
    scored: Literal["left", "right"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """A halving joint's slot: from the top or bottom edge to half the height."""

    at_mm: float
    width_mm: float
    depth_mm: float
    from_top: bool
    meets: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Notch:
    """An opening at the bottom edge under which an LED row passes."""

    at_mm: float
    width_mm: float
    height_mm: float
    row: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Taper:
    """A stretch whose top is tapered on one side, because the wall stands over a lit aperture there."""

    at_mm: float
    width_mm: float
    side: Literal["left", "right"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A place on a side of the box where a wall meets it."""

    at_mm: float
    part: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """One flat part: where it stands, and its shape when laid flat.

    `run_mm` is its length along the walls' centre lines; `length_mm` that of the flat part:
    run − folds − trims. `folds_mm` is what folding takes off. `outline_mm` is the finished shape, closed (first
    point not repeated), kerf not included.
    """

    part: str
    walls: tuple[int, ...]
    path_mm: Path_mm
    run_mm: float
    folds_mm: float
    length_mm: float
    height_mm: float
    start: End
    end: End
    folds: tuple[Fold, ...]
    slots: tuple[Slot, ...]
    notches: tuple[Notch, ...]
    outline_mm: Path_mm
    tapers: tuple[Taper, ...] = ()
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A part on a sheet, by its number among the plan's `flat_parts`: the lower left corner of its box there, and the cut line with the kerf in the waste."""

    strip: int
    x_mm: float
    y_mm: float
    cut_mm: Path_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One sheet of wall material with the parts nested on it; y up."""

    width_mm: float
    height_mm: float
    parts: tuple[Placed, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ring:
    """A smooth closed path: from `start` through cubic Bézier pieces back to it, and the same flattened.

    Openings turn clockwise as seen from the front, islands of material in them the other way.
    """

    start: Point
    curves: tuple[Curve, ...]
    flat_mm: Path_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """One hole of the face: apertures that touch are cut as one. `holes` are the islands left in it."""

    outline: Ring
    holes: tuple[Ring, ...]
    apertures: tuple[int, ...]
    area_mm2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Bridge:
    """A strip of face that holds an island: from the island to what it is held by."""

    start_mm: Point
    end_mm: Point
    width_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Island:
    """Opaque face inside an opening that would fall out."""

    id: int
    opening: int
    outline_mm: Path_mm
    area_mm2: float
    bridges: tuple[Bridge, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lap:
    """Half of a wall's thickness that printed piece `piece` keeps past the cut, and the room piece `beyond` leaves for it."""

    piece: int
    beyond: int
    outline_mm: Path_mm
    room_mm: Path_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPlan:
    """Everything that is cut, scored or printed to be cut by.

    `kerf_mm` is in the walls' cut lines where `walls_compensated`, in the face's where `face_compensated`.
    `rows_mm` are the LED rows as ((x, y), (x, y)) of their ends, `tapers_mm` the stretches of wall that stand
    over lit apertures. `sides` are the box's, where wanted; `print_pieces_mm` the areas whose walls are printed as one
    piece each, none where all are, and `print_laps` where these overlap; `gaps` are where the face is narrower than a wall.
    """

    width_mm: float
    height_mm: float
    wall_thickness_mm: float
    wall_height_mm: float
    kerf_mm: float
    walls_compensated: bool
    face_compensated: bool
    bridges_cut: bool
    page: Literal["A4", "Letter"]
    page_overlap_mm: float
    notch_height_mm: float
    strips: tuple[Strip, ...]
    sheets: tuple[Sheet, ...]
    openings: tuple[Opening, ...]
    islands: tuple[Island, ...]
    notch_areas_mm: tuple[Path_mm, ...]
    rows_mm: tuple[tuple[Point, Point], ...]
    tapers_mm: tuple[Path_mm, ...] = ()
    findings: tuple[Finding, ...] = ()
    sides: tuple[Strip, ...] = ()
    print_pieces_mm: tuple[BBox, ...] = ()
    print_laps: tuple[Lap, ...] = ()
    gaps: tuple[Gap, ...] = ()

    @property
    def flat_parts(self) -> tuple[Strip, ...]:
        """The wall strips and the box's sides."""
        return (*self.strips, *self.sides)


# For a plan made without the cut stage; there is nothing to draw.
NOTHING_CUT = CutPlan(
    width_mm=0.0,
    height_mm=0.0,
    wall_thickness_mm=0.0,
    wall_height_mm=0.0,
    kerf_mm=0.0,
    walls_compensated=False,
    face_compensated=False,
    bridges_cut=False,
    page="A4",
    page_overlap_mm=0.0,
    notch_height_mm=0.0,
    strips=(),
    sheets=(),
    openings=(),
    islands=(),
    notch_areas_mm=(),
    rows_mm=(),
)
