"""The light stage as the pipeline calls it: transfer, lit face, remarks, refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from marquee.box.light import light_face, transfer_light
from marquee.box.light_face_grid import grid_for, zone_of_elements
from marquee.box.light_solve import illuminate
from marquee.errors import QuantityError
from marquee.values import HueCycle, Transfer
from tests.box.light_made import (
    drive_of,
    open_scene,
    settings,
    strip_box,
    strip_chain,
    strip_map,
)

GREEN, RED = (0.3, 1.0, 0.1), (1.0, 0.5, 0.05)


def _transfer(zones: int = 2, *, gap_mm: float = 0.0, depth_mm: float = 30.0) -> Transfer:
    width = 60.0 * zones
    return transfer_light(
        strip_map(zones, width, 60),
        strip_box(zones, width, 60, depth_mm=depth_mm, gap_mm=gap_mm),
        strip_chain(zones, width, 60),
        settings(depth_mm=depth_mm),
    )


def test_luminance_is_illuminance_times_transmittance_over_pi() -> None:
    # L = E τ / π: definition of a Lambertian transmitter (CIE S 017, 17-24-052 with 17-21-060 from memory).
    transfer = _transfer()
    light = light_face(transfer, strip_map(2, 120, 60), drive_of([GREEN, GREEN]))
    lux = transfer.lux_per_cd.sum(axis=0)
    tau = settings().transmittance or transfer.diffuser_transmittance
    assert light.luminance_xyz[..., 1] == pytest.approx(lux * tau / np.pi, rel=1e-5)
    assert light.luminance_xyz[..., 0] == pytest.approx(0.3 * lux * tau / np.pi, rel=1e-5)


def test_sealed_cells_do_not_bleed_and_a_gap_does() -> None:
    zone_map, drive = strip_map(2, 120, 60), drive_of([GREEN, RED])
    sealed = light_face(_transfer(), zone_map, drive)
    open_top = light_face(_transfer(gap_mm=3.0), zone_map, drive)
    assert [z.bleed for z in sealed.zones] == [0.0, 0.0]
    assert all(z.bleed_delta_e_2000 == 0 for z in sealed.zones)
    for own, other in ((0, 1), (1, 0)):
        found = open_top.zones[own]
        assert found.bleed > 0
        assert found.bleed_from[0][0] == other
        assert found.bleed_delta_e_2000 > 0


def test_an_open_box_mixes_its_zones_and_the_maker_is_told() -> None:
    zone_map = strip_map(2, 120, 60)
    box = replace(strip_box(2, 120, 60), walls=())
    transfer = transfer_light(zone_map, box, strip_chain(2, 120, 60), settings())
    light = light_face(transfer, zone_map, drive_of([GREEN, RED]))
    assert light.zones[0].bleed > 0.05
    remarks = [f for f in light.findings if f.code == "light.bleed"]
    assert {f.where for f in remarks} == {"zone 0 band 0", "zone 1 band 1"}
    assert "zone 1 band 1" in next(f.message for f in remarks if f.where == "zone 0 band 0")


def test_bleed_shares_and_own_light_make_the_whole() -> None:
    zone_map = strip_map(3, 180, 60)
    transfer = _transfer(3, gap_mm=2.0)
    light = light_face(transfer, zone_map, drive_of([GREEN, RED, GREEN]))
    per_lux = transfer.diffuser_transmittance / np.pi
    for zone, intensity in zip(light.zones, (1.0, 0.5, 1.0), strict=True):
        own = transfer.self_lux_per_cd[zone.zone] * per_lux * intensity
        assert own + zone.bleed * zone.luminance_cd_m2 == pytest.approx(
            zone.luminance_cd_m2, rel=1e-5
        )
        # Shares below 1e-5 are not listed, and there are two neighbours.
        assert zone.bleed == pytest.approx(sum(share for _, share in zone.bleed_from), abs=2e-5)


def test_each_elements_foreign_share_is_what_is_lost_when_the_other_zones_are_dark() -> None:
    """Superposition: light adds up, so a zone lit alone leaves one minus the foreign share."""
    zone_map = strip_map(3, 180, 60)
    transfer = _transfer(3, gap_mm=2.0)
    colours = [GREEN, RED, GREEN]
    light = light_face(transfer, zone_map, drive_of(colours))
    assert light.foreign_share is not None
    owner = transfer.zone_of_element
    assert (light.foreign_share[owner < 0] == 0).all()
    for zone in light.zones:
        alone = [c if k == zone.zone else (0.0, 0.0, 0.0) for k, c in enumerate(colours)]
        left = light_face(transfer, zone_map, drive_of(alone)).luminance_xyz[..., 1]
        here = owner == zone.zone
        whole = light.luminance_xyz[..., 1][here]
        share = light.foreign_share[here]
        # float32 arithmetic on both sides.
        assert share == pytest.approx(1 - left[here] / whole, abs=1e-5)
        assert np.average(share, weights=whole) == pytest.approx(zone.bleed, abs=1e-5)


def test_a_coarse_pitch_in_a_shallow_box_is_called_uneven_with_depth_and_pitch_named() -> None:
    zone_map = strip_map(1, 120, 90)
    transfer = transfer_light(
        zone_map,
        strip_box(1, 120, 90, depth_mm=12),
        strip_chain(1, 120, 90, pitch_mm=30),
        settings(depth_mm=12.0),
    )
    light = light_face(transfer, zone_map, drive_of([GREEN]))
    (remark,) = [f for f in light.findings if f.code == "light.uneven"]
    assert "30.0 mm" in remark.message
    assert "12.0 mm" in remark.message
    assert light.zones[0].min_over_max < 0.6
    assert light.zones[0].min_over_max <= light.zones[0].min_over_mean


@pytest.mark.parametrize("gap_mm", [0.0, 2.0])
def test_a_zone_without_leds_is_called_dark_and_nothing_else(gap_mm: float) -> None:
    zone_map, chain = strip_map(2, 120, 60), strip_chain(2, 120, 60)
    dark = replace(chain, zone=np.where(chain.zone == 1, -1, chain.zone).astype(np.int16))
    stated = settings(wall_gap_mm=gap_mm)
    walled = strip_box(2, 120, 60, gap_mm=gap_mm)
    transfer = transfer_light(zone_map, walled, dark, stated)
    light = light_face(transfer, zone_map, drive_of([GREEN, RED]))
    assert transfer.self_lux_per_cd[1] == 0
    own = [f.code for f in light.findings if f.where == "zone 1 band 1"]
    # What reaches it through a gap is all from its neighbour: no remark on that helps.
    assert own == ["light.dark"]


def test_an_led_inside_a_wall_is_reported() -> None:
    chain = strip_chain(2, 120, 60)
    x = chain.x_mm.copy()
    x[0] = 60.0
    transfer = transfer_light(
        strip_map(2, 120, 60), strip_box(2, 120, 60), replace(chain, x_mm=x), settings()
    )
    assert [f.code for f in transfer.findings] == ["light.led-in-wall"]


def test_a_zone_on_the_hue_cycle_shines_with_the_mean_of_the_cycle() -> None:
    zone_map = strip_map(1, 60, 60)
    cycle = HueCycle(
        codes=((1, 0, 0), (0, 1, 0)), xyz_cd=((0.2, 0.4, 0.0), (0.4, 0.8, 0.2)), period_s=1.0
    )
    drive = replace(drive_of([]), hue_cycle=cycle)
    transfer = transfer_light(zone_map, strip_box(1, 60, 60), strip_chain(1, 60, 60), settings())
    light = light_face(transfer, zone_map, drive)
    per_lux = transfer.diffuser_transmittance / np.pi
    assert light.luminance_xyz[5, 5] == pytest.approx(
        np.array([0.3, 0.6, 0.1]) * transfer.lux_per_cd[0, 5, 5] * per_lux, rel=1e-5
    )


def test_light_is_the_same_twice() -> None:
    first, second = _transfer(gap_mm=1.0), _transfer(gap_mm=1.0)
    assert first.lux_per_cd.tobytes() == second.lux_per_cd.tobytes()


def test_touching_apertures_over_a_sealed_wall_stay_lit_by_their_own_cell() -> None:
    # Both bands reach the wall's middle: geometry alone says that no light may cross a sealed wall.
    zone_map = strip_map(2, 120, 60)
    pixels = zone_map.zone_of_px.copy()
    pixels[8:-8, 8:120], pixels[8:-8, 120:-8] = 0, 1
    touching = replace(zone_map, zone_of_px=pixels)
    transfer = transfer_light(
        touching, strip_box(2, 120, 60), strip_chain(2, 120, 60), settings(depth_mm=30.0)
    )
    light = light_face(transfer, touching, drive_of([GREEN, RED]))
    assert [z.bleed for z in light.zones] == [0.0, 0.0]
    assert all(z.min_over_mean > 0.5 for z in light.zones)


def test_a_strip_that_passes_under_a_wall_lets_light_through_its_notch() -> None:
    zone_map, box = strip_map(2, 120, 60), strip_box(2, 120, 60)
    chain = strip_chain(2, 120, 60)
    rows = np.unique(chain.y_mm, return_inverse=True)[1].astype(np.int16)
    strips = replace(chain, arrangement="strip", row=rows)
    sealed = transfer_light(zone_map, box, strips, settings(), (11.0, 0.0))
    low = transfer_light(zone_map, box, strips, settings(), (11.0, 2.0))
    high = transfer_light(zone_map, box, strips, settings(), (11.0, 4.0))
    assert (sealed.notches, low.notches) == (0, 4)
    crossed = [t.lux_per_cd[0][t.zone_of_element == 1].mean() for t in (sealed, low, high)]
    assert crossed[0] == 0
    assert 0 < crossed[1] < crossed[2] < 0.05 * low.self_lux_per_cd[0]


# --- grid ------------------------------------------------------------------------------------------


def test_a_stroke_thinner_than_an_element_keeps_its_elements() -> None:
    zone_map = strip_map(1, 100, 60, mm_per_px=0.25)
    pixels = np.full_like(zone_map.zone_of_px, -1)
    pixels[40:200, 133:135] = 0  # 0.5 mm wide, in the element from 33 to 36 mm
    thin = replace(zone_map, zone_of_px=pixels)
    grid = grid_for(100, 60, 30)
    found = zone_of_elements(thin, grid)
    assert set(np.flatnonzero((found == 0).any(axis=0))) == {int(33.5 / grid.dx_mm)}
    assert (found == 0).sum() >= 40 / grid.dy_mm


def test_an_element_goes_to_the_zone_with_most_of_its_pixels() -> None:
    zone_map = strip_map(2, 60, 60, mm_per_px=0.5)
    pixels = np.zeros_like(zone_map.zone_of_px)
    pixels[:, 61:] = 1  # boundary at 30.5 mm
    grid = replace(grid_for(60, 60, 30), x0_mm=1.0, y0_mm=1.0, dx_mm=2.0, dy_mm=2.0, nx=30, ny=30)
    found = zone_of_elements(replace(zone_map, zone_of_px=pixels), grid)
    assert (found[:, :15] == 0).all()
    assert (found[:, 15:] == 1).all()


# --- refusals --------------------------------------------------------------------------------------


def test_an_led_outside_the_box_is_refused() -> None:
    with pytest.raises(QuantityError, match=r"LED 1: lies at 120\.0, 30\.0 mm, outside"):
        open_scene(100, 60, 30, [(50, 30), (120, 30)])


def test_a_box_without_depth_is_refused() -> None:
    with pytest.raises(QuantityError, match=r"box\.depth.*no room"):
        open_scene(100, 60, 0, [(50, 30)])


@pytest.mark.parametrize("value", [1.0, 1.2, -0.1, float("nan")])
def test_a_reflectance_that_is_none_is_refused(value: float) -> None:
    with pytest.raises(QuantityError, match="reflectance"):
        open_scene(100, 60, 30, [(50, 30)], reflectance=value)


def test_a_wall_gap_as_high_as_the_box_is_refused() -> None:
    with pytest.raises(QuantityError, match=r"wall_gap.*smaller"):
        _transfer(gap_mm=30.0)


def test_a_very_wide_shallow_box_keeps_its_patches_few_and_its_middle_right() -> None:
    """Between parallel plates far from any wall light is multiplied by 1/(1 − ρ_floor ρ_diffuser), summed over bounces."""
    leds = [(x, y) for x in np.arange(12.5, 1000, 25) for y in np.arange(12.5, 400, 25)]
    scene = open_scene(1000, 400, 15, leds, reflectance=0.8, diffuser=0.4, element_mm=5)
    assert scene.width_mm * scene.height_mm / scene.patch_mm**2 <= 2500.5
    light = illuminate(scene)
    middle = np.s_[0, 30:50, 80:120]  # whole pitches, 150 mm and more from every wall
    gain = light.total_lux[middle].mean() / light.direct_lux[middle].mean()
    # Patches 0.84 of the depth wide; the kernel's rows are scaled to close, so the sum of bounces stays exact.
    assert gain == pytest.approx(1 / (1 - 0.8 * 0.4), rel=0.01)


def test_boxes_of_usual_size_keep_patches_of_a_third_of_the_depth() -> None:
    assert open_scene(600, 201, 30, [(10, 10)]).patch_mm == pytest.approx(10.0)
