from __future__ import annotations

import io
import re
import struct
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from marquee.outputs.pictures.barriers import barriers_picture, draw_barriers
from marquee.outputs.pictures.layout import lay_out
from marquee.outputs.pictures.leds import draw_leds, leds_picture, panel_views
from marquee.outputs.pictures.lit import draw_lit, lit_picture
from marquee.outputs.pictures.overview import draw_overview, overview_picture
from marquee.outputs.pictures.sheet import Sheet, TextBox
from marquee.outputs.pictures.zones import draw_zones, zones_picture
from marquee.plan import Plan
from tests.pictures.crowded import crowded_plan
from tests.pictures.factory import COLOURS, LUMINANCE, scene, synthetic_plan

PICTURES: dict[str, Callable[[Plan], bytes]] = {
    "overview": overview_picture,
    "zones": zones_picture,
    "barriers": barriers_picture,
    "leds": leds_picture,
    "lit": lit_picture,
}
SHEETS: dict[str, Callable[[Plan], Sheet]] = {
    "overview": draw_overview,
    "zones": draw_zones,
    "barriers": draw_barriers,
    "leds": draw_leds,
    "lit": draw_lit,
}
SHAPES = {"wide": (600.0, 150.0), "middling": (400.0, 260.0), "upright": (150.0, 600.0)}
HOSTILE = (
    r"$\frac{1}{0}$ 50 % & <b>",
    "line\nbreak\ttab \x1b[31m\x00",
    "\u202eright to left \U0001f3ae \u6f22\u5b57 \ud83d",
    "e\u0301" * 40 + "long " * 60,
)


def pixels(png: bytes) -> NDArray[np.uint8]:
    return np.asarray(Image.open(io.BytesIO(png)))


def rgb(colour: str) -> list[int]:
    return [int(colour[i : i + 2], 16) for i in (1, 3, 5)]


def longest_run(row: NDArray[np.bool_]) -> int:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], row, [False]])))
    return int((edges[1::2] - edges[::2]).max(initial=0))


@pytest.fixture(scope="module")
def plan() -> Plan:
    return synthetic_plan()


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_is_a_1200_px_png_without_notes(name: str, shape: str) -> None:
    png = PICTURES[name](synthetic_plan(size_mm=SHAPES[shape]))
    image = Image.open(io.BytesIO(png))
    assert (image.format, image.mode, image.width) == ("PNG", "RGB", 1200)
    assert 300 < image.height < 1400
    # PNG (W3C, third edition), 5.3: length, type, data, CRC. Only the critical chunks are there.
    kinds, at = [], 8
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        kinds.append(png[at + 4 : at + 8])
        at += 12 + length
    assert set(kinds) == {b"IHDR", b"IDAT", b"IEND"}


@pytest.mark.parametrize("name", PICTURES)
def test_the_same_plan_gives_the_same_bytes(name: str) -> None:
    assert PICTURES[name](synthetic_plan()) == PICTURES[name](synthetic_plan())


@pytest.mark.parametrize("hostile", [False, True], ids=["plain", "hostile"])
@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("name", SHEETS)
def test_no_text_overlaps_another_leaves_the_sheet_or_is_small(
    name: str, shape: str, *, hostile: bool
) -> None:
    plan = (
        synthetic_plan(size_mm=SHAPES[shape], names=HOSTILE, file=HOSTILE[1])
        if hostile
        else synthetic_plan(size_mm=SHAPES[shape])
    )
    sheet = SHEETS[name](plan)
    assert len(sheet.texts) >= 6
    for first, second in combinations(sheet.texts, 2):
        assert not first.meets(second), f"{first} {second}"
    for box in sheet.texts:
        assert min(box.x0, box.y0) >= 0, box
        assert box.x1 <= sheet.width_px, box
        assert box.y1 <= sheet.height_px, box
        assert box.size_px >= 11


