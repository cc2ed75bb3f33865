"""What the maker can say: the face, the smallest area, merging, and overrides; and what cannot be lit."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest

from marquee.artwork.zones import find_zones
from marquee.errors import InputError
from marquee.project import ZoneSettings
from marquee.values import ZoneMap
from tests.artwork.drawing import Drawing, as_artwork, emblem


def zones_of(art: Drawing, alpha: np.ndarray | None = None, **stated: Any) -> ZoneMap:
    settings = ZoneSettings.model_validate(stated)
    return find_zones(as_artwork(art.paint(), art.width_mm, alpha), settings, (), 3.0)


def blocks() -> Drawing:
    art = Drawing(100, 40, 4)
    art.box("#d81e2c", 5, 5, 25, 35)
    art.box("#d81e2c", 30, 5, 50, 35)
    art.box("#2346d2", 60, 5, 80, 35)
    return art


def filled(colour: str) -> Drawing:
    art = Drawing(100, 40, 4)
    art.box(colour, 0, 0, 100, 40)
    return art


@pytest.mark.parametrize("colour", ["#000000", "#0a0a0a"])
def test_entirely_dark_artwork_is_refused(colour: str) -> None:
    with pytest.raises(InputError, match="entirely dark"):
        zones_of(filled(colour))


def test_entirely_transparent_artwork_is_refused() -> None:
    art = blocks()
    clear = np.zeros((art.height_px, art.width_px), np.uint8)
    with pytest.raises(InputError, match="entirely transparent"):
        zones_of(art, clear)


def test_one_light_colour_all_over_has_nothing_lit_beside_its_face() -> None:
    with pytest.raises(InputError, match="nothing lit beside the face #ffd21f"):
        zones_of(filled("#ffd21f"))


def test_one_light_colour_all_over_is_lit_when_the_face_is_stated_dark() -> None:
    zones = zones_of(filled("#ffd21f"), face="#000000")
    assert zones.zones[0].area_mm2 == pytest.approx(4000)


def test_a_stated_face_colour_is_left_opaque() -> None:
    zones = zones_of(blocks(), face="#2346d2")
    assert [c.srgb for c in zones.colours] == ["#d81e2c"]


def test_an_unreadable_or_absent_face_colour_is_refused() -> None:
    with pytest.raises(InputError, match="--face"):
        zones_of(blocks(), face="#12")
    with pytest.raises(InputError, match="no flat area of #1fa64a"):
        zones_of(blocks(), face="#1fa64a")
    with pytest.raises(InputError, match="no transparent pixels"):
        zones_of(blocks(), face="alpha")


def test_a_light_background_is_assumed_opaque_and_the_option_named() -> None:
    zones = zones_of(emblem(2, face="#f2ead8"))
    (remark,) = [f for f in zones.findings if f.code == "zones.light-background"]
    assert "--face '#000000'" in remark.message
    assert zones.face_srgb == "#f2ead8"


def test_artwork_filled_to_its_border_with_many_colours_has_no_face_and_says_so() -> None:
    """Three upright bands, as many a flag has."""
    art = Drawing(90, 60, 4)
    for k, colour in enumerate(("#2346d2", "#ffffff", "#d81e2c")):
        art.box(colour, 30 * k, 0, 30 * k + 30, 60)
    zones = zones_of(art)
    assert [z.area_mm2 for z in zones.zones] == pytest.approx([1800] * 3)
    assert "zones.no-face" in [f.code for f in zones.findings]


def test_alpha_can_be_ignored_by_stating_the_face() -> None:
    art = blocks()
    alpha = np.full((art.height_px, art.width_px), 255, np.uint8)
    alpha[:, : art.width_px // 2 + 20] = 0
    assert len(zones_of(art, alpha).colours) == 1


def test_smaller_areas_than_stated_stay_opaque_and_are_counted() -> None:
    art = blocks()
    art.disc("#ffffff", 90, 20, 1)
    assert len(zones_of(art).colours) == 3
    zones = zones_of(art, min_area="4mm2")
    assert len(zones.colours) == 2
    (remark,) = [f for f in zones.findings if f.code == "zones.specks"]
    # A disc of 1 mm radius: 3.14 mm², drawn in pixels of 0.2 mm, its highest pixel at 90, 19 mm.
    (area,) = re.findall(r"1 speck of (\S+) mm²", remark.message)
    assert float(area) == pytest.approx(np.pi, rel=0.08)
    assert re.search(r"at (89|90|91), (19|20) mm, #ffffff", remark.message)
    (value,) = re.findall(r"--min-area (\S+) keeps it", remark.message)
    kept = zones_of(art, min_area=value)
    assert len(kept.colours) == 3
    assert not [f for f in kept.findings if f.code == "zones.specks"]


def test_dots_of_letters_left_out_are_told_with_their_colour_lit_elsewhere() -> None:
    art = blocks()
    colour = zones_of(art).colours[0].srgb
    for x in (86, 90, 94):
        art.disc(colour, x, 8, 0.5)
    (remark,) = [f for f in zones_of(art).findings if f.code == "zones.specks"]
    assert "3 specks" in remark.message
    assert remark.message.count(colour) == 3
    assert "lit elsewhere" in remark.message
    (value,) = re.findall(r"--min-area (\S+) keeps 3 of them", remark.message)
    assert not [f for f in zones_of(art, min_area=value).findings if f.code == "zones.specks"]


def test_merging_is_by_the_stated_difference() -> None:
    art = emblem(2, second="#ffb050")  # CIEDE2000 6 from the first
    assert len(zones_of(art, merge_delta_e=2.0).colours) == 2
    assert len(zones_of(art, merge_delta_e=12.0).colours) == 1


def test_override_splits_an_aperture_off_into_its_own_zone() -> None:
    zones = zones_of(blocks(), override=[{"at": ["40mm", "20mm"], "name": "right door"}])
    assert [z.name for z in zones.zones] == ["red", "right door", "blue"]
    assert [z.apertures for z in zones.zones] == [(0,), (1,), (2,)]
    assert zones.adjacent[0].gap_mm == pytest.approx(5.0, abs=0.05)


def test_override_forces_apertures_of_two_colours_into_one_zone() -> None:
    stated = [{"at": ["10mm", "20mm"], "name": "all"}, {"at": ["70mm", "20mm"], "name": "all"}]
    zones = zones_of(blocks(), override=stated)
    joined = next(z for z in zones.zones if z.name == "all")
    assert (joined.kind, joined.mode, len(joined.colours)) == ("mixed", "hue-cycle", 2)
    assert joined.area_mm2 == pytest.approx(1200)


def test_override_sets_mode_and_colour_of_a_whole_zone() -> None:
    stated = [
        {"at": ["10mm", "20mm"], "mode": "hue-cycle"},
        {"at": ["70mm", "20mm"], "colour": "lab(60% 0 0)"},
    ]
    zones = zones_of(blocks(), override=stated)
    assert [z.mode for z in zones.zones] == ["hue-cycle", "steady"]
    assert zones.colours[zones.zones[1].colours[0]].name == "lab(60% 0 0)"


def test_override_near_a_thin_stroke_finds_it_and_far_from_all_is_refused() -> None:
    near = zones_of(blocks(), override=[{"at": ["26mm", "20mm"], "name": "left"}])
    assert "left" in [z.name for z in near.zones]
    with pytest.raises(InputError, match="no aperture within 2 mm"):
        zones_of(blocks(), override=[{"at": ["95mm", "20mm"], "name": "left"}])
    with pytest.raises(InputError, match="outside the picture"):
        zones_of(blocks(), override=[{"at": ["950mm", "20mm"], "name": "left"}])


def test_a_mixed_zone_of_several_apertures_is_told_how_all_turn_steady() -> None:
    art = Drawing(100, 40, 6)
    for left in (5, 55):
        for k in range(18):
            colour = ("#e2403a", "#f2c230", "#2f8fd0")[k % 3]
            art.box(colour, left + 2 * k, 8, left + 2 * k + 2, 32)
    zones = zones_of(art)
    (remark,) = [f for f in zones.findings if f.code == "zones.mixed"]
    assert "for each of its 2 apertures" in remark.message
    stated = [
        {"at": [f"{x}mm", f"{y}mm"], "colour": "#ff8800", "name": "word"}
        for x, y in (a.centroid_mm for a in zones.apertures)
    ]
    steady = zones_of(art, override=stated)
    assert [(z.name, z.mode, len(z.apertures)) for z in steady.zones] == [("word", "steady", 2)]
    assert not [f for f in steady.findings if f.code == "zones.mixed"]
