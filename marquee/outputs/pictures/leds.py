"""leds.png: where every LED sits and how the data runs, from the front and from behind."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from marquee.outputs.pictures.barriers import walled_face
from marquee.outputs.pictures.canvas import Canvas, View, fit_view
from marquee.outputs.pictures.face import cycles, zone_cells, zone_colours
from marquee.outputs.pictures.layout import ROOM_PX, subtitle
from marquee.outputs.pictures.sheet import (
    HEADING_PX,
    Column,
    Lettering,
    Sheet,
    draw_table,
    table_height,
)
from marquee.outputs.pictures.style import LIGHT, MARGIN_PX, SMALL_PX, WALL, WIDTH_PX, Rgb, plain
from marquee.plan import Plan
from marquee.units import format_length
from marquee.values import Chain

_WHITE: Rgb = (255, 255, 255)
_PATH: Rgb = (70, 104, 168)
_RIM: Rgb = (24, 28, 36)
_DARK_RIM: Rgb = (110, 116, 126)
# Panels of faces at least this wide for their height stand one above the other.
_STACK = 1.9
_PANEL_MOST_PX = 430
_GAP_PX, _NAME_ROW_PX, _KEY_ROW_PX = 32, 52, 38
_LEAST_RADIUS_PX, _MOST_RADIUS_PX = 2.2, 9.0
_MOST_ROWS = 24
# Half of each stroke of a cross that just fills a disc.
_CROSS = np.array([(0.7, 0.7), (0.7, -0.7)])
# Rows nearer than this leave room for one line of numbers between them [px].
_TIGHT_PX = 30.0
_NUMBER_STEPS = (10, 20, 50, 100, 200, 500, 1000)
# Numbered LEDs stand at least this far apart along the chain [px].
_NUMBER_APART_PX = 30.0


def leds_picture(plan: Plan) -> bytes:
    """Return the PNG: LEDs, chain and walls as FRONT VIEW and, mirrored, as BACK VIEW."""
    return draw_leds(plan).png()


def draw_leds(plan: Plan) -> Sheet:
    """Return the sheet of `leds_picture`."""
    front, back = panel_views((plan.zone_map.width_mm, plan.zone_map.height_mm))
    bottom = back.y + back.height_px
    zones = plan.zone_map.zones[:_MOST_ROWS]
    table_y = bottom + _KEY_ROW_PX + 44
    sheet = Sheet(WIDTH_PX, table_y + table_height(len(zones) + 1) + MARGIN_PX)
    chain = plan.chain
    lit = int((chain.zone >= 0).sum())
    sheet.heading(
        "LEDs",
        subtitle(
            plan,
            f"{chain.count} LEDs, {lit} lit",
            f"pitch {format_length(chain.pitch_mm)}",
            plain(plan.part.title),
        ),
    )
    canvas = walled_face(plan, front, aperture_pale=None)
    draw_chain(canvas, plan, front, numbers=True)
    pixels = canvas.reduced()
    step = _number_step(chain, front)
    for view, name, panel in (
        (front, "FRONT VIEW", pixels),
        (back, "BACK VIEW", pixels[:, ::-1]),
    ):
        sheet.paste(panel, view.x, view.y)
        sheet.frame(view.x, view.y, view.width_px, view.height_px, WALL)
        _name_panel(sheet, view, name)
        _mark_data_in(sheet, chain, view)
        _number(sheet, plan, view, step)
    _key(sheet, plan, front, bottom + 26, step)
    _table(sheet, plan, table_y)
    return sheet


def panel_views(size_mm: tuple[float, float]) -> tuple[View, View]:
    """Return the front and the back panel: one above the other for wide faces, else side by side."""
    top = HEADING_PX + _NAME_ROW_PX
    if size_mm[0] >= _STACK * size_mm[1]:
        front = fit_view(size_mm, (ROOM_PX, _PANEL_MOST_PX), MARGIN_PX, top)
        below = top + front.height_px + _NAME_ROW_PX + 8
        return front, replace(front, y=below, mirrored=True)
    half = (ROOM_PX - _GAP_PX) // 2
    front = fit_view(size_mm, (half, 720), MARGIN_PX, top)
    return front, replace(front, x=MARGIN_PX + half + _GAP_PX, mirrored=True)


def draw_chain(canvas: Canvas, plan: Plan, view: View, *, numbers: bool) -> None:
    """Draw the data path and the LEDs on a front view's canvas; with arrows where numbers go too."""
    chain = plan.chain
    places = np.stack([chain.x_mm, chain.y_mm], axis=1)
    px = 1.0 / view.px_per_mm
    for first, last in _runs(chain):
        canvas.path(places[first : last + 1].tolist(), _PATH, 0.0, 1.2 if numbers else 0.7)
    if numbers:
        for first, last in _runs(chain):
            if first:
                _dash(canvas, places[first - 1], places[first], px)
            _arrows(canvas, places[first : last + 1], px)
    radius = led_radius_mm(plan, view)
    if numbers and chain.count:
        canvas.dots(places[:1], radius + 4.5 * px, [LIGHT.accent])
        canvas.dots(places[:1], radius + 2.5 * px, [_WHITE])
    lit = chain.zone >= 0
    canvas.dots(places[lit], radius + 1.2 * px, [_WHITE] * int(lit.sum()))
    rims = [_RIM if on else _DARK_RIM for on in lit]
    canvas.dots(places, radius, rims)
    fills = _fills(plan)
    rim = min(1.0 * px, 0.35 * radius)
    canvas.dots(places, radius - rim, fills)
    hearts = np.flatnonzero(cycling_leds(plan))
    canvas.dots(places[hearts], 0.45 * radius, [_RIM] * len(hearts))
    # Crossed out, since a white zone's LEDs are white discs too.
    for place in places[~lit]:
        for arm in _CROSS * (radius - rim):
            canvas.path([tuple(place - arm), tuple(place + arm)], _DARK_RIM, 0.0, 1.0)