@pytest.mark.parametrize("name", SHEETS)
def test_no_text_overlaps_where_there_is_more_than_a_sheet_holds(name: str) -> None:
    sheet = SHEETS[name](crowded_plan())
    for first, second in combinations(sheet.texts, 2):
        assert not first.meets(second), f"{first} {second}"
    assert max(box.y1 for box in sheet.texts) <= sheet.height_px
    if name in {"zones", "barriers"}:
        # What is left out is said.
        assert any("plan.json" in box.text for box in sheet.texts)


def bare_plans() -> dict[str, Plan]:
    """Return plans that lack something."""
    plan = synthetic_plan()
    chain, zones = plan.chain, plan.zone_map
    none = {key: getattr(chain, key)[:0] for key in ("x_mm", "y_mm", "zone", "row")}
    return {
        "no LEDs": replace(plan, chain=replace(chain, **none)),
        "no light": replace(
            plan, light=replace(plan.light, luminance_xyz=0 * plan.light.luminance_xyz)
        ),
        "no walls": replace(plan, box=replace(plan.box, walls=())),
        "no neighbours": replace(plan, zone_map=replace(zones, adjacent=())),
        "a long strip": synthetic_plan(size_mm=(2000, 40)),
        "a needle": synthetic_plan(size_mm=(60, 2400)),
        "a badge": synthetic_plan(size_mm=(12, 5), mm_per_px=0.02),
    }


@pytest.mark.parametrize("bare", bare_plans().items(), ids=lambda item: item[0])
@pytest.mark.parametrize("name", SHEETS)
def test_a_plan_that_lacks_something_is_still_drawn(name: str, bare: tuple[str, Plan]) -> None:
    sheet = SHEETS[name](bare[1])
    assert pixels(sheet.png()).shape == (sheet.height_px, 1200, 3)
    for first, second in combinations(sheet.texts, 2):
        assert not first.meets(second), f"{first} {second}"
    for box in sheet.texts:
        assert min(box.x0, box.y0) >= 0, box
        assert box.x1 <= 1200, box
        assert box.y1 <= sheet.height_px, box


@pytest.mark.parametrize("name", PICTURES)
def test_hostile_names_are_drawn_without_a_warning(name: str) -> None:
    # Warnings are errors in this suite.
    png = PICTURES[name](synthetic_plan(names=HOSTILE, file=HOSTILE[2]))
    assert pixels(png).shape[1] == 1200


def test_a_text_box_holds_all_ink_of_its_text() -> None:
    sheet = Sheet(400, 100)
    box = sheet.text(40, 50, "Ågjpq|{ }Ç", most_px=300)
    rows, columns = np.nonzero((sheet.finished() < 250).any(axis=-1))
    assert box.x0 - 1 <= columns.min()
    assert columns.max() <= box.x1 + 1
    assert box.y0 - 1 <= rows.min()
    assert rows.max() <= box.y1 + 1


def test_a_zone_is_filled_with_its_screen_colour(plan: Plan) -> None:
    image, view = pixels(zones_picture(plan)), lay_out((600, 150), labels=True).view
    (cx, cy, radius), _ = scene((600, 150))
    block = plan.zone_map.apertures[2].bbox_mm
    # Places off the middle, where numbers and leader lines are.
    for zone, (x, y) in enumerate(
        ((cx, cy + 0.8 * radius), (cx - 10, cy + 10), (block[0] + 4, block[1] + 4))
    ):
        column, row = view.at(x, y)
        assert image[int(row), int(column)].tolist() == rgb(COLOURS[zone])


def test_every_zone_is_told_by_number_and_name_not_by_colour_alone(plan: Plan) -> None:
    words = [box.text for box in draw_zones(plan).texts]
    for zone in plan.zone_map.zones:
        assert any(w.startswith(f"{zone.id}  {zone.name}") for w in words)
        assert zone.name in words
    assert any("hue cycle" in w for w in words)


