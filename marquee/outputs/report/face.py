"""The face as layers of one drawing, in millimetres, seen from the front."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from marquee.outputs.pictures.barriers import CELL_PALE, slot_places
from marquee.outputs.pictures.canvas import View, fit_view
from marquee.outputs.pictures.face import (
    aperture_marks,
    cell_colour,
    cycles,
    zone_colours,
    zone_marks,
)
from marquee.outputs.pictures.leds import led_radius_mm
from marquee.outputs.pictures.style import Rgb, round_number
from marquee.outputs.pictures.wiring import feed_place
from marquee.outputs.report.maps import LightMap, artwork_picture, bleed_map, luminance_map
from marquee.outputs.report.shapes import path_data, wall_outline, zone_paths
from marquee.plan import Plan
from marquee.units import format_length
from marquee.values import Chain, Wall, ZoneMap
from marquee.values_cut import CutPlan

# Where along a wall its name may stand, and how many text heights it keeps from other texts.
_ALONG, _CLEAR = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8), 2.2
# Lines of text that make the drawing's width where no script sizes it, with few zones and with many.
_LINES_ACROSS, _LINES_CROWDED = 64, 88
_FEW_ZONES = 20
# How many pixels a zone's number needs round it, and how wide the face is taken to be for finding such places.
_MARKS_PX = (900, 700)
# Chain numbers shown at a zoom are multiples of one of these; each divides the next.
NUMBER_STEPS = (100, 50, 10, 5, 1)
# Numbers of up to four digits side by side take this many lines' heights.
_NUMBER_ROOM = 2.4
# Rows nearer than this many lines' heights carry no numbers.
_ROW_ROOM = 1.4
# Lines' heights left free round the face.
_MARGIN = 1.6
_HATCHES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A text on the face; `room_mm` is how far it is from there to the edge of what it names."""

    text: str
    x: float
    y: float
    room_mm: float = 0.0
    kind: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneShape:
    """A zone to be filled: number, path data, colours (several: in stripes)."""

    id: int
    path: str
    colours: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CellShape:
    """A cell to be tinted and hatched."""

    path: str
    colour: str
    hatch: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Led:
    """An LED: place, colour ("" where it stays dark), whether it runs the hue cycle, and when its number shows."""

    number: int
    x: float
    y: float
    colour: str
    cycles: bool
    step: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """A place where wiring meets the chain."""

    x: float
    y: float
    text: str
    kind: str  # feed | data | cut


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """Everything the drawing shows; lengths mm."""

    width: float
    height: float
    text_mm: float
    margin_mm: float  # round the face, for wiring that joins outside it
    stripe_mm: float
    zones: tuple[ZoneShape, ...]
    zone_labels: tuple[Label, ...]
    cells: tuple[CellShape, ...]
    walls: tuple[str, ...]
    wall_labels: tuple[Label, ...]
    slots: tuple[tuple[float, float], ...]
    slot_mm: float
    leds: tuple[Led, ...]
    led_mm: float
    pitch_mm: float
    row_gap_mm: float  # between neighbouring rows of LEDs
    number_step: int  # of the chain numbers shown on paper and without a script, 0: none
    runs: tuple[str, ...]
    jumpers: tuple[str, ...]
    joints: tuple[Joint, ...]
    darkest: tuple[Label, ...]
    artwork: str
    luminance: LightMap
    bleed: LightMap
    bleed_labels: tuple[Label, ...]
    bar_mm: float
    bar_text: str


def draw_face(plan: Plan) -> Face:
    """Return the face's layers."""
    zone_map, box, chain = plan.zone_map, plan.box, plan.chain
    width, height = zone_map.width_mm, zone_map.height_mm
    labels = _zone_labels(zone_map)
    bar_mm = round_number(width / 4)
    lines = _LINES_ACROSS if len(zone_map.zones) <= _FEW_ZONES else _LINES_CROWDED
    text_mm = max(width, 1.4 * height) / lines
    row_gap_mm = _row_gap_mm(chain)
    joints = _joints(plan)
    outside_mm = max((max(-j.x, j.x - width, -j.y, j.y - height) for j in joints), default=0.0)
    outside_mm = max(0.0, outside_mm)
    # A joint's name stands above it.
    others = [(label.x, label.y) for label in labels if label.kind == "main"]
    others += [(joint.x, joint.y - text_mm) for joint in joints]
    run_lines, jumpers = _data_path(chain)
    lights = {light.zone: light for light in plan.light.zones}
    return Face(
        width=width,
        height=height,
        text_mm=text_mm,
        margin_mm=_MARGIN * text_mm + outside_mm,
        stripe_mm=max(0.6, max(width, height) / 160),
        zones=_zones(zone_map, plan.cut),
        zone_labels=labels,
        cells=tuple(
            CellShape(
                path=path_data((cell.outline_mm, *cell.holes_mm)),
                colour=_hex(cell_colour(zone_map, cell.zone, CELL_PALE)),
                hatch=number % _HATCHES,
            )
            for number, cell in enumerate(box.cells)
        ),
        walls=tuple(wall_outline(w.path_mm, box.wall_thickness_mm) for w in box.walls),
        wall_labels=tuple(_wall_label(w, others, text_mm) for w in box.walls),
        slots=tuple(place for w in box.walls for place in slot_places(w)),
        slot_mm=0.3 * box.wall_thickness_mm,
        leds=_leds(plan),
        led_mm=led_radius_mm(plan, fit_view((width, height), (1100, 900), 0, 0)),
        pitch_mm=chain.pitch_mm,
        row_gap_mm=row_gap_mm,
        number_step=next(
            (s for s in NUMBER_STEPS[::-1] if s * chain.pitch_mm >= _NUMBER_ROOM * text_mm),
            NUMBER_STEPS[0],
        )
        if row_gap_mm >= _ROW_ROOM * text_mm
        else 0,
        runs=run_lines,
        jumpers=jumpers,
        joints=joints,
        darkest=tuple(
            Label(text=f"{z.zone}", x=z.worst_mm[0], y=z.worst_mm[1])
            for z in plan.light.zones
            if z.luminance_cd_m2 > 0
        ),
        artwork=artwork_picture(plan),
        luminance=luminance_map(plan),
        bleed=bleed_map(plan),
        bleed_labels=tuple(
            Label(text=f"{100 * lights[int(m.text)].bleed:.1f} %", x=m.x, y=m.y, kind=m.kind)
            for m in labels
            if m.kind == "main" and int(m.text) in lights
        ),
        bar_mm=bar_mm,
        bar_text=format_length(bar_mm),
    )