def led_radius_mm(plan: Plan, view: View) -> float:
    """Return the radius LEDs are drawn at: the package's, though visible and clear of each other."""
    radius_px = min(max(plan.part.body_mm / 2 * view.px_per_mm, _LEAST_RADIUS_PX), _MOST_RADIUS_PX)
    return min(radius_px / view.px_per_mm, max(0.48 * plan.chain.pitch_mm, 1e-3))


def cycling_leds(plan: Plan) -> NDArray[np.bool_]:
    """Return which LEDs belong to zones shown by stripes."""
    ids = [zone.id for zone in plan.zone_map.zones if cycles(zone)]
    return np.isin(plan.chain.zone, ids)


def _fills(plan: Plan) -> list[Rgb]:
    colours = {-1: _WHITE}
    for zone in plan.zone_map.zones:
        colours[zone.id] = _WHITE if cycles(zone) else zone_colours(plan.zone_map, zone)[0]
    return [colours.get(int(z), _WHITE) for z in plan.chain.zone]


def _runs(chain: Chain) -> list[tuple[int, int]]:
    """Return first and last LED of every straight run."""
    if not chain.count:
        return []
    starts = [0, *(np.flatnonzero(np.diff(chain.row)) + 1).tolist(), chain.count]
    return [(first, after - 1) for first, after in pairwise(starts)]


def _dash(canvas: Canvas, start: NDArray[np.float64], end: NDArray[np.float64], px: float) -> None:
    length = float(np.hypot(*(end - start)))
    dashes = max(1, round(length / (9 * px)))
    for i in range(dashes):
        a, b = (start + (end - start) * (i + part) / dashes for part in (0.15, 0.7))
        canvas.path([tuple(a), tuple(b)], _PATH, 0.0, 1.2)


def _arrows(canvas: Canvas, run: NDArray[np.float64], px: float) -> None:
    if len(run) < 2:
        return
    # One arrow about every 150 px, each half way between two LEDs.
    length_px = float(np.hypot(*(run[-1] - run[0]))) / px
    count = min(max(1, round(length_px / 150)), len(run) - 1)
    for i in range(count):
        at = int((i + 0.5) / count * (len(run) - 1))
        middle, ahead = (run[at] + run[at + 1]) / 2, run[at + 1] - run[at]
        unit = ahead / (np.hypot(*ahead) or 1.0)
        across = np.array([-unit[1], unit[0]])
        tip, base = middle + unit * 5 * px, middle - unit * 4 * px
        corners = [tip, base + across * 4.5 * px, base - across * 4.5 * px]
        canvas.areas([[tuple(c) for c in corners]], _PATH)


