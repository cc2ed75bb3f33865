"""What the drive stage tells the maker, and when it keeps quiet."""

import numpy as np

from marquee.colour.drive import solve_drive
from marquee.project import ColourSettings
from marquee.values import Chain, Drive
from tests.colour.made import (
    PALETTE,
    drive_of,
    part_with_sheet,
    targets_of,
    transfer_of,
    zone_map_of,
)


def codes_found(drive: Drive) -> set[str]:
    return {finding.code for finding in drive.findings}


def test_global_current_can_be_left_at_full_and_dimming_is_told() -> None:
    targets = targets_of(PALETTE)
    part = part_with_sheet(global_bits=5)
    scene = (zone_map_of(targets), part, transfer_of([1.0] * 6))
    by_zone = solve_drive(*scene, ColourSettings.model_validate({"brightness": 0.2}))
    full = solve_drive(
        *scene, ColourSettings.model_validate({"brightness": 0.2, "global_current": "full"})
    )
    plain = solve_drive(
        zone_map_of(targets),
        part_with_sheet(),
        transfer_of([1.0] * 6),
        ColourSettings.model_validate({"brightness": 0.2}),
    )
    assert {z.global_code for z in full.zones} == {31}
    assert [z.codes for z in full.zones] == [z.codes for z in plain.zones]
    assert "colour.global-dimmed" in codes_found(by_zone)
    assert "colour.global-dimmed" not in codes_found(full)


def test_dim_codes_are_told_and_bright_ones_not() -> None:
    assert "colour.coarse" in codes_found(drive_of(["#ffffff", "#0b1f3a"]))
    assert "colour.coarse" not in codes_found(drive_of(["#ffffff", "#1f7a8c"]))
    told = next(f for f in drive_of(["#fff", "#0b1f3a"]).findings if f.code == "colour.coarse")
    assert told.where == "zone 1 zone-1"
    assert "32" in told.message


def test_bytes_that_no_led_shows_are_not_remarked_on() -> None:
    targets = targets_of(["#ffffff", "#0b1f3a"])
    scene = (zone_map_of(targets), part_with_sheet(), transfer_of([1.0, 1.0]), ColourSettings())
    found = []
    for zones in ([0, 0, 1], [0, 0, 0]):
        chain = Chain(
            arrangement="strip",
            pitch_mm=10.0,
            x_mm=np.array([0.0, 10.0, 20.0]),
            y_mm=np.zeros(3),
            zone=np.array(zones, np.int16),
            row=np.zeros(3, np.int16),
        )
        found.append("colour.coarse" in codes_found(solve_drive(*scene, chain)))
    assert found == [True, False]


def test_a_colour_of_a_hundredth_of_white_is_told_to_be_nearly_black() -> None:
    # CIE 15: L* = 116 (Y / Yn)^(1/3) - 16 is 10 at Y = 0.0113 Yn. Linear sRGB of code 26 is 0.0103, of code 28 0.0116
    # (IEC 61966-2-1).
    for colour, near in (("#1a1a1a", True), ("#1c1c1c", False)):
        assert ("colour.near-black" in codes_found(drive_of(["#ffffff", colour]))) is near
    (told,) = (f for f in drive_of(["#fff", "#1a1a1a"]).findings if f.code == "colour.near-black")
    assert told.where == "zone 1 zone-1"
    assert "1.0% of white" in told.message
    # Lifted by the policy it is black no more.
    assert "colour.near-black" not in codes_found(drive_of(["#ffffff", "#1a1a1a"], policy="fill"))


def test_unlit_zone_is_told() -> None:
    assert "colour.dark" in codes_found(drive_of(["#ffffff", "#000000"]))


def test_colour_outside_the_gamut_is_told_and_kept_in_hue_or_nearest() -> None:
    pure = "color(rec2020 0 1 0)"
    hue = drive_of(["#ffffff", pure])
    near = drive_of(["#ffffff", pure], out_of_gamut="nearest")
    assert "colour.out-of-gamut" in codes_found(hue)
    assert not hue.zones[1].in_gamut
    assert near.zones[1].delta_e_2000 <= hue.zones[1].delta_e_2000
    assert "colour.out-of-gamut" not in codes_found(drive_of(["#ffffff", "#00c000"]))


def test_zone_that_holds_the_others_back_is_told() -> None:
    held = drive_of(PALETTE, [5.0, 100.0, 100.0, 100.0, 100.0, 100.0])
    told = [f for f in held.findings if f.code == "colour.limited-by"]
    assert [f.where for f in told] == ["zone 0 zone-0"]
    assert held.limiting_zone == 0
    # White in a cell of 20 beside one of 100: in a cell of their mean, 60, it could be 60 / 20 = 3 times brighter.
    # That the near black could be hundreds of times brighter is its own darkness.
    dark = drive_of(["#ffffff", "#1a1a1a"], [20.0, 100.0])
    (told_dark,) = [f for f in dark.findings if f.code == "colour.limited-by"]
    assert "could be 3.0 times brighter" in told_dark.message
    filled = drive_of(PALETTE, [5.0, 100.0, 100.0, 100.0, 100.0, 100.0], policy="fill")
    assert "colour.limited-by" not in codes_found(filled)


def test_dark_colour_lifted_by_fill_is_told() -> None:
    assert "colour.lifted" in codes_found(drive_of(["#ffffff", "#0b1f3a"], policy="fill"))
    assert "colour.lifted" not in codes_found(drive_of(["#ffffff", "#0b1f3a"]))


def test_unmeasured_response_is_told() -> None:
    targets = targets_of(PALETTE)
    drive = solve_drive(
        zone_map_of(targets),
        part_with_sheet(response_measured=False),
        transfer_of([1.0] * 6),
        ColourSettings(),
    )
    assert "colour.response-unmeasured" in codes_found(drive)
