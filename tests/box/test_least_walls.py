"""Wall lengths against minimum cuts made by scipy: maximum flow for two zones, an integer program for more."""

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array, csr_array, eye_array, hstack, kron, vstack
from scipy.sparse.csgraph import maximum_flow

from marquee.box.barriers import draw_network
from marquee.box.ground import survey
from tests.bench.least_partition import all_links, least_partition
from tests.box.factory import blank, disc, polygon, rect, zone_map

REACH_MM = 2.5
UNITS = 10_000


def links_of(
    land: NDArray[np.int32],
) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.float64], float]:
    """Return the links between places of a sampled face with all land of a zone taken as one place (the last ones)."""
    a, b, weight, share = all_links(land.shape)
    zones = int(land.max()) + 1
    free = np.flatnonzero(land.ravel() < 0)
    number = np.empty(land.size, np.intp)
    number[free] = np.arange(len(free))
    number[land.ravel() >= 0] = len(free) + land.ravel()[land.ravel() >= 0]
    n = len(free) + zones
    graph = coo_array((weight, (number[a], number[b])), shape=(n, n))
    both = coo_array(csr_array(graph + graph.T))
    upper = both.row < both.col
    return both.row[upper], both.col[upper], both.data[upper], share


def flow_px(land: NDArray[np.int32]) -> tuple[float, float]:
    """Return the minimum cut between zones 0 and 1 by maximum flow [px], and the least share of true length in it."""
    low, high, weight, share = links_of(land)
    n = int(max(low.max(), high.max())) + 1
    units = np.round(weight * UNITS).astype(np.int32)
    graph = csr_array(
        (np.tile(units, 2), (np.concatenate([low, high]), np.concatenate([high, low]))),
        shape=(n, n),
    )
    return maximum_flow(graph, n - 2, n - 1).flow_value / UNITS, share


def scattered(seed: int, zones: int) -> NDArray[np.int16]:
    """Return a face of 60 by 40 mm with seven discs and bars of some zones, different ones 6 mm apart or more."""
    rng = np.random.default_rng(seed)
    labels = blank(60, 40)
    count = 0
    while count < 7:
        x, y, r = float(rng.uniform(4, 56)), float(rng.uniform(4, 36)), float(rng.uniform(1.5, 5))
        zone = count % zones
        near = blank(60, 40)
        disc(near, 0, (x, y), 1.5 * r + 6)
        if ((near >= 0) & (labels >= 0) & (labels != zone)).any():
            count += int(rng.integers(0, 30) == 0 and count >= zones)
            continue
        if rng.integers(0, 2):
            disc(labels, zone, (x, y), r)
        else:
            rect(labels, zone, (max(x - 1.4 * r, 0), y - r / 3, min(x + 1.4 * r, 60), y + r / 3))
        count += 1
    return labels


@pytest.mark.parametrize("seed", range(8))
def test_walls_between_two_zones_are_as_long_as_the_minimum_cut(seed: int) -> None:
    ground = survey(zone_map(scattered(seed, 2)), REACH_MM)
    walls_mm = draw_network(ground).total_mm
    land = ground.land[1::2, 1::2]
    cut, share = flow_px(land)
    cut_mm = cut * 2 * ground.step_mm
    # The links measure straight lines up to 1.3 % short; sampling the land moves its corners by up to half a sample
    # (0.25 mm) each, and where the land reaches the rim the cut may slip in between.
    assert 0.99 * cut_mm - 0.5 <= walls_mm <= 1.01 * cut_mm / share + 1.0


@pytest.mark.parametrize("seed", range(4))
def test_the_bound_of_two_zones_is_the_minimum_cut(seed: int) -> None:
    ground = survey(zone_map(scattered(seed, 2)), REACH_MM)
    land, near = ground.land[2::4, 2::4], ground.nearest[2::4, 2::4]
    cut, _ = flow_px(land)
    bound = least_partition(land, near, 1.0)
    # Above the flow by no more than its capacities' rounding; below by the share at which the solver stops, 0.2 %.
    assert 0.996 * cut <= bound.least_mm <= 1.0005 * cut


def integer_cut_px(land: NDArray[np.int32]) -> float:
    """Return the least multiway cut: one zone a place, border counted by half the differences of 0/1 shares."""
    low, high, weight, _ = links_of(land)
    zones = int(land.max()) + 1
    n, size = int(max(low.max(), high.max())) + 1, len(low)
    ends = np.concatenate([low, high])
    signs = np.concatenate([np.ones(size), -np.ones(size)])
    across = csr_array((signs, (np.tile(np.arange(size), 2), ends)), shape=(size, n))
    step = kron(across, eye_array(zones))
    wide = eye_array(size * zones)
    between = csr_array(vstack([hstack([step, -wide]), hstack([-step, -wide])]))
    whole = csr_array(
        hstack([kron(eye_array(n), np.ones((1, zones))), coo_array((n, size * zones))])
    )
    least, most = np.zeros(n * zones + size * zones), np.ones(n * zones + size * zones)
    for zone in range(zones):
        least[(n - zones + zone) * zones + zone] = 1
    found = milp(
        np.concatenate([np.zeros(n * zones), np.repeat(weight / 2, zones)]),
        constraints=[LinearConstraint(between, -np.inf, 0), LinearConstraint(whole, 1, 1)],
        bounds=Bounds(least, most),
        integrality=np.concatenate([np.ones(n * zones), np.zeros(size * zones)]),
    )
    assert found.success
    return float(found.fun)


