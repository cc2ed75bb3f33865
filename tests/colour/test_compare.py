"""Other observers and the gamut on the u′v′ diagram."""

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from marquee.colour.compare import gamut_map, observer_change
from marquee.colour.drive import drive_for
from marquee.colour.emission import emission
from marquee.project import ColourSettings
from tests.colour.made import REFERENCES, SHEET, part_of, reference_part, targets_of


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


def test_own_observer_sees_each_zone_as_predicted() -> None:
    part, _ = reference_part("rgb_linear", **SHEET)
    chosen = ColourSettings.model_validate({"observer": "cie-2015-10", "white": "D50"})
    targets = targets_of(["#ffffff", "#d6402b", "#1f7a8c"])
    zones = drive_for(targets, part, emission(part, "cie-2015-10"), chosen).zones
    change = observer_change(zones, part, chosen, "cie-2015-10")
    assert change.delta_e_2000 == pytest.approx([z.delta_e_2000 for z in zones], abs=1e-6)


def test_gamut_corners_are_scipys_convex_hull_of_the_emitters() -> None:
    columns = REFERENCES["parts"]["rgbw_neutral"]["XYZ_full_columns"]
    amber = [*columns, [420.0, 300.0, 1.0], [520.0, 800.0, 10.0]]
    part, emitted = part_of(amber, channels="RGBWAL")
    zones = drive_for(targets_of(["#ffffff"]), part, emitted, ColourSettings()).zones
    found = gamut_map(zones, part, emitted, ColourSettings())
    rows = np.array(amber)
    uv = rows[:, :2] * [4, 9] / (rows @ [1, 15, 3])[:, None]
    hull = uv[ConvexHull(uv).vertices]
    assert len(found.part) == len(hull)
    np.testing.assert_allclose(sorted(found.part), sorted(map(tuple, hull)), atol=1e-12)


def test_arrows_lead_from_target_to_result() -> None:
    part, emitted = reference_part("rgb_linear")
    targets = targets_of(["#ffffff", "color(rec2020 0 1 0)"])
    zones = drive_for(targets, part, emitted, ColourSettings()).zones
    found = gamut_map(zones, part, emitted, ColourSettings())
    # D65: CIE 15, u′ 0.1978, v′ 0.4683.
    assert found.arrows[0][0] == pytest.approx((0.1978, 0.4683), abs=1e-4)
    assert np.linalg.norm(np.subtract(*found.arrows[0])) < 1e-3
    # Rec. 2020 green, x 0.170 y 0.797 (ITU-R BT.2020-2, table 2): u′ 0.0556, v′ 0.5868.
    assert found.arrows[1][0] == pytest.approx((0.0556, 0.5868), abs=1e-4)
    assert np.linalg.norm(np.subtract(*found.arrows[1])) > 0.01
