from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from marquee.colour.emission import emission, missing_for_emission
from marquee.colour.parts import load_part, part_names
from marquee.outputs.pictures.part import draw_part, figure_rows, part_picture
from marquee.outputs.pictures.part_plots import Plot
from marquee.outputs.pictures.sheet import Sheet
from marquee.values import Figure, Part
from tests.colour_parts.rows import rows

DIAGRAM = Plot(x=68, y=126, width_px=500, height_px=477)
RESPONSE = Plot(x=700, y=126, width_px=460, height_px=290)


def sheet_of(name: str) -> tuple[Part, Sheet]:
    part = load_part(name)
    return part, draw_part(part, None if missing_for_emission(part) else emission(part))


def is_near(
    pixels: NDArray[np.uint8], x: float, y: float, colour: tuple[int, int, int], reach_px: int
) -> bool:
    """Return whether a pixel of about that colour lies within reach."""
    column, row = round(x - 0.5), round(y - 0.5)
    window = pixels[row - reach_px : row + reach_px + 1, column - reach_px : column + reach_px + 1]
    return bool((np.abs(window.astype(int) - colour).max(axis=-1) <= 24).any())


@pytest.mark.parametrize("name", part_names())
def test_picture_is_1200_px_wide_plain_and_the_same_twice(name: str) -> None:
    part = load_part(name)
    light = None if missing_for_emission(part) else emission(part)
    first = part_picture(part, light)
    assert first == part_picture(part, light)
    with Image.open(io.BytesIO(first)) as image:
        assert image.width == 1200
        assert image.info == {}  # no date, no software


@pytest.mark.parametrize("name", part_names())
def test_no_text_lies_on_other_text_or_off_the_sheet(name: str) -> None:
    _, sheet = sheet_of(name)
    for number, box in enumerate(sheet.texts):
        assert box.x0 >= 0
        assert box.x1 <= sheet.width_px
        assert box.y0 >= 0
        assert box.y1 <= sheet.height_px
        for other in sheet.texts[number + 1 :]:
            # Lines of a paragraph stand 20 px apart, their rectangles touch by less than a pixel.
            assert not box.meets(other, -1.0), f"{box.text!r} lies on {other.text!r}"


@pytest.mark.parametrize("name", part_names())
def test_every_source_of_the_part_is_written_out(name: str) -> None:
    part, sheet = sheet_of(name)
    written = " ".join(box.text for box in sheet.texts)
    for figure in part.figures.values():
        assert " ".join(figure.source.split()) in written


def test_channels_stand_where_colour_science_puts_them() -> None:
    import colour

    part, sheet = sheet_of("ws2812b")
    pixels = sheet.finished()
    inks = {"R": (204, 40, 36), "G": (24, 140, 60), "B": (36, 84, 200)}
    for channel, row in zip(part.channels, rows("led_model_xy.tsv")[:3], strict=True):
        u, v = colour.xy_to_Luv_uv([float(row["x"]), float(row["y"])])
        x = DIAGRAM.x + (u + 0.06) / 0.71 * DIAGRAM.width_px
        y = DIAGRAM.y + DIAGRAM.height_px - v / 0.62 * DIAGRAM.height_px
        assert is_near(pixels, x, y, inks[channel], 1)


@pytest.mark.parametrize(
    "row",
    [r for r in rows("scope_ws2812s.tsv") if int(r["code"]) > 1],
    ids=lambda r: f"code {r['code']}",
)
def test_drawn_response_passes_the_oscilloscope_readings(row: dict[str, str]) -> None:
    _, sheet = sheet_of("ws2812b")
    code, light = int(row["code"]), float(row["duty_percent"]) / 94.75
    x = RESPONSE.x + np.log(code) / np.log(255) * RESPONSE.width_px
    y = RESPONSE.y - np.log10(light) / 4 * RESPONSE.height_px
    # 72 px a decade: the 5 % the reading and the fit may differ are under 2 px.
    x = min(x, RESPONSE.x + RESPONSE.width_px - 2)
    assert is_near(sheet.finished(), x, y, sheet.theme.accent, 2)


def test_a_part_without_optics_says_what_is_missing() -> None:
    part, sheet = sheet_of("apa102")
    written = " ".join(box.text for box in sheet.texts)
    assert "Colour unknown" in written
    for key in missing_for_emission(part):
        assert key in written


def test_a_makers_odd_words_are_drawn_safely(tmp_path: Path) -> None:
    path = tmp_path / "odd.toml"
    row = (
        '{ value = "\\u001b[31m \\u202e", unit = "x", status = "measured", source = "a\\u0007 b" }'
    )
    path.write_text(
        'name = "odd"\nbased_on = "sk6812"\ntitle = "t\\u001b[0m"\n'
        f"[background]\n{'long' * 200} = {row}\n",
        encoding="utf-8",
    )
    part = load_part(str(path))
    sheet = draw_part(part, emission(part, "cie-2015-10"))
    assert all(box.text.isprintable() for box in sheet.texts)
    assert all(box.x1 <= sheet.width_px for box in sheet.texts)


def test_amber_shares_its_row_with_the_other_channels() -> None:
    figure = Figure(value=500.0, unit="mcd", status="data sheet", source="a sheet")
    part = replace(
        load_part("ws2812b"),
        figures={f"intensity_{c}_mcd": figure for c in ("r", "g", "b", "a")},
    )
    (row,), others = figure_rows(part, [])
    assert not others
    assert row[0] == "intensity R G B A"
