"""What `marquee zones` lists can be used: each aperture's point lies in it and moves it by an override."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

from marquee.artwork.zones import find_zones
from marquee.cli.app import run
from marquee.cli.zones import points_inside
from marquee.errors import InputError
from marquee.project import ZoneSettings, make_project
from tests.artwork.drawing import as_artwork, emblem


def test_every_aperture_s_point_lies_in_it_and_names_it() -> None:
    art = emblem(4)
    picture = as_artwork(art.paint(), art.width_mm)
    zones = find_zones(picture, ZoneSettings(), (), 3.0)
    for aperture, (x, y) in zip(zones.apertures, points_inside(zones), strict=True):
        assert zones.aperture_of_px[int(y * 4), int(x * 4)] == aperture.id
        stated = {"override": [{"at": [f"{x:.1f}mm", f"{y:.1f}mm"], "name": "lamp room"}]}
        moved = find_zones(picture, ZoneSettings.model_validate(stated), (), 3.0)
        (lamp,) = [z for z in moved.zones if z.name == "lamp room"]
        assert lamp.apertures == (aperture.id,)


def test_the_list_is_printed_and_in_json(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    art = emblem(2)
    path = tmp_path / "sign.png"
    Image.fromarray(art.paint()).save(path)
    assert run(["zones", str(path), "--width", "400mm", "--apertures"]) == 0
    assert capsys.readouterr().out.count("at = [") == len(art.truth())
    assert run(["zones", str(path), "--width", "400mm", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)["apertures"]
    areas = sorted(area for _, area, *_ in art.truth())
    assert sorted(a["area_mm2"] for a in listed) == pytest.approx(areas, rel=0.02)


def test_a_palette_s_colour_is_marked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Image.fromarray(emblem(2).paint()).save(tmp_path / "sign.png")
    palette = tmp_path / "hall.toml"
    palette.write_text('schema = 1\n[[colour]]\nname = "Lantern"\nvalue = "#ff9a20"\n')
    flags = ["--width", "400mm", "--palette", str(palette)]
    assert run(["zones", str(tmp_path / "sign.png"), *flags]) == 0
    shown = capsys.readouterr().out
    assert "Lantern (palette)" in shown
    assert shown.count("(palette)") == 1


def test_an_override_s_point_without_units_is_told_how_to_write_it() -> None:
    stated = {
        "artwork": {"file": "a.png", "width": "1m"},
        "zones": {"override": [{"at": [180, 60]}]},
    }
    with pytest.raises(InputError) as caught:
        make_project(stated, "sign.toml")
    assert 'write ["180mm", "60mm"]' in str(caught.value)
