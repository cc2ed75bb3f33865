"""Direct light against closed forms, published spacings and a path tracer."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import k1

from marquee.box.light_direct import Views, direct_lux, lambertian_lux
from marquee.box.light_elements import sort_elements
from marquee.box.light_regions import plan_of, star
from marquee.box.light_scene import Barrier, Floats, Scene
from tests.box.light_made import open_scene, reference


def _direct(scene: Scene) -> Floats:
    plan = plan_of(scene)
    lux = direct_lux(scene, plan, sort_elements(scene, plan), Views(scene, plan))
    return lux.reshape(-1, scene.grid.ny, scene.grid.nx)


def test_one_led_in_a_black_box_follows_the_inverse_square_and_both_cosines() -> None:
    # E = I cos t · cos t / r² (photometric distance law, CIE 18.2) with cos t = h / r, against element means by
    # 2 × 2 points, whose error is below (1 mm / 30 mm)² / 24 of the second derivative: under 0.1 %.
    scene = open_scene(60, 60, 30, [(30.0, 30.0)])
    x, y = np.meshgrid(scene.grid.x_mm - 30, scene.grid.y_mm - 30)
    r = np.sqrt(x**2 + y**2 + 30.0**2) / 1000
    cosine = 0.030 / r
    assert _direct(scene)[0] == pytest.approx(cosine * cosine / r**2, rel=1e-3)


def test_the_single_led_case_agrees_with_the_path_tracer() -> None:
    # mitsuba 3.9.1; its standard error is up to 0.52 % of the mean, so 2 % of an element is four errors.
    scene, arrays = reference("01")
    lux = _direct(scene)
    assert lux.mean(axis=(1, 2)) == pytest.approx(arrays["E"].mean(axis=(1, 2)), rel=1e-3)
    floor = 0.05 * arrays["E"].mean(axis=(1, 2), keepdims=True)
    assert np.max(abs(lux - arrays["E"]) / np.maximum(arrays["E"], floor)) < 0.02


@pytest.mark.parametrize("case", ["02", "03", "05", "07", "09", "11", "17"])
def test_direct_light_agrees_with_the_path_tracer(case: str) -> None:
    # mitsuba 3.9.1, 1024 stratified samples an LED: noise well below 1 %. Elements in the half shadow of
    # case 07's 3 mm gap hold less light than the floor of 5 %, where 4 × 4 points on 2 × 2 quarters suffice.
    scene, arrays = reference(case)
    lux, wanted = _direct(scene), arrays["direct"]
    open_element = arrays["zone"] >= 0
    lit = wanted.mean(axis=(1, 2)) > 0
    floor = 0.05 * wanted[lit].mean(axis=(1, 2), keepdims=True)
    error = (abs(lux[lit] - wanted[lit]) / np.maximum(wanted[lit], floor))[:, open_element]
    assert np.percentile(error, 95) < 0.01
    assert np.percentile(error, 99) < 0.04
    assert lux[lit][:, open_element].mean() == pytest.approx(
        wanted[lit][:, open_element].mean(), rel=2e-3
    )


@given(
    depth_mm=st.floats(10, 60),
    gap_mm=st.floats(0.2, 4),
    led_mm=st.floats(5, 40),
)
def test_light_over_a_wall_ends_where_similar_triangles_say(
    depth_mm: float, gap_mm: float, led_mm: float
) -> None:
    # A ray that clears the near face at height depth - gap reaches the diffuser at led·depth / (depth - gap).
    wall = 100.0
    reach = led_mm * depth_mm / (depth_mm - gap_mm)
    upper, lower = np.array([[wall, 100.0]]), np.array([[wall, 0.0]])
    view = star(np.array([wall + led_mm, 50.0]), upper, lower, np.array([1 - gap_mm / depth_mm]))
    x = wall + led_mm - reach
    hidden, seen = np.array([[x - 0.01, 50.0]]), np.array([[x + 0.01, 50.0]])
    assert not view.sees(hidden)[0]
    assert view.sees(seen)[0]


@given(
    x=st.floats(1, 99),
    y=st.floats(1, 99),
    boxes=st.lists(
        st.tuples(st.integers(10, 80), st.integers(10, 80), st.integers(2, 9), st.integers(2, 9)),
        min_size=1,
        max_size=6,
    ),
)
def test_what_a_point_sees_is_what_shapely_finds_uncut(
    x: float, y: float, boxes: list[tuple[int, int, int, int]]
) -> None:
    # shapely 2 is the outside check: a target is in sight if the straight line to it crosses no block.
    import shapely

    blocks = shapely.union_all([shapely.box(a, b, a + w, b + h) for a, b, w, h in boxes])
    if blocks.distance(shapely.Point(x, y)) < 0.1:
        return
    a, b = [], []
    for part in shapely.get_parts(blocks):
        # The open side lies left of each edge when the block's outline runs clockwise.
        ring = np.asarray(shapely.orient_polygons(part, exterior_cw=True).exterior.coords)
        a.append(ring[:-1])
        b.append(ring[1:])
    start, end = np.concatenate(a), np.concatenate(b)
    view = star(np.array([x, y]), start, end, np.ones(len(start)))
    gx, gy = (v.ravel() for v in np.meshgrid(np.arange(0.37, 100, 7), np.arange(0.41, 100, 7)))
    targets = np.stack([gx, gy], axis=1)
    lines = shapely.linestrings(
        np.stack([np.broadcast_to([x, y], targets.shape), targets], axis=1)
    )
    cut_mm = shapely.length(shapely.intersection(lines, blocks))
    clear = shapely.distance(lines, blocks) > 1e-6
    seen = view.sees(targets)
    assert not seen[cut_mm > 1e-6].any()
    assert seen[clear].all()


def test_a_full_height_wall_keeps_its_shadow_dark() -> None:
    wall = Barrier(footprints_mm=(((49, 0), (51, 0), (51, 60), (49, 60)),))
    lux = _direct(open_scene(100, 60, 30, [(25.0, 30.0)], barriers=(wall,)))
    assert (lux[0][:, 51:] == 0).all()
    assert (lux[0][:, :49] > 0).all()


# --- spacings: Moreno, Avendaño-Alejo and Tzonchev, Applied Optics 45(10), 2006, 2265-2272 ---------------
# Their illuminance has one cosine fewer than a flat diffuser's, so their m is ours plus one: 2 for a
# Lambertian LED. "Maximally flat": the second derivative at the centre vanishes.


def _curvature(leds: Floats, step: Floats) -> float:
    values = [lambertian_lux(k * step - leds, 1.0).sum() for k in (-1, 0, 1)]
    return float((values[0] - 2 * values[1] + values[2]) / values[1] / float(step @ step))


def _ring(n: int, radius: float) -> Floats:
    angle = 2 * np.pi * np.arange(n) / n
    return radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)


@pytest.mark.parametrize(
    ("leds", "name"),
    [
        (np.array([[-0.5, 0.0], [0.5, 0.0]]) * np.sqrt(4 / (2 + 3)), "two"),
        (_ring(5, np.sqrt(2 / (2 + 2))), "ring of five"),
        (_ring(12, np.sqrt(2 / (2 + 2))), "ring of twelve"),
        (
            np.array([[i, j] for i in (-0.5, 0.5) for j in (-0.5, 0.5)]) * np.sqrt(4 / (2 + 2)),
            "two by two",
        ),
    ],
    ids=lambda v: v if isinstance(v, str) else "",
)
def test_published_spacings_are_maximally_flat(leds: Floats, name: str) -> None:
    step = np.array([1e-3, 0.0])
    flat = abs(_curvature(leds, step))
    # Central differences err by the fourth derivative times step²/12, about 1e-5 here; 3 % off the spacing gives 0.05.
    assert flat < 1e-3, name
    assert abs(_curvature(leds * 1.03, step)) > 1e-2


@pytest.mark.parametrize("depth_per_pitch", [0.8, 1.0, 1.2, 1.5])
def test_square_grid_ripple_is_that_of_its_first_harmonic(depth_per_pitch: float) -> None:
    # Poisson summation of h²/(d²+h²)² over a square grid: E ∝ 1 + A (cos 2πx/p + cos 2πy/p) + …,
    # A = 2 x K1(x), x = 2π h/p, K1 by scipy. The second harmonics are below 0.5 % from h/p = 0.8 on.
    x = 2 * np.pi * depth_per_pitch
    amplitude = 2 * x * k1(x)
    n = np.arange(-150, 151)
    leds = np.stack(np.meshgrid(n, n), axis=-1).reshape(-1, 2)
    over, between = (
        lambertian_lux(np.array(at) - leds, depth_per_pitch).sum()
        for at in ([0.0, 0.0], [0.5, 0.5])
    )
    assert between / over == pytest.approx((1 - 2 * amplitude) / (1 + 2 * amplitude), abs=5e-3)


@given(radius=st.floats(0.5, 12))
def test_flux_outside_a_circle_is_its_closed_form(radius: float) -> None:
    # Of one Lambertian LED h² / (R² + h²) of the flux π I falls outside radius R: Malus' disc form factor.
    r = (np.arange(4000) + 0.5) / 4000 * radius
    lux = lambertian_lux(np.stack([r, np.zeros_like(r)], axis=1), 1.0) * 1e-6
    inside = float((lux * 2 * np.pi * r).sum() * radius / 4000)
    assert 1 - inside / np.pi == pytest.approx(1 / (radius**2 + 1), abs=1e-5)
