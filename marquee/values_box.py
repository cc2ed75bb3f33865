"""The box as it is built: walls, cells, and gaps too narrow for a wall; lengths in mm, face coordinates."""

from __future__ import annotations

from dataclasses import dataclass

from marquee.errors import Finding

Point = tuple[float, float]
Path_mm = tuple[Point, ...]
BBox = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """One barrier run between two zones' cells: its centre line on the face plane."""

    id: int
    zones: tuple[int, int]
    path_mm: Path_mm
    length_mm: float
    slots_mm: tuple[float, ...] = ()  # places along the path where a strip passes under it


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A stretch where two zones' apertures come nearer than a wall is thick, and how much wider the face must be there.

    `at_mm` is on the wall where the gap is narrowest, `length_mm` how far the wall must taper. `add_mm` of opaque face
    between the apertures would let the wall keep its thickness, `add_clear_mm` its clearance too.
    """

    zones: tuple[int, int]
    at_mm: Point
    gap_mm: float
    length_mm: float
    add_mm: float
    add_clear_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """The chamber behind one zone: outline and holes at the walls' faces (walls already taken off)."""

    id: int
    zone: int
    outline_mm: Path_mm
    holes_mm: tuple[Path_mm, ...] = ()
    area_mm2: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """The light box: rim, walls and cells. `wall_gap_mm` is between the walls' tops and the diffuser."""

    width_mm: float
    height_mm: float
    depth_mm: float
    wall_thickness_mm: float
    wall_gap_mm: float
    walls: tuple[Wall, ...]
    cells: tuple[Cell, ...]
    findings: tuple[Finding, ...] = ()
    gaps: tuple[Gap, ...] = ()  # where colours come nearer than a wall is thick

    @property
    def wall_height_mm(self) -> float:
        """Height of the walls above the LED plane [mm]."""
        return self.depth_mm - self.wall_gap_mm

    @property
    def total_length_mm(self) -> float:
        """Length of all walls together [mm]."""
        return float(sum(wall.length_mm for wall in self.walls))
