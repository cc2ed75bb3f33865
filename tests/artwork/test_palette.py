"""Palette files: the documented format, its errors, and what colours in it mean."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from marquee.artwork.palette import read_palette
from marquee.artwork.zones import find_zones
from marquee.errors import InputError
from marquee.project import ZoneSettings
from marquee.values import TargetColour
from tests.artwork.drawing import as_artwork, emblem

GOOD = """
schema = 1
name = "Harbour lights"
[[colour]]
name = "Lantern"
value = "#ff9a1e"
[[colour]]
name = "Water"
lab = [68.0, -33.0, -32.0]
white = "D50"
note = "from the guide"
[[colour]]
name = "Lamp green"
xyY = [0.30, 0.60, 0.25]
"""


def palette(tmp_path: Path, text: str) -> tuple[TargetColour, ...]:
    path = tmp_path / "palette.toml"
    path.write_text(text)
    return read_palette(str(path))


def test_every_form_is_read_in_the_file_s_order(tmp_path: Path) -> None:
    lantern, water, lamp = palette(tmp_path, GOOD)
    assert (lantern.name, water.name, lamp.name) == ("Lantern", "Water", "Lamp green")
    assert lantern.srgb == "#ff9a1e"
    # xyY by definition (CIE 15:2018, 7.1): X = xY/y, Z = (1 − x − y)Y/y.
    assert lamp.xyz == pytest.approx((0.125, 0.25, 0.1 / 0.6 * 0.25))
    assert {c.origin for c in (lantern, water, lamp)} == {"palette"}


def test_lab_under_d50_is_the_css_lab_of_the_same_numbers(tmp_path: Path) -> None:
    """CSS Color Module Level 4, 9.3: lab() is under D50."""
    text = GOOD + '[[colour]]\nname = "same"\nvalue = "lab(68% -33 -32)"\n'
    colours = palette(tmp_path, text)
    assert colours[1].xyz == pytest.approx(colours[3].xyz, abs=1e-9)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        (("schema = 1", "schema = 2"), "schema is 2, not 1"),
        (("schema = 1\n", ""), "schema is None"),
        (("[[colour]]", "[[color]]"), "unknown key 'color'; did you mean 'colour'"),
        (("value =", "valeu ="), "unknown key 'valeu'; did you mean 'value'"),
        (('"Water"', '"lantern"'), "given twice"),
        (('white = "D50"\n', ""), "lab without its white"),
        (('white = "D50"', 'white = "D5O"'), "white"),
        (("[68.0, -33.0, -32.0]", "[68.0, -33.0]"), "three numbers"),
        (("[68.0, -33.0, -32.0]", "[680.0, -33.0, -32.0]"), "row 2 .Water."),
        (('"#ff9a1e"', '"#ff9a1"'), "row 1 .Lantern."),
        (('"#ff9a1e"', "16"), "value is not text"),
        (('value = "#ff9a1e"', 'value = "#ff9a1e"\nlab = [1, 2, 3]'), "exactly one of"),
        (('value = "#ff9a1e"\n', ""), "states no colour"),
        (('"Lantern"', '""'), "no usable name"),
        (('"Lantern"', "7"), "no usable name"),
    ],
)
def test_faults_name_the_row_and_the_mend(
    tmp_path: Path, change: tuple[str, str], match: str
) -> None:
    with pytest.raises(InputError, match=match) as caught:
        palette(tmp_path, GOOD.replace(*change))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "text", ["schema = 1", "schema = 1\ncolour = []", "schema = 1\ncolour = 3"]
)
def test_a_palette_without_colours_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(InputError, match="holds no colours"):
        palette(tmp_path, text)


def test_other_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_palette(str(tmp_path / "none.toml"))
    with pytest.raises(InputError, match="is not a file"):
        read_palette(str(tmp_path))
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(InputError, match="is not a file"):
        read_palette(str(tmp_path / "pipe"))
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(InputError, match="not UTF-8"):
        read_palette(str(tmp_path / "bytes.toml"))
    with pytest.raises(InputError, match="is not TOML"):
        palette(tmp_path, "schema = = 1")


def test_artwork_near_a_palette_colour_takes_its_exact_values(tmp_path: Path) -> None:
    art = emblem(2)
    guide = palette(tmp_path, GOOD)
    zones = find_zones(as_artwork(art.paint(), 400), ZoneSettings(), guide, 3.0)
    assert [c.name for c in zones.colours] == ["Lantern", "Water"]
    assert zones.colours[1].xyz == guide[1].xyz
    assert [z.name for z in zones.zones] == ["Lantern", "Water"]
    remarks = {f.code: f.message for f in zones.findings}
    assert "Lamp green" in remarks["zones.palette-unused"]


def test_colours_no_palette_names_are_listed(tmp_path: Path) -> None:
    art = emblem(2, second="#c83cc8")
    zones = find_zones(as_artwork(art.paint(), 400), ZoneSettings(), palette(tmp_path, GOOD), 3.0)
    remarks = {f.code: f.message for f in zones.findings}
    assert "#c83cc8" in remarks["zones.not-in-palette"]
    assert zones.colours[1].origin == "artwork"


def test_two_palette_colours_keep_near_artwork_colours_apart(tmp_path: Path) -> None:
    """Within CIEDE2000 5 of each other two colours would be one; the palette says they are two."""
    art = emblem(2, first="#ff9a1e", second="#ff932c")
    picture = as_artwork(art.paint(), 400)
    text = GOOD.replace(
        '"Water"\nlab = [68.0, -33.0, -32.0]\nwhite = "D50"', '"Ember"\nvalue = "#ff932c"'
    )
    assert len(find_zones(picture, ZoneSettings(), (), 3.0).colours) == 1
    found = find_zones(picture, ZoneSettings(), palette(tmp_path, text), 3.0)
    assert {c.name for c in found.colours} == {"Lantern", "Ember"}
    assert np.isclose(
        sum(c.area_mm2 for c in found.colours), sum(a for _, a, *_ in art.truth()), rtol=0.01
    )