def _name_panel(sheet: Sheet, view: View, name: str) -> None:
    y = view.y - _NAME_ROW_PX + 18  # below it stand numbers of the first row
    box = sheet.text(view.x, y, name, Lettering(size_px=22, bold=True))
    note = "seen from behind, mirrored" if view.mirrored else "as you look at the sign"
    quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
    if sheet.measure(box.x1 + 16, y + 2, note, quiet).x1 <= view.x + view.width_px:
        sheet.text(box.x1 + 16, y + 2, note, quiet)


def _mark_data_in(sheet: Sheet, chain: Chain, view: View) -> None:
    if not chain.count:
        return
    x, y = view.at(float(chain.x_mm[0]), float(chain.y_mm[0]))
    looks = Lettering(size_px=SMALL_PX, bold=True, colour=sheet.theme.accent, halo=_WHITE)
    width = sheet.measure(0, 0, "DATA IN", looks).x1
    if width + 8 > view.width_px:
        sheet.text(view.x + view.width_px + 6, y, "DATA IN", looks)
        return
    left = min(max(x - width / 2, view.x + 4), view.x + view.width_px - width - 4)
    for shift in (20.0, -20.0):
        box = sheet.measure(left, y + shift, "DATA IN", looks)
        if view.holds(box.x0, box.y0) and view.holds(box.x1, box.y1) and sheet.is_free(box):
            sheet.text(left, y + shift, "DATA IN", looks)
            return
    sheet.text(left, y + 20, "DATA IN", looks)


def _number_step(chain: Chain, view: View) -> int:
    apart = chain.pitch_mm * view.px_per_mm
    return next((s for s in _NUMBER_STEPS if s * apart >= _NUMBER_APART_PX), _NUMBER_STEPS[-1])


def _number(sheet: Sheet, plan: Plan, view: View, step: int) -> None:
    chain = plan.chain
    ends = [i for run in _runs(chain) for i in run]
    radius = led_radius_mm(plan, view) * view.px_per_mm
    looks = Lettering(size_px=SMALL_PX, align="centre", halo=_WHITE)
    tight = _tight(chain, view)
    for i in dict.fromkeys([*ends, *range(0, chain.count, step)]):
        x, y = view.at(float(chain.x_mm[i]), float(chain.y_mm[i]))
        box = sheet.measure(0, 0, f"{i}", looks)
        clear = radius + (5.0 if i == 0 else 0.0)
        up, aside = clear + 8.0, clear + box.x1 + 3.0
        over = [(0, -up), (0, up), (aside, -up), (-aside, -up), (aside, up), (-aside, up)]
        if tight:
            # Never below: there the next row's numbers stand. Above the face where the first row leaves no room.
            over = [(0, -up), (0, view.y - 9 - y), (aside, -up), (-aside, -up)]
            over = over if y - up - 6 < view.y else [over[0], *over[2:]]
        for dx, dy in (*over, (aside, 0), (-aside, 0)):
            box = sheet.measure(x + dx, y + dy, f"{i}", looks)
            inside = view.holds(box.x0, box.y0) and view.holds(box.x1, box.y1)
            if (inside or (tight and box.y1 < view.y)) and sheet.is_free(box):
                sheet.text(x + dx, y + dy, f"{i}", looks)
                break


def _tight(chain: Chain, view: View) -> bool:
    """Return whether rows lie too close to tell a number below one from a number above the next."""
    heights = [float(np.median(chain.y_mm[first : last + 1])) for first, last in _runs(chain)]
    apart = np.diff(np.unique(heights))
    return bool(len(apart)) and float(apart.min()) * view.px_per_mm < _TIGHT_PX