def test_a_mixed_zone_shows_all_its_colours_in_stripes(plan: Plan) -> None:
    image, view = pixels(zones_picture(plan)), lay_out((600, 150), labels=True).view
    x0, y0, _, y1 = plan.zone_map.zones[3].bbox_mm
    column, row = view.at(x0 + 3, (y0 + y1) / 2)
    strip = image[int(row), int(column) : int(column) + 60].astype(int)
    for colour in COLOURS[3:]:
        assert (np.abs(strip - rgb(colour)).max(axis=-1) == 0).any()


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("name", ["zones", "barriers", "lit"])
def test_the_scale_bar_is_as_long_as_it_says(name: str, shape: str) -> None:
    plan = synthetic_plan(size_mm=SHAPES[shape])
    sheet = SHEETS[name](plan)
    image = pixels(sheet.png()).astype(int)
    paper, ink = np.array(sheet.theme.paper), np.array(sheet.theme.ink)
    bar_text = next(t for t in sheet.texts if re.fullmatch(r"[\d.]+ mm", t.text))
    row = round((bar_text.y0 + bar_text.y1) / 2)
    bar_px = longest_run((image[row] == ink).all(axis=-1))
    # The face, measured in the picture: from the left up to the first wide stretch of paper.
    drawn = np.flatnonzero((image[150] != paper).any(axis=-1))
    end = next((i for i, gap in enumerate(np.diff(drawn)) if gap > 10), len(drawn) - 1)
    face_px = drawn[end] - drawn[0] + 1
    length_mm = float(bar_text.text.removesuffix(" mm"))
    # One pixel for the rounding of the bar, two for a frame round the face.
    assert bar_px == pytest.approx(length_mm / SHAPES[shape][0] * face_px, abs=1 + 2 * 1.0)


def test_walls_are_drawn_in_their_true_thickness(plan: Plan) -> None:
    image, view = pixels(barriers_picture(plan)), lay_out((600, 150), labels=False).view
    wall = plan.box.walls[1]
    column, row = view.at(wall.path_mm[0][0], 10.0)
    across = image[int(row), int(column) - 20 : int(column) + 20].mean(axis=-1)
    # Cells are paler than this, walls darker; half a pixel either side for smoothed edges.
    assert (across < 140).sum() == pytest.approx(3.0 * view.px_per_mm, abs=1.0)


def test_a_strips_slot_is_dotted_on_its_wall_and_listed(plan: Plan) -> None:
    sheet = draw_barriers(plan)
    image, view = pixels(sheet.png()), lay_out((600, 150), labels=False).view
    wall = plan.box.walls[1]
    (slot_mm,) = wall.slots_mm
    x_mm, y_mm = wall.path_mm[0]
    column, row = view.at(x_mm, y_mm + slot_mm)
    assert image[int(row), int(column)].min() > 200
    column, row = view.at(x_mm, y_mm + slot_mm + 6)
    assert image[int(row), int(column)].max() < 80
    assert f"{slot_mm:.0f}" in [box.text for box in sheet.texts]


def test_the_picture_names_every_wall_with_its_length_and_the_total(plan: Plan) -> None:
    words = [box.text for box in draw_barriers(plan).texts]
    for wall in plan.box.walls:
        assert f"W{wall.id}" in words
        assert f"{wall.length_mm:.1f}" in words
        assert f"W{wall.id}  {wall.length_mm:.0f} mm" in words
    total = sum(wall.length_mm for wall in plan.box.walls)
    assert any(f"{total:.0f} mm in all" in word for word in words)


def test_the_back_view_is_the_front_view_mirrored(plan: Plan) -> None:
    image = pixels(leds_picture(plan))
    front, back = panel_views((600, 150))
    amber = np.flatnonzero(plan.chain.zone == 0)
    assert len(amber) > 5
    for i in amber:
        x_mm, y_mm = float(plan.chain.x_mm[i]), float(plan.chain.y_mm[i])
        y = int(y_mm * front.px_per_mm)
        left = image[front.y + y, int(front.x + x_mm * front.px_per_mm)]
        mirrored = image[back.y + y, int(back.x + (600 - x_mm) * back.px_per_mm)]
        assert left.tolist() == mirrored.tolist() == rgb(COLOURS[0])


