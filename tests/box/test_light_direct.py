"""Direct light against closed forms, published spacings and a path tracer."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import k1

from marquee.box.light_beam import beam_lux, exponent_of, flux_lm, wall_flux
from marquee.box.light_direct import Views, direct_lux
from marquee.box.light_elements import sort_elements
from marquee.box.light_regions import Stars, plan_of, star
from marquee.box.light_scene import Barrier, Floats, Scene
from marquee.box.light_walls import cut_walls
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
    # The same when asked for many points at once, this one among others.
    many = Stars(np.array([[0.1, 0.1], [x, y], [99.9, 50.0]]), start, end, np.ones(len(start)))
    together = many.see(np.ones(len(targets), np.intp), gx - x, gy - y)
    assert not together[cut_mm > 1e-6].any()
    assert together[clear].all()


def test_a_full_height_wall_keeps_its_shadow_dark() -> None:
    wall = Barrier(footprints_mm=(((49, 0), (51, 0), (51, 60), (49, 60)),))
    lux = _direct(open_scene(100, 60, 30, [(25.0, 30.0)], barriers=(wall,)))
    assert (lux[0][:, 51:] == 0).all()
    assert (lux[0][:, :49] > 0).all()


@pytest.mark.parametrize("free_mm", [1.0, 2.0, 3.0, 3.5])
def test_an_element_a_wall_covers_in_part_is_as_bright_as_its_open_part(free_mm: float) -> None:
    # Photometric distance law (CIE 18.2) averaged over the open part, 44 mm to 44 + free_mm, of 4 mm elements; in full
    # view of the LED past the free end of a wall. 2 %: the open part is known to half a quarter of an element, over which
    # light changes by as much.
    wall = Barrier(
        footprints_mm=(((44 + free_mm, 0), (51, 0), (51, 30), (44 + free_mm, 30)),),
    )
    scene = open_scene(100, 60, 30, [(25.0, 14.0)], element_mm=4, barriers=(wall,))
    x, y = np.meshgrid(44 + np.linspace(0, free_mm, 41), np.linspace(12, 16, 41))
    r2 = ((x - 25) ** 2 + (y - 14) ** 2 + 900) * 1e-6
    wanted = (0.030**2 / r2**2).mean()
    assert _direct(scene)[0, 3, 11] == pytest.approx(wanted, rel=0.02)


# --- spacings: Moreno, Avendaño-Alejo and Tzonchev, Applied Optics 45(10), 2006, 2265-2272 ---------------
# Their illuminance has one cosine fewer than a flat diffuser's, so their m is ours plus one: 2 for a
# Lambertian LED. "Maximally flat": the second derivative at the centre vanishes.


def _curvature(leds: Floats, step: Floats, exponent: float) -> float:
    values = [beam_lux(k * step - leds, 1.0, exponent).sum() for k in (-1, 0, 1)]
    return float((values[0] - 2 * values[1] + values[2]) / values[1] / float(step @ step))


def _two(m: float) -> Floats:
    return np.asarray(np.array([[-0.5, 0.0], [0.5, 0.0]]) * np.sqrt(4 / (m + 3)))


def _ring(n: int, m: float) -> Floats:
    angle = 2 * np.pi * np.arange(n) / n
    return np.asarray(np.sqrt(2 / (m + 2)) * np.stack([np.cos(angle), np.sin(angle)], axis=1))


def _square(m: float) -> Floats:
    half = (-0.5, 0.5)
    return np.asarray(np.array([[i, j] for i in half for j in half]) * np.sqrt(4 / (m + 2)))


@pytest.mark.parametrize("half_angle_deg", [20.0, 45.0, 60.0, 75.0])
@pytest.mark.parametrize("array", ["two", "ring of five", "ring of twelve", "two by two"])
def test_published_spacings_are_maximally_flat(array: str, half_angle_deg: float) -> None:
    exponent = exponent_of(half_angle_deg)
    theirs = exponent + 1
    leds = {
        "two": _two(theirs),
        "ring of five": _ring(5, theirs),
        "ring of twelve": _ring(12, theirs),
        "two by two": _square(theirs),
    }[array]
    step = np.array([1e-3, 0.0])
    # Central differences err by the fourth derivative times step²/12, which grows as m²: 1e-5 at m = 2, 1e-3 at 12.
    # 3 % off the spacing gives ten times as much.
    assert abs(_curvature(leds, step, exponent)) < 1e-3
    assert abs(_curvature(leds * 1.03, step, exponent)) > 1e-2


@pytest.mark.parametrize("half_angle_deg", [10.0, 25.0, 60.0, 80.0])
def test_intensity_is_halved_at_the_half_angle(half_angle_deg: float) -> None:
    # Definition of the half-intensity angle (IEC 60747-5-1): I(θ½) = I₀/2. On a plane at height h the intensity is
    # E r³/h by the inverse-square law.
    offset = np.array([np.tan(np.radians(half_angle_deg)), 0.0])
    r = np.hypot(offset[0], 1.0)
    lux = float(beam_lux(offset, 1.0, exponent_of(half_angle_deg))) * 1e-6
    assert lux * r**3 == pytest.approx(0.5, rel=1e-9)


@pytest.mark.parametrize("half_angle_deg", [20.0, 35.0, 60.0, 75.0])
def test_one_led_in_a_black_box_follows_the_inverse_square_and_its_beam(
    half_angle_deg: float,
) -> None:
    # E = I₀ cosᵐ θ cos θ / r², m = -ln 2 / ln cos θ½, against element means by 2 × 2 points: errors below
    # (1 mm / 30 mm)² / 24 of the second derivative, which is m + 3 to its square at most.
    m = -np.log(2) / np.log(np.cos(np.radians(half_angle_deg)))
    scene = open_scene(60, 60, 30, [(30.0, 30.0)], exponent=exponent_of(half_angle_deg))
    x, y = np.meshgrid(scene.grid.x_mm - 30, scene.grid.y_mm - 30)
    r = np.sqrt(x**2 + y**2 + 30.0**2) / 1000
    cosine = 0.030 / r
    found, wanted = _direct(scene)[0], cosine**m * cosine / r**2
    assert abs(found - wanted).max() < 1e-4 * (m + 3) ** 2 * wanted.max()
    assert abs(found / wanted - 1).max() < 1e-4 * (m + 3) ** 2


@given(half_angle_deg=st.floats(10, 80))
def test_flux_is_the_integral_of_the_intensity(half_angle_deg: float) -> None:
    # ∫ I₀ cosᵐ θ dΩ over the half space, by scipy's adaptive quadrature.
    from scipy.integrate import quad

    m = exponent_of(half_angle_deg)
    flux, _ = quad(lambda t: np.cos(t) ** m * 2 * np.pi * np.sin(t), 0, np.pi / 2)
    assert flux_lm(m) == pytest.approx(flux, rel=1e-6)


@given(
    half_angle_deg=st.floats(12, 80),
    x=st.floats(2, 58),
    y=st.floats(2, 38),
    depth_mm=st.floats(8, 60),
)
def test_what_misses_the_diffuser_meets_the_walls(
    half_angle_deg: float, x: float, y: float, depth_mm: float
) -> None:
    # First law: the flux of one LED, ∫ I dΩ, is that on the four sides and that on the front, here integrated by
    # Gauss and Legendre in 200 × 200 points.
    m = exponent_of(half_angle_deg)
    scene = open_scene(60, 40, depth_mm, [(x, y)], exponent=m)
    walls = cut_walls(scene, plan_of(scene))
    on_walls = wall_flux(scene.led_xy_mm, walls, walls.level_mm, m).sum()
    node, weight = np.polynomial.legendre.leggauss(200)
    at = np.stack(np.meshgrid(30 * (node + 1), 20 * (node + 1)), axis=-1)
    lux = beam_lux(at - scene.led_xy_mm[0], depth_mm, m)
    on_front = weight @ lux @ weight * 30 * 20 * 1e-6
    assert on_walls + on_front == pytest.approx(flux_lm(m), rel=2e-3)


@pytest.mark.parametrize("half_angle_deg", [25.0, 59.99, 75.0])
def test_flux_on_a_wall_patch_is_its_surface_integral(half_angle_deg: float) -> None:
    # I₀ (z/r)ᵐ (p/r) / r² over each patch by scipy's two-dimensional adaptive quadrature.
    from scipy.integrate import dblquad

    m = exponent_of(half_angle_deg)
    scene = open_scene(20, 30, 25, [(7.0, 4.0)], exponent=m)
    walls = cut_walls(scene, plan_of(scene))
    found = wall_flux(scene.led_xy_mm, walls, walls.level_mm, m)[0]
    for column in range(0, len(walls.length_mm), 3):
        p = float((scene.led_xy_mm[0] - walls.a[column]) @ walls.normal[column])
        s = float((walls.a[column] - scene.led_xy_mm[0]) @ walls.along[column])
        for layer in range(walls.level_mm.shape[1] - 1):
            low, high = walls.level_mm[column, layer : layer + 2]

            def lit(z: float, t: float, p: float = p) -> float:
                return float(z**m * p / (p * p + t * t + z * z) ** ((m + 3) / 2))

            flux, _ = dblquad(lit, s, s + walls.length_mm[column], low, high)
            assert found[column, layer] == pytest.approx(flux, rel=1e-3, abs=1e-7)


@pytest.mark.parametrize("depth_per_pitch", [0.8, 1.0, 1.2, 1.5])
def test_square_grid_ripple_is_that_of_its_first_harmonic(depth_per_pitch: float) -> None:
    # Poisson summation of h²/(d²+h²)² over a square grid: E ∝ 1 + A (cos 2πx/p + cos 2πy/p) + …,
    # A = 2 x K1(x), x = 2π h/p, K1 by scipy. The second harmonics are below 0.5 % from h/p = 0.8 on.
    x = 2 * np.pi * depth_per_pitch
    amplitude = 2 * x * k1(x)
    n = np.arange(-150, 151)
    leds = np.stack(np.meshgrid(n, n), axis=-1).reshape(-1, 2)
    over, between = (
        beam_lux(np.array(at) - leds, depth_per_pitch).sum() for at in ([0.0, 0.0], [0.5, 0.5])
    )
    assert between / over == pytest.approx((1 - 2 * amplitude) / (1 + 2 * amplitude), abs=5e-3)


@given(radius=st.floats(0.5, 12))
def test_flux_outside_a_circle_is_its_closed_form(radius: float) -> None:
    # Of one Lambertian LED h² / (R² + h²) of the flux π I falls outside radius R: Malus' disc form factor.
    r = (np.arange(4000) + 0.5) / 4000 * radius
    lux = beam_lux(np.stack([r, np.zeros_like(r)], axis=1), 1.0) * 1e-6
    inside = float((lux * 2 * np.pi * r).sum() * radius / 4000)
    assert 1 - inside / np.pi == pytest.approx(1 / (radius**2 + 1), abs=1e-5)
