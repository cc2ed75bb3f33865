"""Other observers, and the habit of sending a colour's own bytes."""

from pathlib import Path

import numpy as np
import pytest

from marquee.colour.compare import observer_change, raw_bytes
from marquee.colour.drive import drive_for
from marquee.colour.emission import emission
from marquee.project import ColourSettings
from tests.colour.made import REFERENCES, SHEET, reference_part, response, targets_of

D65_XY = (0.3127, 0.3290)
# A W die's row has no dominant wavelength and no width.
WITH_WHITE = {key: (*row, float("nan")) for key, row in SHEET.items()} | {"white_xy": (0.37, 0.37)}


@pytest.mark.parametrize(
    ("observer", "duv", "delta_e"),
    [("cie-2015-2", 0.0075, 5.9), ("cie-2015-10", 0.0106, 11.0), ("cie-1931-2", 0.0, 0.0)],
)
def test_white_matched_for_1931_looks_off_to_others_as_colour_science_computes(
    observer: str, duv: float, delta_e: float
) -> None:
    # RGB LEDs of these spectra matched to daylight D65 by CIE 1931 2°, then seen by the others: computed with
    # colour-science, printed to the digits given.
    part, _ = reference_part("rgb_linear", **SHEET)
    chosen = ColourSettings()
    zones = drive_for(targets_of(["#ffffff"]), part, emission(part), chosen).zones
    change = observer_change(zones, part, chosen, observer)
    # The white is daylight by the components here and a table there; bytes add 0.1 to the difference.
    assert change.white_duv == pytest.approx(duv, abs=2e-4)
    assert change.delta_e_2000[0] == pytest.approx(delta_e, abs=0.3)


@pytest.mark.parametrize("global_bits", [0, 5])
def test_own_observer_sees_each_zone_as_predicted(global_bits: int) -> None:
    part, _ = reference_part("rgb_linear", **SHEET, global_bits=global_bits)
    stated = {"observer": "cie-2015-10", "white": "D50", "brightness": 0.2}
    chosen = ColourSettings.model_validate(stated)
    targets = targets_of(["#ffffff", "#d6402b", "#1f7a8c"])
    zones = drive_for(targets, part, emission(part, "cie-2015-10"), chosen).zones
    change = observer_change(zones, part, chosen, "cie-2015-10")
    assert change.delta_e_2000 == pytest.approx([z.delta_e_2000 for z in zones], abs=1e-6)


PALETTE = (Path(__file__).parents[1] / "data/colour/palette24.txt").read_text("utf-8").split()


@pytest.mark.parametrize("brightness", [1.0, 0.3])
@pytest.mark.parametrize("name", ["rgb_linear", "rgb_ws2812b", "rgbw_neutral"])
def test_raw_bytes_miss_as_far_as_colour_science_computes(name: str, brightness: float) -> None:
    colour = pytest.importorskip("colour")
    part, emitted = reference_part(name, **(SHEET if name != "rgbw_neutral" else WITH_WHITE))
    chosen = ColourSettings.model_validate({"brightness": brightness})
    targets = targets_of(PALETTE)
    white_cd = drive_for(targets, part, emitted, chosen, limited_by="white").scale_cd
    found = raw_bytes(targets, part, chosen, white_cd)
    row = REFERENCES["parts"][name]
    for target, raw in zip(targets, found, strict=True):
        sent = [round(int(target.srgb[at : at + 2], 16) * brightness) for at in (1, 3, 5)]
        assert raw.codes[:3] == tuple(sent)
        assert not any(raw.codes[3:])
        light = response(row["curve"])[sent]
        xyz = light @ np.array(row["XYZ_full_columns"])[:3] / 1000 / white_cd
        lab = colour.XYZ_to_Lab(xyz, D65_XY)
        # The reference columns are printed to five digits.
        assert raw.lab_d65 == pytest.approx(lab, abs=2e-3)
        theirs = colour.delta_E(target.lab_d65, lab, method="CIE 2000")
        assert raw.delta_e_2000 == pytest.approx(theirs, abs=2e-3)
