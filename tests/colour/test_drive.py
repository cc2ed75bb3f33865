"""The drive stage: mutual lightness, white, limits, tables and what it tells the maker."""

import subprocess
import sys
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from marquee.colour.adapt import adaptation_matrix
from marquee.colour.drive import drive_for, gamma_codes, solve_drive
from marquee.colour.emission import emission as emission_of
from marquee.colour.spaces import srgb_encode
from marquee.errors import MarqueeError
from marquee.project import ColourSettings
from marquee.values import Drive
from tests.colour.made import (
    PALETTE,
    PART_NAMES,
    SHEET,
    drive_of,
    part_with_sheet,
    reference_part,
    response,
    targets_of,
    transfer_of,
    zone_map_of,
)


def luminances(drive: Drive, gains: list[float]) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Luminance of each zone from its exact drives, to a common factor."""
    columns = np.array([400.0, 690.0, 190.0])
    return np.array(
        [gain * (columns @ zone.exact) for zone, gain in zip(drive.zones, gains, strict=True)]
    )


def test_keep_holds_the_artworks_luminance_ratios_in_cells_of_unequal_light() -> None:
    gains = [120.0, 40.0, 75.0, 300.0, 90.0, 55.0]
    drive = drive_of(PALETTE, gains)
    expected = np.array([zone.target.xyz[1] for zone in drive.zones])
    ratio = luminances(drive, gains) / expected
    # Luminance is gain × intensity; intensities here are 5-digit prints of the reference columns.
    np.testing.assert_allclose(ratio / ratio[0], 1.0, rtol=2e-6)


def test_the_limiting_zone_has_a_channel_at_full_drive_and_is_named() -> None:
    drive = drive_of(PALETTE, [120.0, 40.0, 75.0, 300.0, 90.0, 55.0])
    assert drive.limiting_zone is not None
    tops = [max(zone.exact) for zone in drive.zones]
    assert tops[drive.limiting_zone] == pytest.approx(1.0, abs=1e-9)
    assert max(tops) <= 1.0


def test_fill_lights_every_zone_to_the_limit_of_its_chromaticity() -> None:
    drive = drive_of(PALETTE, policy="fill")
    assert [max(zone.exact) for zone in drive.zones] == pytest.approx([1.0] * 6, abs=1e-9)


def test_blend_lies_between_as_the_geometric_mean() -> None:
    keep, fill = drive_of(PALETTE), drive_of(PALETTE, policy="fill")
    blend = drive_of(PALETTE, policy="blend", blend=0.3)
    ones = [1.0] * 6
    expected = luminances(keep, ones) ** 0.7 * luminances(fill, ones) ** 0.3
    np.testing.assert_allclose(luminances(blend, ones), expected, rtol=1e-9)


@given(share=st.floats(0.02, 1.0))
@settings(max_examples=20, deadline=None)
def test_exact_drives_are_proportional_to_brightness(share: float) -> None:
    full, dim = drive_of(PALETTE), drive_of(PALETTE, brightness=share)
    for one, other in zip(full.zones, dim.zones, strict=True):
        np.testing.assert_allclose(np.array(one.exact) * share, other.exact, rtol=1e-9, atol=1e-12)
    assert dim.white_intensity_cd == pytest.approx(share * full.white_intensity_cd)


@given(
    rgb=st.lists(st.tuples(*[st.integers(0, 255)] * 3), min_size=1, max_size=8),
    brightness=st.floats(0.01, 1.0),
    part_name=st.sampled_from(PART_NAMES),
    policy=st.sampled_from(["keep", "fill", "blend"]),
)
@settings(max_examples=60, deadline=None)
def test_no_code_or_drive_leaves_its_range(
    rgb: list[tuple[int, int, int]], brightness: float, part_name: str, policy: str
) -> None:
    part, emission = reference_part(part_name)
    targets = targets_of([f"rgb({r} {g} {b})" for r, g, b in rgb])
    chosen = ColourSettings.model_validate({"brightness": brightness, "policy": policy})
    for zone in drive_for(targets, part, emission, chosen).zones:
        assert all(0 <= code <= 255 for code in zone.codes)
        assert all(0 <= share <= 1 for share in zone.exact)
        assert np.isfinite(zone.delta_e_2000)


def test_brighter_greys_never_get_less_light() -> None:
    greys = targets_of([f"rgb({v} {v} {v})" for v in range(256)])
    for part_name in PART_NAMES:
        part, emission = reference_part(part_name)
        solved = drive_for(greys, part, emission, ColourSettings())
        exact = np.array([zone.exact for zone in solved.zones]) @ np.array(emission.xyz_cd)
        assert (np.diff(exact[:, 1]) > 0).all(), part_name


def test_predicted_colour_of_exact_codes_is_the_target() -> None:
    # The largest code is 255 in all channels of this sum of the columns, so no rounding is left.
    part, emission = reference_part("rgb_linear")
    total = np.array(emission.xyz_cd).sum(axis=0)
    x, y = total[0] / total.sum(), total[1] / total.sum()
    white = f"{x:.12f},{y:.12f}"
    solved = drive_for(
        targets_of(["#ffffff"]), part, emission, ColourSettings.model_validate({"white": white})
    )
    assert solved.zones[0].codes == (255, 255, 255)
    assert solved.zones[0].delta_e_2000 < 1e-6
    assert solved.zones[0].predicted_lab_d65 == pytest.approx((100, 0, 0), abs=1e-6)


@pytest.mark.parametrize("adaptation", ["bradford", "cat16"])
@pytest.mark.parametrize("white", ["D50", "3200K", "0.29,0.30"])
def test_white_target_has_the_signs_white_chromaticity(white: str, adaptation: str) -> None:
    part, emission = reference_part("rgb_linear")
    chosen = ColourSettings.model_validate({"white": white, "adaptation": adaptation})
    zone = drive_for(targets_of(["#fff"]), part, emission, chosen).zones[0]
    made = np.array(zone.exact) @ np.array(emission.xyz_cd)
    from marquee.colour.adapt import white_xyz

    np.testing.assert_allclose(made / made[1], white_xyz(white), atol=1e-9)


def test_colours_under_another_white_are_those_colour_science_adapts() -> None:
    colour = pytest.importorskip("colour")
    part, emission = reference_part("rgb_linear")
    d50 = np.array([0.9642, 1.0, 0.8249])
    targets = targets_of(PALETTE[:2])
    chosen = ColourSettings.model_validate({"white": "D50"})
    zones = drive_for(targets, part, emission, chosen).zones
    made = np.array([zone.exact for zone in zones]) @ np.array(emission.xyz_cd)
    white = made[0, 1]
    theirs = colour.chromatic_adaptation(
        np.array(targets[1].xyz),
        colour.xy_to_XYZ([0.3127, 0.3290]),
        d50,
        method="Von Kries",
        transform="Bradford",
    )
    np.testing.assert_allclose(made[1] / white, theirs, atol=1e-9)
    assert adaptation_matrix(d50, d50) == pytest.approx(np.eye(3))


@pytest.mark.parametrize("curve", ["linear", "ws2812b"])
def test_gamma_table_gives_the_code_of_nearest_srgb_light(curve: str) -> None:
    name = "rgb_linear" if curve == "linear" else "rgb_ws2812b"
    table = gamma_codes(reference_part(name)[0])
    light = response(curve)
    assert (table[0], table[255], len(table)) == (0, 255, 256)
    assert (np.diff(table) >= 0).all()
    # IEC 61966-2-1: level v means this much light; no other code may come nearer.
    wanted = np.array([srgb_level_light(v) for v in range(256)])
    best = np.abs(light[None] - wanted[:, None]).min(axis=1)
    np.testing.assert_allclose(np.abs(light[list(table)] - wanted), best, atol=1e-15)
    assert float(srgb_encode(srgb_level_light(128))) == pytest.approx(128 / 255)


def srgb_level_light(level: int) -> float:
    v = level / 255
    return v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4


def test_global_current_lands_nearer_than_codes_alone() -> None:
    plain, emission = reference_part("rgb_linear")
    with_global, _ = reference_part("rgb_linear", global_bits=5)
    for brightness in (1.0, 0.3, 0.1):
        chosen = ColourSettings.model_validate({"brightness": brightness})
        alone = drive_for(targets_of(PALETTE), plain, emission, chosen).zones
        helped = drive_for(targets_of(PALETTE), with_global, emission, chosen).zones
        for one, other in zip(alone, helped, strict=True):
            # Full setting with the codes around the exact ones is among the choices.
            assert other.delta_e_2000 <= one.delta_e_2000 + 0.3
            assert other.global_code is not None
            assert 1 <= other.global_code <= 31
        assert np.mean([z.delta_e_2000 for z in helped]) < np.mean([z.delta_e_2000 for z in alone])


def test_full_global_current_is_kept_full_where_the_maker_asks_for_it() -> None:
    plain, emission = reference_part("rgb_linear")
    with_global, _ = reference_part("rgb_linear", global_bits=5)
    for brightness in (1.0, 0.1):
        chosen = ColourSettings.model_validate(
            {"brightness": brightness, "global_current": "full"}
        )
        zones = drive_for(targets_of(PALETTE), with_global, emission, chosen).zones
        assert [zone.global_code for zone in zones] == [31] * len(PALETTE)
        alone = drive_for(targets_of(PALETTE), plain, emission, chosen).zones
        assert [zone.codes for zone in zones] == [zone.codes for zone in alone]


def test_mixed_zones_run_a_cycle_and_have_no_drive() -> None:
    targets = targets_of(PALETTE)
    drive = solve_drive(
        zone_map_of(targets, cycling=(2, 4)),
        part_with_sheet(),
        transfer_of([100.0] * 6),
        ColourSettings(),
    )
    assert [zone.zone for zone in drive.zones] == [0, 1, 3, 5]
    assert drive.hue_cycle is not None
    assert len(drive.hue_cycle.codes) == 64
    assert drive_of(PALETTE).hue_cycle is None


@pytest.mark.parametrize("name", ["rgb_linear", "rgbw_neutral"])
def test_sign_of_mixed_zones_alone_runs_its_cycle_at_the_parts_own_white(name: str) -> None:
    sheet: dict[str, Any] = dict(SHEET)
    if name == "rgbw_neutral":
        sheet = {
            "dominant_nm": (*SHEET["dominant_nm"], float("nan")),
            "fwhm_nm": (*SHEET["fwhm_nm"], float("nan")),
            "white_xy": (0.37, 0.37),
        }
    part, emission = reference_part(name, **sheet)
    targets = targets_of(["#ffffff", "#d6402b"])
    drive = solve_drive(
        zone_map_of(targets, cycling=(0, 1)), part, transfer_of([9.0, 9.0]), ColourSettings()
    )
    assert drive.zones == ()
    assert drive.limiting_zone is None
    assert drive.hue_cycle is not None
    luminance = np.array(drive.hue_cycle.xyz_cd)[:, 1]
    assert luminance.min() > 0.5 * np.array(emission.xyz_cd)[2, 1]


@pytest.mark.parametrize("name", PART_NAMES)
def test_no_colours_give_no_zones(name: str) -> None:
    part, emission = reference_part(name, intensity_spread=(0.8, 1.5))
    solved = drive_for([], part, emission, ColourSettings(), led_counts=np.zeros(0, np.int64))
    assert solved.zones == ()
    assert solved.limited_by is None


def test_mixed_zone_held_steady_shows_the_light_of_its_colours_together() -> None:
    red, blue = targets_of(["#d6402b", "#1f7a8c"])
    red, blue = replace(red, area_mm2=30.0), replace(blue, area_mm2=10.0)
    scene = zone_map_of([red, blue])
    both = replace(scene.zones[0], kind="mixed", colours=(0, 1))
    drive = solve_drive(
        replace(scene, zones=(both,)), part_with_sheet(), transfer_of([1.0]), ColourSettings()
    )
    # Light adds: a quarter of the one and three quarters of the other.
    mean = 0.75 * np.array(red.xyz) + 0.25 * np.array(blue.xyz)
    np.testing.assert_allclose(drive.zones[0].target.xyz, mean, atol=1e-12)


def test_cell_without_light_does_not_dim_the_others() -> None:
    lit = drive_of(PALETTE[:2], [100.0, 100.0])
    half = drive_of(PALETTE[:2], [100.0, 0.0])
    assert half.zones[0].codes == lit.zones[0].codes


def test_part_without_intensities_is_refused_with_the_key_to_give() -> None:
    part = part_with_sheet(intensity_cd=None)
    targets = targets_of(PALETTE)
    with pytest.raises(MarqueeError, match="intensity_r_mcd"):
        solve_drive(zone_map_of(targets), part, transfer_of([1.0] * 6), ColourSettings())


def test_unknown_white_and_unmixable_white_are_refused() -> None:
    part, emission = reference_part("rgb_linear")
    for white, said in (("D66", "did you mean D65"), ("0.6,0.2", "outside what")):
        chosen = ColourSettings.model_validate({"white": white})
        with pytest.raises(MarqueeError, match=said):
            drive_for(targets_of(["#fff"]), part, emission, chosen)


def test_part_with_two_channels_is_refused() -> None:
    from tests.colour.made import part_of

    part, emission = part_of([[900.0, 400, 0.2], [160.0, 690, 140]], channels="RG")
    with pytest.raises(MarqueeError, match="cannot mix"):
        drive_for(targets_of(["#fff"]), part, emission, ColourSettings())


@pytest.mark.parametrize(
    ("observer", "red", "blue"), [("cie-2015-2", 1.006, 1.124), ("cie-2015-10", 1.136, 1.148)]
)
def test_other_observers_change_white_as_colour_science_computes(
    observer: str, red: float, blue: float
) -> None:
    # Drives of R and B for a D65 look, G held, over those of CIE 1931 2°: computed with colour-science for
    # these spectra and printed to four digits.
    part = part_with_sheet()
    drives = []
    for name in ("cie-1931-2", observer):
        chosen = ColourSettings.model_validate({"observer": name})
        solved = drive_for(targets_of(["#fff"]), part, emission_of(part, name), chosen)
        drives.append(np.array(solved.zones[0].exact))
    change = drives[1] / drives[0]
    np.testing.assert_allclose(change / change[1], [red, 1, blue], atol=3e-3)


def test_same_input_gives_the_same_drive() -> None:
    assert drive_of(PALETTE) == drive_of(PALETTE)


def test_everyday_solves_import_neither_scipy_nor_colour_science() -> None:
    # colour-science alone takes a second to import.
    code = (
        "import sys, numpy as np\n"
        "from tests.colour.made import *\n"
        "from marquee.colour.drive import drive_for\n"
        "from marquee.project import ColourSettings\n"
        "for name in PART_NAMES:\n"
        "    part, emission = reference_part(name, intensity_spread=(0.8, 1.5))\n"
        "    drive_for(targets_of(['#d6402b', '#00ff00']), part, emission, ColourSettings(),\n"
        "              led_counts=np.array([8, 9]))\n"
        "print([m for m in ('scipy', 'colour', 'coloraide', 'cv2', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