def _key(sheet: Sheet, plan: Plan, view: View, y: int, step: int) -> None:
    bar = sheet.scale_bar(MARGIN_PX, y, view.px_per_mm, min(200.0, view.width_px))
    x = bar.x1 + 34
    radius = 5.0
    entries = _key_entries(plan)
    looks = Lettering(size_px=SMALL_PX)
    for entry in entries:
        if entry in {"data path", "jumper wire"}:
            dashed = entry == "jumper wire"
            for start in (0, 10, 20) if dashed else (0,):
                sheet.line([(x + start, y), (x + start + (6 if dashed else 26), y)], _PATH, 2)
            if not dashed:
                sheet.shape([(x + 19, y - 5), (x + 28, y), (x + 19, y + 5)], _PATH)
            width = 28.0
        elif entry == "wall":
            sheet.bar(round(x), y - 3, 26, 6, WALL)
            width = 26.0
        else:
            _key_dot(sheet, plan, entry, x + radius, y)
            width = 2 * radius
        x = sheet.text(x + width + 7, y, entry, looks).x1 + 22
    quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
    where = ", above their LEDs or beside them" if _tight(plan.chain, view) else ""
    note = f"LEDs are counted from 0 at DATA IN; numbers stand at row ends and every {step}th LED{where}"
    sheet.text(MARGIN_PX, y + 28, note, quiet, ROOM_PX)


def _key_entries(plan: Plan) -> list[str]:
    """Return what the picture shows, so that the key speaks of nothing else."""
    zones, chain = plan.zone_map.zones, plan.chain
    shown = {
        "lit, in its zone's colour": any(not cycles(zone) for zone in zones),
        "lit, hue cycle": bool(cycling_leds(plan).any()),
        "dark": bool((chain.zone < 0).any()),
        "data path": True,
        "jumper wire": len(_runs(chain)) > 1,
        "wall": bool(plan.box.walls),
    }
    return [entry for entry, there in shown.items() if there]


def _key_dot(sheet: Sheet, plan: Plan, entry: str, x: float, y: float) -> None:
    lit = entry != "dark"
    sheet.dot(x, y, 6.0, _RIM if lit else _DARK_RIM)
    solid = next((z for z in plan.zone_map.zones if not cycles(z)), None)
    colour = _WHITE
    if entry.endswith("colour") and solid is not None:
        colour = zone_colours(plan.zone_map, solid)[0]
    sheet.dot(x, y, 4.7, colour)
    if entry == "lit, hue cycle":
        sheet.dot(x, y, 2.6, _RIM)
    if not lit:
        for dx, dy in (4.7 * _CROSS).tolist():
            sheet.line([(x - dx, y - dy), (x + dx, y + dy)], _DARK_RIM, 1)


def _table(sheet: Sheet, plan: Plan, y: int) -> None:
    columns = (
        Column(head="", width_px=44),
        Column(head="zone", width_px=52),
        Column(head="name", width_px=300),
        Column(head="LEDs", width_px=70, align="right"),
        Column(head="chain numbers", width_px=ROOM_PX - 466),
    )
    zone_map, zone_of = plan.zone_map, plan.chain.zone
    rows = [
        (
            *zone_cells(zone_map, zone.id),
            f"{int((zone_of == zone.id).sum())}",
            _numbers(zone_of, zone.id),
        )
        for zone in zone_map.zones[:_MOST_ROWS]
    ]
    if (dark := int((zone_of < 0).sum())) > 0:
        rows.append(((_WHITE,), "–", "dark", f"{dark}", _numbers(zone_of, -1)))
    draw_table(sheet, MARGIN_PX, y, columns, rows)


def _numbers(zone_of: NDArray[np.int16], zone_id: int) -> str:
    """Return the chain numbers of a zone's LEDs, neighbours joined."""
    own = np.flatnonzero(zone_of == zone_id)
    if not len(own):
        return "none"
    runs = np.split(own, np.flatnonzero(np.diff(own) > 1) + 1)
    return ", ".join(f"{r[0]}" if len(r) == 1 else f"{r[0]}–{r[-1]}" for r in runs)