def _zones(zone_map: ZoneMap, cut: CutPlan) -> tuple[ZoneShape, ...]:
    paths = zone_paths(zone_map, cut.openings)
    return tuple(
        ZoneShape(
            id=zone.id,
            path=paths[zone.id],
            colours=tuple(_hex(c) for c in zone_colours(zone_map, zone)),
        )
        for zone in zone_map.zones
    )


def _zone_labels(zone_map: ZoneMap) -> tuple[Label, ...]:
    """Return the zones' numbers in their apertures, the roomiest of each zone being its main one."""
    view = fit_view((zone_map.width_mm, zone_map.height_mm), _MARKS_PX, 0, 0)
    marks = aperture_marks(zone_map, view)
    of_zone = [(zone_map.apertures[i].zone, mark) for i, mark in marks.items()]
    if {zone for zone, _ in of_zone} != {zone.id for zone in zone_map.zones}:
        of_zone += list(zone_marks(zone_map, view, "top").items())
    of_zone.sort(key=lambda pair: (pair[0], -pair[1].clearance_px, pair[1].x, pair[1].y))
    labels: list[Label] = []
    for zone, mark in of_zone:
        first = not labels or labels[-1].text != f"{zone}"
        labels.append(
            Label(
                text=f"{zone}",
                x=mark.x / view.px_per_mm,
                y=mark.y / view.px_per_mm,
                room_mm=mark.clearance_px / view.px_per_mm,
                kind="main" if first else "more",
            )
        )
    return tuple(labels)


def _wall_label(wall: Wall, others: list[tuple[float, float]], text_mm: float) -> Label:
    """Return a wall's name at its middle, or as near to it as keeps it clear of other texts."""
    import shapely

    line = shapely.LineString(wall.path_mm)
    places = [line.interpolate(share, normalized=True) for share in _ALONG]

    def is_clear(place: shapely.Point) -> bool:
        return all(math.hypot(place.x - x, place.y - y) > _CLEAR * text_mm for x, y in others)

    k = next((k for k, place in enumerate(places) if is_clear(place)), 0)
    room_mm = min(_ALONG[k], 1 - _ALONG[k]) * line.length
    return Label(text=f"W{wall.id}", x=places[k].x, y=places[k].y, room_mm=room_mm)


def _leds(plan: Plan) -> tuple[Led, ...]:
    chain = plan.chain
    looks = {
        zone.id: (_hex(zone_colours(plan.zone_map, zone)[0]), cycles(zone))
        for zone in plan.zone_map.zones
    }
    return tuple(
        Led(
            number=number,
            x=x,
            y=y,
            colour=looks[zone][0] if zone in looks else "",
            cycles=zone in looks and looks[zone][1],
            step=next(step for step in NUMBER_STEPS if number % step == 0),
        )
        for number, (x, y, zone) in enumerate(
            zip(chain.x_mm.tolist(), chain.y_mm.tolist(), chain.zone.tolist(), strict=True)
        )
    )


def _data_path(chain: Chain) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the straight runs and the jumper wires between them as path data."""
    if not chain.count:
        return (), ()
    places = list(zip(chain.x_mm.tolist(), chain.y_mm.tolist(), strict=True))
    starts = [0, *(np.flatnonzero(np.diff(chain.row)) + 1).tolist(), chain.count]
    runs = [places[first:after] for first, after in pairwise(starts)]
    jumpers = [(before[-1], after[0]) for before, after in pairwise(runs)]
    return (
        tuple(path_data([run], closed=False) for run in runs),
        tuple(path_data([jumper], closed=False) for jumper in jumpers),
    )


def _row_gap_mm(chain: Chain) -> float:
    """Return how far apart numbers under LEDs lie down the face: the usual step between LEDs' heights."""
    if chain.arrangement == "board":
        return chain.pitch_mm
    heights = np.unique(np.round(chain.y_mm, 1))
    return float(np.median(np.diff(heights))) if len(heights) > 1 else 1e3


def _joints(plan: Plan) -> tuple[Joint, ...]:
    chain = plan.chain
    if not chain.count:
        return ()
    # A view at one pixel a millimetre gives places in millimetres.
    view = View(x=0, y=0, width_px=1, height_px=1, px_per_mm=1.0)
    first = (float(chain.x_mm[0]), float(chain.y_mm[0]))
    found = [Joint(x=first[0], y=first[1], text="DATA IN", kind="data")]
    for number, feed in enumerate(plan.power.feeds, 1):
        x, y = feed_place(chain, feed, view)
        found.append(Joint(x=x, y=y, text=f"F{number}", kind="feed"))
    for cut in plan.power.cuts:
        x, y = float(chain.x_mm[cut]), float(chain.y_mm[cut])
        found.append(Joint(x=x, y=y, text="CUT PLUS", kind="cut"))
    return tuple(found)


def _hex(colour: Rgb) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)
