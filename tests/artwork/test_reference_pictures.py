"""The 14 reference pictures: truth from supersampled label maps drawn outside this project (tests/data/artwork)."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from marquee.artwork.read import read_artwork
from marquee.artwork.zones import find_zones
from marquee.colour.difference import delta_e_2000
from marquee.project import ArtworkSettings, ZoneSettings
from marquee.values import ZoneMap

DATA = Path(__file__).parents[1] / "data" / "artwork"
TRUTH: dict[str, Any] = json.loads((DATA / "truth.json").read_text())
NAMES = sorted(TRUTH)
MIXED = {"s13_gradient", "s14_rainbow"}
WALL_MM = 3.0


@cache
def zones_of(name: str) -> ZoneMap:
    truth = TRUTH[name]
    settings = ArtworkSettings.model_validate(
        {"file": truth["file"], "width": f"{truth['width_mm']}mm"}
    )
    artwork = read_artwork(DATA / "images" / truth["file"], settings)
    return find_zones(artwork, ZoneSettings(), (), WALL_MM)


def matches(name: str) -> tuple[list[int], list[float]]:
    """Index of the found colour nearest to each true one, and its CIEDE2000."""
    found = np.array([c.lab_d65 for c in zones_of(name).colours])
    true = np.array([c["lab"] for c in TRUTH[name]["colours"]])
    distance = delta_e_2000(true[:, None], found[None])
    return distance.argmin(axis=1).tolist(), distance.min(axis=1).tolist()


@pytest.mark.parametrize("name", NAMES)
def test_every_colour_is_found_and_no_false_one(name: str) -> None:
    _, distance = matches(name)
    fewest, most = TRUTH[name]["n_colours"]
    assert max(distance) < 3.0
    assert fewest <= len(zones_of(name).colours) <= most


@pytest.mark.parametrize("name", [n for n in NAMES if n != "s14_rainbow"])
def test_aperture_count_is_exact(name: str) -> None:
    # In s14 the stripes are joined: its truth counts 239 of them in 10 letters and a bar.
    assert len(zones_of(name).apertures) == TRUTH[name]["n_apertures"]


def test_stripes_no_wall_can_part_are_joined_into_letters() -> None:
    assert len(zones_of("s14_rainbow").apertures) == 11


@pytest.mark.parametrize("name", NAMES)
def test_colour_areas_are_within_one_percent(name: str) -> None:
    index, _ = matches(name)
    for k, colour in zip(index, TRUTH[name]["colours"], strict=True):
        assert zones_of(name).colours[k].area_mm2 == pytest.approx(colour["area_mm2"], rel=0.01)


def test_median_aperture_area_is_within_a_fifth_of_a_percent() -> None:
    errors = []
    for name in NAMES:
        if name == "s14_rainbow":
            continue
        found = zones_of(name).apertures
        centres = np.array([a.centroid_mm for a in found])
        for true in TRUTH[name]["apertures"]:
            k = int(np.argmin(np.hypot(*(centres - true["centroid_mm"]).T)))
            errors.append(abs(found[k].area_mm2 / true["area_mm2"] - 1))
    assert np.median(errors) < 0.002


@pytest.mark.parametrize("name", NAMES)
def test_every_needed_neighbour_is_found_with_its_gap(name: str) -> None:
    zones = zones_of(name)
    index, _ = matches(name)
    by_colour = {c["hex"]: k for c, k in zip(TRUTH[name]["colours"], index, strict=True)}
    zone_of = {colour: zone.id for zone in zones.zones for colour in zone.colours}
    gaps = {pair.zones: pair.gap_mm for pair in zones.adjacent}
    for pair in TRUTH[name]["pairs"]:
        i, j = sorted(zone_of[by_colour[pair[side]]] for side in ("a", "b"))
        if i == j or not pair["needs_barrier"]:
            continue
        assert (i, j) in gaps
        if name not in MIXED:
            # The truth measures between eighths of a pixel; we between points a pixel apart.
            assert gaps[i, j] == pytest.approx(pair["gap_mm"], abs=0.25)


@pytest.mark.parametrize("name", NAMES)
def test_mixed_zones_are_exactly_the_inseparable_groups(name: str) -> None:
    mixed = [z for z in zones_of(name).zones if z.kind == "mixed"]
    wanted = [g for g in TRUTH[name]["groups"] if not g["separable"]]
    assert len(mixed) == len(wanted)
    assert all(zone.mode == "hue-cycle" and zone.reason for zone in mixed)


def test_reason_names_colours_stripes_and_wall() -> None:
    (zone,) = [z for z in zones_of("s14_rainbow").zones if z.kind == "mixed"]
    assert zone.reason == "4 colours in 2 mm stripes, wall 3 mm"


@pytest.mark.parametrize("name", NAMES)
def test_maps_and_values_agree(name: str) -> None:
    zones = zones_of(name)
    ids = zones.aperture_of_px
    owner = np.array([a.zone for a in zones.apertures] + [-1])
    assert (owner[ids] == zones.zone_of_px).all()
    assert sum(z.area_mm2 for z in zones.zones) == pytest.approx(
        sum(a.area_mm2 for a in zones.apertures)
    )
    assert [a.id for a in zones.apertures] == list(range(len(zones.apertures)))


@pytest.mark.parametrize("name", ["s01_emblem", "s14_rainbow"])
def test_a_second_run_gives_the_same_map(name: str) -> None:
    first = zones_of(name)
    zones_of.cache_clear()
    second = zones_of(name)
    assert (first.aperture_of_px == second.aperture_of_px).all()
    assert first.zones == second.zones
    assert first.adjacent == second.adjacent