def test_the_back_views_numbers_read_forwards_at_mirrored_places(plan: Plan) -> None:
    texts = draw_leds(plan).texts
    front, back = panel_views((600, 150))
    for i in (10, 35):
        boxes = [t for t in texts if t.text == f"{i}" and t.x0 > 30 and t.y1 < back.y + 280]
        in_front, behind = sorted(boxes, key=lambda t: t.y0)[:2]
        x_mm = float(plan.chain.x_mm[i])
        assert middle(in_front) == pytest.approx(front.x + x_mm * front.px_per_mm, abs=25)
        assert middle(behind) == pytest.approx(back.x + (600 - x_mm) * back.px_per_mm, abs=25)


def middle(box: TextBox) -> float:
    return (box.x0 + box.x1) / 2


def test_the_opaque_face_is_black_when_lit(plan: Plan) -> None:
    image, view = pixels(lit_picture(plan)), lay_out((600, 150), labels=False).view
    face = image[view.y : view.y + view.height_px, view.x : view.x + view.width_px]
    zone = plan.zone_map.zone_of_px
    rows = (np.arange(view.height_px) + 0.5) / view.px_per_mm / 0.4
    columns = (np.arange(view.width_px) + 0.5) / view.px_per_mm / 0.4
    # Two pixels clear of any aperture.
    grown = np.stack(
        [np.roll(zone >= 0, (dy, dx), (0, 1)) for dy in (-3, 0, 3) for dx in (-3, 0, 3)]
    )
    lit = np.asarray(grown.any(axis=0))
    opaque = ~lit[np.ix_(rows.astype(int), columns.astype(int))]
    assert opaque.mean() > 0.3
    assert face[opaque].max() == 0


def test_lit_pixels_times_the_stated_exposure_are_the_luminance(plan: Plan) -> None:
    sheet = draw_lit(plan)
    image, view = pixels(sheet.png()), lay_out((600, 150), labels=False).view
    caption = next(t.text for t in sheet.texts if "full white" in t.text)
    found = re.search(r"white of (\d+) cd/m²", caption)
    assert found is not None
    for aperture, level in ((0, LUMINANCE[0]), (1, LUMINANCE[1]), (3, LUMINANCE[2])):
        x, y = plan.zone_map.apertures[aperture].centroid_mm
        if aperture == 0:
            y += 0.8 * scene((600, 150))[0][2]
        column, row = view.at(x, y)
        encoded = image[int(row), int(column)] / 255
        # IEC 61966-2-1, equations 5 to 7: linear light and its luminance.
        linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
        luminance = float(linear @ [0.2126, 0.7152, 0.0722]) * float(found[1])
        # Half a code of 255 in each channel: 3 % at the darkest of these, 1 % at the others.
        assert luminance == pytest.approx(level, rel=0.03 if level < 50 else 0.01)


def test_light_beyond_the_screens_limit_is_reported(plan: Plan) -> None:
    xyz = plan.light.luminance_xyz.copy()
    x, y = plan.zone_map.apertures[4].centroid_mm
    column = int(np.abs(plan.transfer.x_mm - x).argmin())
    row = int(np.abs(plan.transfer.y_mm - y).argmin())
    xyz[row : row + 2, column : column + 2] *= 40
    hot = replace(plan, light=replace(plan.light, luminance_xyz=xyz))
    caption = next(t.text for t in draw_lit(hot).texts if "full white" in t.text)
    found = re.search(r"([\d.]+) % of the lit face is beyond", caption)
    assert found is not None
    assert 0 < float(found[1]) <= 0.5


def test_a_wide_face_is_stacked_and_a_squarish_one_stands_side_by_side() -> None:
    for size_mm, stacked in (((600.0, 150.0), True), ((400.0, 260.0), False)):
        titles = {t.text: t for t in draw_overview(synthetic_plan(size_mm=size_mm)).texts}
        places = [titles[name] for name in ("Artwork", "Plan", "Lit")]
        assert (len({p.x0 for p in places}) == 1) is stacked
        assert (len({p.y0 for p in places}) == 1) is not stacked
