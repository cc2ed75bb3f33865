"""LED places against the cells' own geometry, by shapely's predicates."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from marquee.box.barriers import build_box
from marquee.box.leds import place_leds
from marquee.box.slots import with_slots
from marquee.errors import QuantityError
from marquee.project import BoxSettings, LedSettings
from marquee.values import Box, Chain, Part, ZoneMap
from tests.box.factory import blank, disc, part, rect, zone_map


def placed(
    labels: NDArray[np.int16], *, of: Part | None = None, depth: str = "40mm", **stated: str
) -> tuple[ZoneMap, Box, Chain]:
    zones = zone_map(labels)
    box = build_box(zones, BoxSettings.model_validate({"depth": depth}))
    chain = place_leds(zones, box, of or part(), LedSettings.model_validate(stated))
    return zones, box, chain


def two_blocks() -> NDArray[np.int16]:
    labels = blank(200, 60)
    rect(labels, 0, (10, 10, 90, 50))
    rect(labels, 1, (110, 10, 190, 50))
    return labels


def busy() -> NDArray[np.int16]:
    labels = blank(240, 100)
    disc(labels, 0, (50, 50), 40)
    disc(labels, -1, (50, 50), 22)
    disc(labels, 1, (50, 50), 12)
    for k in range(6):
        rect(labels, 2, (105 + 21 * k, 15, 118 + 21 * k, 45))
    rect(labels, 3, (105, 65, 230, 80))
    return labels


def assert_each_lit_led_is_in_one_cell(box: Box, chain: Chain, package_mm: float = 5.0) -> None:
    cells = [shapely.Polygon(c.outline_mm, c.holes_mm) for c in box.cells]
    h = package_mm / 2 - 1e-6
    for x, y, zone in zip(chain.x_mm, chain.y_mm, chain.zone, strict=True):
        package = shapely.box(x - h, y - h, x + h, y + h)
        holding = [c.zone for c, s in zip(box.cells, cells, strict=True) if s.contains(package)]
        touched = [c.zone for c, s in zip(box.cells, cells, strict=True) if s.intersects(package)]
        if zone >= 0:
            assert holding == [zone] == touched


def assert_every_cell_is_lit(zones: ZoneMap, box: Box, chain: Chain) -> None:
    for cell in box.cells:
        shape = shapely.Polygon(cell.outline_mm, cell.holes_mm)
        if not any(
            shape.contains(shapely.Point(a.centroid_mm)) and a.zone == cell.zone
            for a in zones.apertures
        ):
            continue
        assert shapely.contains_xy(shape, chain.x_mm, chain.y_mm).any()


def crossings(chain: Chain) -> int:
    """Count pairs of links that cross, by shapely."""
    path = np.stack([chain.x_mm, chain.y_mm], axis=1)
    links = [shapely.LineString(path[k : k + 2]) for k in range(len(path) - 1)]
    return sum(
        bool(links[i].crosses(links[j]))
        for i in range(len(links))
        for j in range(i + 2, len(links))
    )


@pytest.mark.parametrize("arrangement", ["strip", "board"])
@pytest.mark.parametrize("make", [two_blocks, busy])
def test_lit_leds_lie_wholly_in_one_cell_of_their_zone(make: object, arrangement: str) -> None:
    labels = make()  # type: ignore[operator]
    zones, box, chain = placed(labels, arrangement=arrangement)
    assert_each_lit_led_is_in_one_cell(box, chain)
    assert_every_cell_is_lit(zones, box, chain)
    assert set(chain.zone.tolist()) - {-1} == {z.id for z in zones.zones}
    assert crossings(chain) == 0


def test_strip_rows_keep_the_pitch_and_lie_about_the_middle() -> None:
    # 60 mm high at 60 per metre: round(60 / 16.67) = 4 rows; 200 mm holds floor((200 − 5) / 16.67) + 1 = 12 LEDs,
    # (200 − 11 × 16.67) / 2 = 8.33 mm from either rim. Rows keep a strip's width of 10 mm from each other.
    labels = blank(200, 60)
    rect(labels, 0, (0, 5, 200, 55))
    _, _, chain = placed(labels)
    rows = np.unique(chain.y_mm)
    assert rows + rows[::-1] == pytest.approx(60.0)
    assert len(rows) == 4
    assert rows[0] >= 5.0
    assert np.diff(rows).min() >= 10.0
    for row in range(4):
        x = np.asarray(np.sort(chain.x_mm[chain.row == row]))
        assert len(x) == 12
        assert np.diff(x) == pytest.approx(1000 / 60)
        assert abs(x[0] - (200 - x[-1])) <= 1000 / 60 / 2


def test_rows_follow_each_other_to_and_fro() -> None:
    labels = blank(200, 60)
    rect(labels, 0, (0, 5, 200, 55))
    _, _, chain = placed(labels)
    steps = [np.diff(chain.x_mm[chain.row == row]) for row in range(4)]
    assert [set(np.sign(step).tolist()) for step in steps] == [{1.0}, {-1.0}, {1.0}, {-1.0}]


def test_rows_are_upright_on_a_tall_face() -> None:
    labels = blank(60, 200)
    rect(labels, 0, (5, 0, 55, 200))
    _, _, chain = placed(labels)
    assert len(np.unique(np.round(chain.x_mm, 6))) == 4
    assert np.diff(np.sort(chain.y_mm[chain.row == 0])) == pytest.approx(1000 / 60)


def test_leds_beyond_one_depth_from_apertures_are_left_out() -> None:
    labels = blank(400, 60)
    rect(labels, 0, (5, 5, 60, 55))
    _, _, chain = placed(labels, depth="30mm")
    assert chain.x_mm.max() <= 60 + 30
    assert chain.x_mm.max() > 60 + 30 - 1000 / 60


def test_leds_that_meet_a_wall_stay_dark_and_are_counted() -> None:
    _, box, chain = placed(busy())
    dark = int((chain.zone < 0).sum())
    assert dark > 0
    (finding,) = [f for f in chain.findings if f.code == "leds.dark"]
    assert finding.message.startswith(f"{dark} of ")
    walls = shapely.union_all([shapely.LineString(w.path_mm) for w in box.walls])
    off = np.asarray(shapely.distance(walls, shapely.points(chain.x_mm, chain.y_mm)))
    assert off[chain.zone >= 0].min() >= box.wall_thickness_mm / 2 + 2.5 - 1e-6


def small_islands() -> NDArray[np.int16]:
    """Two islands the rows at 50 mm pitch cannot reach both."""
    labels = blank(200, 60)
    rect(labels, 0, (5, 5, 195, 55))
    for x in (47, 120):
        rect(labels, -1, (x - 9, 31, x + 9, 49))
        rect(labels, 1, (x - 5, 35, x + 5, 45))
    return labels


def test_a_cell_the_rows_miss_gets_one_led_on_a_jumper() -> None:
    zones, box, chain = placed(small_islands(), pitch="60mm")
    assert_every_cell_is_lit(zones, box, chain)
    assert_each_lit_led_is_in_one_cell(box, chain)
    assert [f for f in chain.findings if f.code == "leds.extra"]
    lit = np.flatnonzero(chain.zone == 1)
    assert len(lit) == 2
    assert any((chain.row == chain.row[k]).sum() == 1 for k in lit), "a run of its own"
    assert (np.diff(chain.row) >= 0).all()
    assert crossings(chain) == 0


def test_a_cell_too_small_for_the_package_is_reported() -> None:
    labels = blank(120, 60)
    rect(labels, 0, (5, 5, 115, 55))
    disc(labels, -1, (60, 30), 6)
    disc(labels, 1, (60, 30), 1.0)
    _, _, chain = placed(labels)
    (finding,) = [f for f in chain.findings if f.code == "leds.no-room"]
    assert "zone 1" in finding.where
    assert "5 mm wide" in finding.message
    assert 1 not in chain.zone.tolist()


def test_a_part_without_a_package_size_is_taken_as_5050_and_said_so() -> None:
    _, _, chain = placed(two_blocks(), of=part(package_mm=None))
    assert [f.code for f in chain.findings if f.code == "leds.package-assumed"]


@pytest.mark.parametrize(
    ("package_mm", "pitch", "says"),
    [
        (5.0, "4mm", "less than the 5 mm package"),
        (5.0, "201mm", "more than the face is long"),
        (70.0, "80mm", "does not fit a face 60 mm high"),
    ],
)
def test_pitches_and_packages_that_cannot_be_are_refused(
    package_mm: float, pitch: str, says: str
) -> None:
    with pytest.raises(QuantityError, match=says):
        placed(two_blocks(), of=part(package_mm=package_mm), pitch=pitch)


def test_no_led_that_fits_is_refused() -> None:
    labels = blank(30, 30)
    rect(labels, 0, (2, 2, 14, 28))
    rect(labels, 1, (16, 2, 28, 28))
    with pytest.raises(QuantityError, match="no LED 16 mm wide fits"):
        placed(labels, of=part(package_mm=16.0), pitch="20mm")


def test_board_leds_are_one_for_each_pitch_squared_and_evenly_spread() -> None:
    # A square of 100 mm wholly lit: (100 / 20)² = 25 LEDs. Hexagonal packing is the farthest spread a plane
    # allows, nearest neighbours sqrt(2 / sqrt(3)) × 20 = 21.5 mm apart; evenly spread points reach most of that.
    labels = blank(100, 100)
    rect(labels, 0, (0, 0, 100, 100))
    _, _, chain = placed(labels, arrangement="board", pitch="20mm")
    assert chain.count == 25
    xy = np.stack([chain.x_mm, chain.y_mm], axis=1)
    apart = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1)) + 1e9 * np.eye(25)
    nearest = apart.min(axis=1)
    assert nearest.min() > 0.75 * 20
    assert 0.85 * 20 < nearest.mean() < 21.5
    # Every place is within a cell's half diagonal and a little of an LED.
    y, x = np.mgrid[1:100:2, 1:100:2]
    off = np.hypot(x[..., None] - chain.x_mm, y[..., None] - chain.y_mm).min(axis=-1)
    assert off.max() < 20 * np.sqrt(0.5) * 1.25


def test_a_board_chain_is_near_the_shortest_path() -> None:
    # A path through n points is at least as long as their minimum spanning tree (scipy); good tours of scattered
    # points are about 1.25 times that (0.7124 against 0.6331 per sqrt(area × n) on average: Johnson and McGeoch
    # 1996; Steele 1988), 2-opt adds some 5 % (Johnson and McGeoch).
    from scipy.sparse.csgraph import minimum_spanning_tree

    _, _, chain = placed(busy(), arrangement="board", pitch="12mm")
    xy = np.stack([chain.x_mm, chain.y_mm], axis=1)
    apart = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    tree = float(minimum_spanning_tree(apart).sum())
    length = float(np.hypot(*np.diff(xy, axis=0).T).sum())
    assert tree <= length <= 1.35 * tree


def test_the_same_box_gives_the_same_chain_twice() -> None:
    for arrangement in ("strip", "board"):
        first = placed(busy(), arrangement=arrangement)[2]
        second = placed(busy(), arrangement=arrangement)[2]
        for name in ("x_mm", "y_mm", "zone", "row"):
            assert (getattr(first, name) == getattr(second, name)).all()


@settings(max_examples=10)
@given(
    st.floats(8, 40),
    st.floats(2, 7),
    st.sampled_from(["strip", "board"]),
    st.integers(1, 5),
)
def test_any_pitch_and_package_keeps_leds_in_their_cells(
    pitch_mm: float, package_mm: float, arrangement: str, islands: int
) -> None:
    labels = blank(160, 60)
    rect(labels, 0, (4, 4, 156, 56))
    for k in range(islands):
        disc(labels, -1, (20 + 29 * k, 30), 11)
        disc(labels, 1, (20 + 29 * k, 30), 6)
    zones, box, chain = placed(
        labels, of=part(package_mm=package_mm), pitch=f"{pitch_mm}mm", arrangement=arrangement
    )
    assert_each_lit_led_is_in_one_cell(box, chain, package_mm)
    assert crossings(chain) == 0
    assert len(chain.x_mm) == len(chain.zone) == len(chain.row)
    if not any(f.code == "leds.no-room" for f in chain.findings):
        assert_every_cell_is_lit(zones, box, chain)


def test_a_wall_is_notched_once_for_each_row_that_passes_under_it() -> None:
    # One upright wall in the middle, 60 mm long; four rows 15 mm apart cross it at 7.5, 22.5, 37.5 and 52.5 mm.
    labels = blank(200, 60)
    rect(labels, 0, (0, 10, 90, 50))
    rect(labels, 1, (110, 10, 200, 50))
    _, box, chain = placed(labels)
    (wall,) = with_slots(box, chain).walls
    rows = np.unique(chain.y_mm)
    up = wall.path_mm[0][1] < wall.path_mm[-1][1]
    assert wall.slots_mm == pytest.approx(sorted(rows if up else 60 - rows), abs=0.01)
    assert len(rows) == 4
    assert wall.length_mm == pytest.approx(60.0, abs=0.01)


@pytest.mark.parametrize("arrangement", ["strip", "board"])
def test_three_leds_of_an_address_lie_in_one_cell_of_its_zone(arrangement: str) -> None:
    # WS2811 data sheet (2011), Figure 2: one driver, three LEDs in series; a strip is cut between drivers.
    triple = replace(part(), leds_per_pixel=3)
    zones, box, chain = placed(busy(), of=triple, pitch="10mm", arrangement=arrangement)
    assert chain.group_xy_mm is not None
    assert chain.group_xy_mm.shape == (chain.count, 3, 2)
    assert chain.group_xy_mm.mean(axis=1) == pytest.approx(
        np.stack([chain.x_mm, chain.y_mm], axis=1)
    )
    each = replace(
        chain,
        x_mm=chain.group_xy_mm[..., 0].ravel(),
        y_mm=chain.group_xy_mm[..., 1].ravel(),
        zone=np.repeat(chain.zone, 3),
    )
    assert_each_lit_led_is_in_one_cell(box, each)
    assert set(chain.zone.tolist()) - {-1} == {z.id for z in zones.zones}


def test_a_strip_of_three_leds_an_address_keeps_both_pitches() -> None:
    # 60 LEDs a metre are 20 addresses a metre, 50 mm apart; LEDs 16.67 mm, also from one address to the next.
    chain = placed(two_blocks(), of=replace(part(), leds_per_pixel=3))[2]
    assert chain.pitch_mm == pytest.approx(50.0)
    assert chain.led_pitch_mm == pytest.approx(1000 / 60)
    for row in np.unique(chain.row):
        own = chain.places_mm[chain.row == row]
        x = np.sort(own[..., 0].ravel())
        assert np.diff(x) == pytest.approx(1000 / 60)
        assert np.ptp(own[..., 1]) == pytest.approx(0.0, abs=1e-9)


def narrow_ring() -> NDArray[np.int16]:
    """Return a ring 6 mm wide between a disc and a field: straight rows meet its cell here and there."""
    labels = blank(140, 100)
    rect(labels, 2, (2, 2, 138, 98))
    disc(labels, -1, (70, 50), 46)
    disc(labels, 0, (70, 50), 39)
    disc(labels, -1, (70, 50), 33)
    disc(labels, 1, (70, 50), 26)
    return labels


def test_a_narrow_ring_is_followed_by_single_leds_that_cross_nothing() -> None:
    zones, box, chain = placed(narrow_ring(), depth="30mm")
    assert "leds.singles" in [f.code for f in chain.findings]
    assert_each_lit_led_is_in_one_cell(box, chain)
    assert crossings(chain) == 0
    ring = np.flatnonzero(chain.zone == 0)
    xy = np.stack([chain.x_mm, chain.y_mm], axis=1)[ring] - [70.0, 50.0]
    # Round the ring the next LED is never more than a right angle away, as it is with rows alone.
    angle = np.sort(np.arctan2(xy[:, 1], xy[:, 0]))
    assert np.diff(angle, append=angle[0] + 2 * np.pi).max() < np.pi / 2
    assert zones.zones[0].name


def test_three_led_addresses_are_turned_to_fit_where_level_and_upright_ones_do_not() -> None:
    # A slanting band about 10 mm wide between two lit fields. By shapely no level and no upright line of three LEDs
    # 10.4 mm apart fits it; turned ones do, clear of walls and of each other.
    labels = blank(140, 100)
    for x in range(140):
        middle = round(8 + 0.6 * x)
        rect(labels, 1, (x, 0, x + 1, middle - 9))
        rect(labels, 0, (x, middle - 2, x + 1, middle + 3))
        rect(labels, 2, (x, min(middle + 10, 100), x + 1, 100))
    _, box, chain = placed(labels, of=replace(part(), leds_per_pixel=3), pitch="10.4mm")
    band = next(c for c in box.cells if c.zone == 0)
    shape = shapely.Polygon(band.outline_mm, band.holes_mm)
    grid = np.stack(np.meshgrid(np.arange(0, 140, 0.5), np.arange(0, 100, 0.5)), axis=-1)
    left, top = grid.reshape(-1, 2).T
    for half in ((12.9, 2.5), (2.5, 12.9)):
        lines = shapely.box(left - half[0], top - half[1], left + half[0], top + half[1])
        assert not np.any(shapely.contains(shape, lines))
    own = chain.places_mm[chain.zone == 0]
    assert len(own) >= 3
    at = own.reshape(-1, 2)
    packages = shapely.box(at[:, 0] - 2.5, at[:, 1] - 2.5, at[:, 0] + 2.5, at[:, 1] + 2.5)
    assert np.all(shapely.contains(shape.buffer(1e-6), packages))
    # LEDs of an address lie at the pitch, those of others no nearer than packages are wide.
    step = np.hypot(*np.diff(own, axis=1).transpose(2, 0, 1))
    assert step == pytest.approx(np.full(step.shape, 10.4), rel=1e-9)
    assert (
        min(
            shapely.distance(shapely.MultiPoint(a), shapely.MultiPoint(b))
            for k, a in enumerate(own)
            for b in own[:k]
        )
        >= 5.0
    )