@pytest.mark.parametrize("seed", range(3))
def test_the_bound_of_three_zones_is_the_integer_programs_multiway_cut(seed: int) -> None:
    ground = survey(zone_map(scattered(seed, 3)), REACH_MM)
    land, near = ground.land[5::10, 5::10], ground.nearest[5::10, 5::10]
    least = integer_cut_px(land)
    bound = least_partition(land, near, 1.0)
    # The relaxation may lie below the integer optimum, here by no more than its stopping share and a little.
    assert 0.985 * least <= bound.least_mm <= 1.0005 * least


@pytest.mark.parametrize("seed", range(4))
def test_walls_between_several_zones_are_near_the_shortest_partition(seed: int) -> None:
    ground = survey(zone_map(scattered(seed, 3 + seed % 2)), REACH_MM)
    land, near = ground.land[2::4, 2::4], ground.nearest[2::4, 2::4]
    bound = least_partition(land, near, 4 * ground.step_mm)
    walls_mm = draw_network(ground).total_mm
    # 5 % as aimed at; a millimetre for the land's corners, which samples 1 mm apart move.
    assert 0.98 * bound.least_mm - 1 <= walls_mm <= 1.05 * bound.least_mm + 1


def shortest_ring_mm(part: NDArray[np.bool_], step_mm: float) -> float:
    """Return the length of the shortest ring round the centres of some pixels [mm], which a hull is."""
    y, x = np.nonzero(part)
    return float(shapely.MultiPoint(np.stack([x, y], axis=1)).convex_hull.length * step_mm)


def test_walls_round_touching_windows_are_the_shortest_rings() -> None:
    # Windows in a lit front: whatever the partition, each has a ring between its pixels and those around it.
    labels, least_mm = blank(120, 60), 0.0
    rect(labels, 0, (10, 5, 110, 60))
    for k in range(36):
        x, y = 15 + 10 * (k % 9), 10 + 12 * (k // 9)
        window = blank(120, 60)
        rect(window, 1, (x, y, x + 3 + k % 4, y + 6 + k % 3))
        labels[window == 1] = 1
        least_mm += shortest_ring_mm(window == 1, 0.25)
    network = draw_network(survey(zone_map(labels), REACH_MM))
    assert len(network.lines) == 36
    # The walls run in the gap between neighbouring pixels' centres, 0.25 mm wide, and are simplified by 0.05 mm.
    assert least_mm * 0.998 <= network.total_mm <= least_mm * 1.005


def test_walls_of_a_plate_with_a_disc_and_a_triangle_are_two_straights_and_two_rings() -> None:
    labels = blank(200, 60)
    rect(labels, 0, (5, 15, 35, 45))
    rect(labels, 1, (45, 10, 155, 50))
    rect(labels, 2, (165, 15, 195, 45))
    inner = blank(200, 60)
    disc(inner, 3, (120, 30), 12)
    polygon(inner, 4, [(60, 30), (90, 18), (90, 42)])
    labels[inner >= 0] = inner[inner >= 0]
    ground = survey(zone_map(labels), REACH_MM)
    # No wall between strangers is shorter than the face is high, none between two zones stands for two others.
    rings = [shortest_ring_mm(inner == zone, 0.25) for zone in (3, 4)]
    least_mm = 2 * 60 + sum(rings)
    walls_mm = draw_network(ground).total_mm
    # As above; the disc's and triangle's outlines are stairs, which the walls follow 0.05 mm off.
    assert least_mm * 0.998 <= walls_mm <= least_mm * 1.005


def test_the_bound_of_a_ring_is_its_circle() -> None:
    # Land outside 30 mm and a disc of 20 mm: the shortest border is the circle round the disc, π·40 mm.
    y, x = np.mgrid[0:140, 0:140]
    off = np.hypot(x - 69.5, y - 69.5) / 2
    land = np.where(off <= 20, 0, np.where(off >= 30, 1, -1)).astype(np.int32)
    bound = least_partition(land, np.where(off <= 25, 0, 1).astype(np.int32), 0.5)
    # All directions are met, so the links measure their mean, 0.5 to 1 % short; pixels round the disc to 0.1 mm.
    assert 0.985 * np.pi * 40 <= bound.least_mm <= 1.002 * np.pi * 40
