"""An own LED board's files, read back with csv and ezdxf, against the plan's LED places."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from typing import Any

import ezdxf
import numpy as np
import pytest

from marquee.box.turns import package_turns_deg
from marquee.outputs.board_files import board_files, centroid_csv
from marquee.plan import Plan
from marquee.values import Chain
from tests.advice.made import planned, two_blocks


def chain_of(places: list[tuple[float, float]]) -> Chain:
    xy = np.array(places, float).reshape(-1, 2)
    return Chain(
        arrangement="board",
        pitch_mm=10.0,
        x_mm=xy[:, 0],
        y_mm=xy[:, 1],
        zone=np.zeros(len(xy), np.int16),
        row=np.zeros(len(xy), np.int16),
    )


@pytest.fixture(scope="module")
def plan() -> Plan:
    return planned(two_blocks(), 1.0, box={"depth": "25mm"}, leds={"arrangement": "board"})


# DXF R2000 is written in the code page its header names, ANSI_1252.
@pytest.fixture(scope="module")
def drawing(plan: Plan) -> Any:
    return ezdxf.read(io.StringIO(board_files(plan)["board.dxf"].decode("cp1252")))  # type: ignore[attr-defined]


def rows_of(plan: Plan) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(centroid_csv(plan))))


def test_centroids_are_the_plans_places_from_the_lower_left_corner(plan: Plan) -> None:
    rows = rows_of(plan)
    assert [row["designator"] for row in rows] == [f"D{k + 1}" for k in range(plan.chain.count)]
    x, y = (np.array([float(row[key]) for row in rows]) for key in ("x_mm", "y_mm"))
    # Half of the last printed digit, and the last bits of a double.
    assert x == pytest.approx(plan.chain.x_mm, abs=5.001e-4)
    assert y == pytest.approx(plan.box.height_mm - plan.chain.y_mm, abs=5.001e-4)
    assert {row["side"] for row in rows} == {"top"}
    assert {row["zone"] for row in rows} == {"0", "1"}


def test_the_drawing_has_the_outline_and_every_centroid_of_the_table(
    plan: Plan, drawing: Any
) -> None:
    (rim,) = drawing.modelspace().query('LWPOLYLINE[layer=="RIM"]')
    corners = np.array([point[:2] for point in rim.get_points()])
    assert corners.min(axis=0) == pytest.approx([0, 0], abs=1e-9)
    assert corners.max(axis=0) == pytest.approx([160, 60], abs=1e-9)
    crosses = drawing.modelspace().query('LWPOLYLINE[layer=="LED-CENTROID"]')
    middles = {tuple(np.mean([p[:2] for p in c.get_points()], axis=0).round(3)) for c in crosses}
    table = {(float(row["x_mm"]), float(row["y_mm"])) for row in rows_of(plan)}
    assert len(middles) == len(table) == plan.chain.count
    far = [min(np.hypot(x - u, y - v) for u, v in middles) for x, y in table]
    assert max(far) < 2e-3


def test_packages_are_drawn_to_size_and_clear_of_each_other(plan: Plan, drawing: Any) -> None:
    import shapely

    squares = [
        shapely.Polygon([p[:2] for p in entity.get_points()])
        for entity in drawing.modelspace().query('LWPOLYLINE[layer=="LED"]')
    ]
    assert len(squares) == plan.chain.count
    assert plan.part.package_mm is not None
    assert {round(s.area, 6) for s in squares} == {round(plan.part.package_mm**2, 6)}
    assert shapely.union_all(squares).area == pytest.approx(sum(s.area for s in squares))
    assert not drawing.audit().errors


def test_packages_turn_with_the_data() -> None:
    # Right, then down the face, then left, then up: clockwise on the face is minus a quarter turn each.
    ring = chain_of([(0, 0), (10, 0), (10, 10), (0, 10), (0, 1)])
    assert package_turns_deg(ring).tolist() == [0, 270, 180, 90, 90]
    assert package_turns_deg(chain_of([(5, 5)])).tolist() == [0]
    assert package_turns_deg(chain_of([(0, 0), (10, 4), (12, -9)])).tolist() == [0, 90, 90]


def test_strip_needs_no_board_files(plan: Plan) -> None:
    strip = replace(plan, chain=replace(plan.chain, arrangement="strip"))
    assert board_files(strip) == {}
    assert set(board_files(plan)) == {"leds.csv", "board.dxf"}


def test_equal_plans_give_equal_board_files(plan: Plan) -> None:
    assert board_files(plan) == board_files(plan)


def test_three_leds_of_an_address_stand_in_the_csv_each_at_its_place(plan: Plan) -> None:
    x, y = plan.chain.x_mm, plan.chain.y_mm
    group = np.stack([np.stack([x + 6 * k, y], axis=1) for k in (-1, 0, 1)], axis=1)
    threefold = replace(plan, chain=replace(plan.chain, group_xy_mm=group))
    rows = list(csv.DictReader(io.StringIO(centroid_csv(threefold))))
    assert len(rows) == 3 * plan.chain.count
    assert len({row["designator"] for row in rows}) == len(rows)
    assert [float(row["x_mm"]) for row in rows[:3]] == pytest.approx(
        [x[0] - 6, x[0], x[0] + 6], abs=0.01
    )
