"""The materials table: physics every row must satisfy, lookups, the maker's own values."""

from __future__ import annotations

import pytest

from marquee.box.materials import box_optics, find_diffuser, find_surface, load_materials
from marquee.errors import QuantityError, UnknownNameError
from marquee.project import BoxSettings
from tests.box.light_made import settings

DIFFUSERS = sorted(load_materials().diffusers)


@pytest.mark.parametrize("name", DIFFUSERS)
def test_no_diffuser_gives_more_light_than_it_gets(name: str) -> None:
    sheet = find_diffuser(name)
    assert sheet.transmittance + sheet.reflectance < 1


@pytest.mark.parametrize("name", DIFFUSERS)
def test_a_diffuser_passes_no_more_than_clear_acrylic(name: str) -> None:
    # Clear PMMA: about 85 % of diffuse light (sheet maker's knowledge base, visible light transmission).
    assert find_diffuser(name).transmittance <= 0.85


def test_a_thicker_sheet_of_one_grade_passes_less() -> None:
    sheets = [find_diffuser(f"opal-pmma-{mm}mm") for mm in (2, 3, 5)]
    assert sheets[0].transmittance > sheets[1].transmittance > sheets[2].transmittance


def test_matt_white_paint_has_the_published_reflectance() -> None:
    # luxoworks.com, lighting dictionary, "reflection": about 0.80.
    assert find_surface("matt-white-paint").reflectance == 0.80


def test_every_figure_of_every_material_has_a_source() -> None:
    table = load_materials()
    rows = [row.figures for row in table.surfaces.values()]
    rows += [row.figures for row in table.diffusers.values()]
    assert all(rows)
    assert all(figure.source for figures in rows for figure in figures.values())


def test_the_defaults_of_a_project_are_rows() -> None:
    assert find_surface(BoxSettings().paint).name == BoxSettings().paint
    assert find_diffuser(BoxSettings().diffuser).name == BoxSettings().diffuser


def test_an_unknown_paint_or_diffuser_names_the_nearest() -> None:
    with pytest.raises(UnknownNameError, match=r"box\.paint.*matt-white-paint"):
        box_optics(settings(paint="mat-white-paint"))
    with pytest.raises(UnknownNameError, match=r"box\.diffuser.*opal-pmma-3mm"):
        box_optics(settings(diffuser="opal-pmma-3"))


def test_a_measured_value_goes_before_the_row() -> None:
    optics = box_optics(settings(transmittance=0.6, reflectance=0.7))
    assert optics.diffuser_transmittance == 0.6
    assert optics.surface_reflectance == 0.7
    row = find_diffuser(BoxSettings().diffuser)
    # What the sheet neither passes nor sends back stays as it was.
    lost = 1 - row.transmittance - row.reflectance
    assert 1 - optics.diffuser_transmittance - optics.diffuser_reflectance == pytest.approx(lost)


def test_a_diffuser_thicker_than_the_box_is_refused() -> None:
    with pytest.raises(QuantityError, match=r"thick.*deeper"):
        box_optics(settings(depth_mm=2.5))


def test_a_paint_that_reflects_everything_is_refused() -> None:
    with pytest.raises(QuantityError, match=r"below 1.*0\.8"):
        box_optics(settings(reflectance=1.0))
