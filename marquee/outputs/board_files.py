"""What a maker of an own LED board needs: LED centroids for assembly, and outline with places as DXF."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

import numpy as np

from marquee.box.turns import package_turns_deg
from marquee.outputs.drawings.drawing import RIM, WALL, Drawing, Layer
from marquee.outputs.drawings.dxf import dxf_bytes
from marquee.outputs.drawings.floor import rings_of, wall_area
from marquee.outputs.names import base_name
from marquee.values import Path_mm, Point

if TYPE_CHECKING:
    from marquee.plan import Plan

_HEAD = ("designator", "x_mm", "y_mm", "rotation_deg", "side", "zone")
LED = Layer(
    name="LED",
    means="packages, seen from the component side",
    colour=(0, 130, 90),
    dxf_colour=3,
    line_mm=0.1,
)
CENTROID = Layer(
    name="LED-CENTROID",
    means="centres, as in leds.csv",
    colour=(200, 40, 30),
    dxf_colour=1,
    line_mm=0.1,
)
DESIGNATOR = Layer(
    name="DESIGNATOR",
    means="number along the data, from 1",
    colour=(60, 60, 60),
    dxf_colour=4,
    line_mm=0.1,
)
_ORIGIN = (
    "Origin of leds.csv and of this drawing: the board's lower left corner seen from the front, which is the component "
    "side (LEDs face the diffuser). x to the right, y up, mm. rotation_deg counter-clockwise seen from there; at 0 data "
    "runs to the right: turn your footprint so."
)
_OUTLINE = "RIM is the inside of the box: take off what your board needs to slide in. Walls stand on the board."


def board_files(plan: Plan) -> dict[str, bytes]:
    """Return leds.csv and board.dxf; nothing where the LEDs come on strip."""
    if plan.chain.arrangement != "board":
        return {}
    return {"leds.csv": centroid_csv(plan).encode(), "board.dxf": dxf_bytes(board_drawing(plan))}


def centroid_csv(plan: Plan) -> str:
    """Return the LEDs in data order: designator, centre [mm], rotation [degrees], side, zone (empty: dark).

    Origin at the lower left corner seen from the component side, y up, as board programs have it.
    """
    chain, height = plan.chain, plan.box.height_mm
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(_HEAD)
    places = chain.places_mm
    rows = zip(
        places[..., 0].ravel().tolist(),
        places[..., 1].ravel().tolist(),
        np.repeat(package_turns_deg(chain), places.shape[1]).tolist(),
        np.repeat(chain.zone, places.shape[1]).tolist(),
        strict=True,
    )
    for number, (x, y, turn, zone) in enumerate(rows, 1):
        lit = "" if zone < 0 else f"{zone}"
        writer.writerow((f"D{number}", f"{x:.3f}", f"{height - y:.3f}", turn, "top", lit))
    return stream.getvalue()


def board_drawing(plan: Plan) -> Drawing:
    """Return outline, LED packages, centres and numbers, and the walls that stand on the board."""
    box, chain = plan.box, plan.chain
    title = base_name(plan.artwork.file)
    # Drawings have y down and become y up in the file: lifted by the height, the origin is the lower left corner.
    lift = box.height_mm
    drawing = Drawing(title=title, right_mm=box.width_mm, bottom_mm=0.0, top_mm=-lift)
    drawing.rectangle(RIM, 0.0, -lift, box.width_mm, 0.0)
    for ring in rings_of(wall_area(plan.cut)):
        drawing.stroke(WALL, tuple((x, y - lift) for x, y in ring))
    half = plan.part.body_mm / 2
    for number, (x, y) in enumerate(chain.places_mm.reshape(-1, 2).tolist(), 1):
        at = (x, y - lift)
        drawing.rectangle(LED, at[0] - half, at[1] - half, at[0] + half, at[1] + half)
        for path in _cross(at, half / 3):
            drawing.stroke(CENTROID, path, closed=False)
        below = (at[0], at[1] + 0.85 * half)
        drawing.label(DESIGNATOR, f"D{number}", below, 0.6 * half, anchor="middle")
    drawing.heading("FRONT VIEW", f"{title}: LED board, 1:1, mm, component side")
    drawing.legend()
    drawing.notes([_ORIGIN, _OUTLINE])
    return drawing


def _cross(at: Point, arm_mm: float) -> tuple[Path_mm, Path_mm]:
    x, y = at
    return ((x - arm_mm, y), (x + arm_mm, y)), ((x, y - arm_mm), (x, y + arm_mm))
