"""What the drive stage hands on besides bytes: the settings it took, the luminance it aims at, and remarks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from marquee.colour.drive import solve_drive
from marquee.errors import MarqueeError
from marquee.power.dimming import white_cd_m2
from marquee.project import ColourSettings
from tests.colour.made import (
    PALETTE,
    SHEET,
    drive_of,
    part_with_sheet,
    reference_part,
    targets_of,
    transfer_of,
    zone_map_of,
)


def test_the_stage_says_which_settings_it_took() -> None:
    drive = drive_of(PALETTE, policy="blend", brightness=0.25, white="D50")
    assert drive.policy == "blend"
    assert drive.brightness == pytest.approx(0.25)
    # D50's chromaticity: CIE 15:2018, table 6.1 (x, y = 0.34567, 0.35850 for the 2 degree observer).
    assert drive.white_xy == pytest.approx((0.34567, 0.35850), abs=5e-5)  # given to four digits
    assert len(drive.gamma_codes) == 256


def test_the_observer_asked_for_is_the_one_the_parts_light_is_seen_by() -> None:
    scene = (zone_map_of(targets_of(["#fff"])), part_with_sheet(), transfer_of([1.0]))
    two, ten = (
        np.array(
            solve_drive(*scene, ColourSettings.model_validate({"observer": name})).zones[0].exact
        )
        for name in ("cie-1931-2", "cie-2015-10")
    )
    # Blue over green for a D65 look, against CIE 1931 2 degrees: colour-science's figure in test_drive, and its
    # tolerance for spectra of another step.
    assert (ten[2] / ten[1]) / (two[2] / two[1]) == pytest.approx(1.148, abs=3e-3)


def test_a_white_that_cannot_be_used_names_its_setting() -> None:
    for white in ("D66", "0.9,0.9"):
        with pytest.raises(MarqueeError) as caught:
            drive_of(PALETTE, white=white)
        assert caught.value.where == "colour.white"


def test_the_zone_that_holds_the_others_back_is_told_by_name() -> None:
    # A deep blue made far brighter than its LED allows holds every other zone back: the remark and the value agree.
    drive = drive_of(["#ffffff", "#0000ff", "#804000"], [100.0, 4.0, 100.0])
    told = [f for f in drive.findings if f.code == "colour.limited-by"]
    assert drive.limiting_zone == 1
    assert [f.where for f in told] == ["zone 1 zone-1"]


def _scene(gains: list[float]) -> tuple[float, ...]:
    part, emission = reference_part("rgb_linear", **SHEET)
    scene = (zone_map_of(targets_of(["#ffffff"] * len(gains))), part, transfer_of(gains))
    found = []
    for wanted in (20.0, 40.0):
        drive = solve_drive(*scene, ColourSettings.model_validate({"luminance_cd_m2": wanted}))
        light = np.array([z.exact for z in drive.zones]) @ np.array(emission.xyz_cd)[:, 1]
        # L = E τ / π, τ = 0.5 in these boxes; cells of unequal light are driven to one luminance.
        found += list(light * np.array(gains) * 0.5 / np.pi)
        assert drive.policy == "keep"
    return tuple(found)


@pytest.mark.parametrize("gains", [[800.0], [800.0, 800.0], [0.8, 0.8]])
def test_luminance_follows_what_is_asked_for_as_far_as_the_part_goes(gains: list[float]) -> None:
    found = _scene(gains)
    n = len(gains)
    if gains[0] > 1:
        assert found[:n] == pytest.approx([20.0] * n, rel=1e-6)
        assert found[n:] == pytest.approx([40.0] * n, rel=1e-6)
    else:  # out of reach: full drive, the same both times
        assert found[:n] == pytest.approx(found[n:], rel=1e-12)
        assert max(found) < 20.0


def test_luminance_asked_for_in_cells_of_unequal_light_is_met_by_all() -> None:
    found = _scene([400.0, 800.0])
    assert found == pytest.approx((20.0, 20.0, 40.0, 40.0), rel=1e-6)


def test_a_dark_cell_does_not_count_for_the_luminance() -> None:
    gains = [800.0, 0.0]
    lit, _, lit_twice, _ = _scene(gains)
    assert (lit, lit_twice) == pytest.approx((20.0, 40.0), rel=1e-6)


def test_cells_of_zones_that_cycle_do_not_count_for_the_luminance_of_white() -> None:
    targets = targets_of(["#ffffff", "#d6402b"])
    settings = ColourSettings.model_validate({"luminance_cd_m2": 20.0})
    transfer = transfer_of([800.0, 3200.0])
    drive = solve_drive(zone_map_of(targets, cycling=(1,)), part_with_sheet(), transfer, settings)
    # L = E τ / π of the white zone alone, τ = 0.5 in these boxes.
    shown = drive.white_intensity_cd * 800.0 * 0.5 / np.pi
    assert shown == pytest.approx(20.0, rel=1e-6)
    assert white_cd_m2(transfer, drive) == pytest.approx(shown)


def test_a_sign_of_nothing_but_a_hue_cycle_is_dimmed_as_asked() -> None:
    targets = targets_of(["#d6402b"])
    luminance = []
    for wanted in (30.0, 60.0):
        settings = ColourSettings.model_validate({"luminance_cd_m2": wanted})
        scene = (zone_map_of(targets, cycling=(0,)), part_with_sheet(), transfer_of([800.0]))
        drive = solve_drive(*scene, settings)
        assert drive.hue_cycle is not None
        assert white_cd_m2(scene[2], drive) == pytest.approx(wanted, rel=1e-6)
        luminance.append(float(np.mean(np.array(drive.hue_cycle.xyz_cd)[:, 1])))
    # Codes are whole, some tens of them here: a step is 2 to 5 % of a channel's light.
    assert luminance[1] / luminance[0] == pytest.approx(2.0, rel=0.05)


def test_luminance_out_of_reach_says_how_much_there_is_and_where_to_mend_it() -> None:
    part, emission = reference_part("rgb_linear", **SHEET)
    scene = (zone_map_of(targets_of(["#ffffff"])), part, transfer_of([10.0]))
    drive = solve_drive(*scene, ColourSettings.model_validate({"luminance_cd_m2": 5000.0}))
    light = float(np.array(drive.zones[0].exact) @ np.array(emission.xyz_cd)[:, 1])
    (told,) = (f for f in drive.findings if f.code == "colour.luminance")
    assert told.where == "colour.luminance_cd_m2"
    assert f"reaches {light * 10.0 * 0.5 / np.pi:.0f} of the 5000 cd/m²" in told.message
    assert "closer pitch" in told.message
    assert "more intensity, a diffuser" in told.message


def test_remarks_on_luminance_and_on_an_uneven_cycle_both_stand() -> None:
    targets = targets_of(["#ffffff", "#d6402b"])
    settings = ColourSettings.model_validate(
        {"luminance_cd_m2": 90_000.0, "cycle_steps": 256, "cycle_period_s": 3600.0}
    )
    drive = solve_drive(
        zone_map_of(targets, cycling=(1,)), part_with_sheet(), transfer_of([9.0, 9.0]), settings
    )
    assert "colour.luminance" in {f.code for f in drive.findings}
    dim = settings.model_copy(update={"luminance_cd_m2": None, "brightness": 0.02})
    drive = solve_drive(
        zone_map_of(targets, cycling=(1,)), part_with_sheet(), transfer_of([9.0, 9.0]), dim
    )
    (told,) = (f for f in drive.findings if f.code == "colour.cycle-uneven")
    assert told.where == "zone 1 zone-1"
    assert "at 2% brightness" in told.message


def test_a_mixed_zone_held_steady_keeps_its_name_and_ignores_colours_without_area() -> None:
    red, blue = (
        replace(t, area_mm2=a) for t, a in zip(targets_of(PALETTE[1:3]), (0.25, 0.0), strict=True)
    )
    scene = zone_map_of([red, blue])
    both = replace(scene.zones[0], kind="mixed", colours=(0, 1))
    drive = solve_drive(
        replace(scene, zones=(both,)), part_with_sheet(), transfer_of([1.0]), ColourSettings()
    )
    assert drive.zones[0].target.name == "zone-0"
    # Light adds in proportion to area: of the second there is none.
    np.testing.assert_allclose(drive.zones[0].target.xyz, red.xyz, atol=1e-7)


def test_a_cycle_too_dim_for_any_code_is_told() -> None:
    targets = targets_of(["#ffffff", "#d6402b"])
    dark = ColourSettings.model_validate({"brightness": 1e-6})
    drive = solve_drive(
        zone_map_of(targets, cycling=(1,)), part_with_sheet(), transfer_of([9.0, 9.0]), dark
    )
    assert drive.hue_cycle is not None
    assert (
        len(set(drive.hue_cycle.codes)) == 1
    )  # a millionth of full light is below half a code of 255
    assert "colour.cycle-uneven" in {f.code for f in drive.findings}
