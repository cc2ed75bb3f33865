"""What a bench found: matched colours before and after in u′v′, what is left of each, and the responses."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from marquee.bench.calibration import Outcome, calibrated_part
from marquee.bench.values import PairResidual
from marquee.colour.calibrated import response_tables
from marquee.colour.emission import emission
from marquee.colour.spaces import xyz_to_uv_prime
from marquee.outputs.pictures.part_plots import (
    GRID,
    INK,
    LINEAR,
    LOCUS,
    SCREEN,
    Plot,
    dashed,
    diagram_place,
    draw_diagram,
)
from marquee.outputs.pictures.sheet import (
    HEADING_PX,
    Column,
    Lettering,
    Sheet,
    draw_table,
    table_height,
)
from marquee.outputs.pictures.style import MARGIN_PX, SMALL_PX, WIDTH_PX, Rgb, plain
from marquee.values import Part

_DIAGRAM = Plot(x=MARGIN_PX + 36, y=HEADING_PX + 30, width_px=500, height_px=477)
_RIGHT = MARGIN_PX + 668
_RATIO = Plot(x=_RIGHT, y=HEADING_PX + 30, width_px=460, height_px=230)
_LEGEND_Y = _RATIO.y + _RATIO.height_px + 66
_TABLE_Y = _DIAGRAM.y + _DIAGRAM.height_px + 70
_ROW_PX, _MOST_ROWS = 22, 40
_BAR_X, _BAR_PX = MARGIN_PX + 360, 560
_BEFORE: Rgb = (150, 156, 166)
_WHITE_INK: Rgb = (90, 90, 90)
_RANGES = (1.1, 1.25, 1.5, 2.0, 4.0, 16.0)
_CODES = (4, 8, 16, 32, 64, 128, 255)


def bench_picture(outcome: Outcome, part: Part) -> bytes:
    """Return the PNG of a calibration, 1200 px wide.

    Parameters
    ----------
    outcome : Outcome
        The calibration with its fits.
    part : Part
        The part as its file describes it.
    """
    return draw_bench(outcome, part).png()


def draw_bench(outcome: Outcome, part: Part) -> Sheet:
    """Return the sheet of `bench_picture`."""
    made = outcome.calibration
    rows = () if outcome.pairs is None else outcome.pairs.residuals
    shown = _worst(rows)
    bars_y = _TABLE_Y + table_height(len(part.channels)) + 30
    height = bars_y + (70 + _ROW_PX * len(shown) if shown else 0) + MARGIN_PX
    sheet = Sheet(WIDTH_PX, height)
    known = calibrated_part(part, made)
    sheet.heading(plain(f"Bench of {made.name}"), plain(made.summary), plain(part.name))
    draw_diagram(sheet, _DIAGRAM, known, emission(known, made.observer))
    nominal = xyz_to_uv_prime(np.array(emission(part, made.observer).xyz_cd))
    corners = nominal[[channel != "W" for channel in part.channels]]
    dashed(sheet, [diagram_place(_DIAGRAM, uv) for uv in (*corners, corners[0])], LINEAR)
    _draw_pairs(sheet, rows)
    _draw_ratio(sheet, part, known)
    before = _before(outcome)
    _draw_legend(sheet, made.observer, before if rows else "")
    _draw_figures(sheet, outcome)
    if shown:
        _draw_bars(sheet, shown, len(rows), before, bars_y)
    return sheet


def _before(outcome: Outcome) -> str:
    """Return what the pairs were judged by before they were fitted."""
    return "by the data sheet" if outcome.meter is None else "by the colorimeter alone"


def _worst(rows: Sequence[PairResidual]) -> list[PairResidual]:
    """Return at most so many rows, in the file's order, the worst of them kept."""
    kept = sorted(rows, key=lambda row: -row.expected_delta_e_2000)[:_MOST_ROWS]
    return [row for row in rows if row in kept]


def _draw_pairs(sheet: Sheet, rows: Sequence[PairResidual]) -> None:
    for row in rows:
        wanted, before, after = (
            diagram_place(_DIAGRAM, np.array(uv))
            for uv in (row.wanted_uv, row.before_uv, row.after_uv)
        )
        sheet.line([before, wanted], _BEFORE, 1)
        sheet.dot(*before, 4, _BEFORE)
        sheet.line([after, wanted], sheet.theme.accent, 2)
        sheet.dot(*after, 4, sheet.theme.accent)
        sheet.dot(*wanted, 5, sheet.theme.ink, 1)


def _draw_ratio(sheet: Sheet, part: Part, known: Part) -> None:
    """Draw each channel's light over the data sheet's, both relative to code 255, against code."""
    codes = np.arange(_CODES[0], 256)
    before, after = response_tables(part)[:, codes], response_tables(known)[:, codes]
    ratio = np.where(before > 0, after / np.where(before > 0, before, 1.0), 1.0)
    far = float(np.abs(np.log(np.maximum(ratio, 1e-3))).max())
    limit = next((r for r in _RANGES if np.log(r) >= far), _RANGES[-1])

    def at(code: float, value: float) -> tuple[float, float]:
        across = np.log(code / _CODES[0]) / np.log(255 / _CODES[0])
        up = np.clip(np.log(max(value, 1e-9)) / np.log(limit), -1, 1)
        return (
            _RATIO.x + float(across) * _RATIO.width_px,
            _RATIO.y + float(1 - up) / 2 * _RATIO.height_px,
        )

    quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted, align="centre")
    right = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted, align="right")
    bottom = _RATIO.y + _RATIO.height_px
    for code in _CODES:
        x, _ = at(code, 1)
        sheet.line([(x, _RATIO.y), (x, bottom)], GRID, 1)
        sheet.text(x, bottom + 14, f"{code}", quiet)
    for value in (1 / limit, limit**-0.5, 1.0, limit**0.5, limit):
        _, y = at(255, value)
        sheet.line([(_RATIO.x, y), (_RATIO.x + _RATIO.width_px, y)], GRID, 1)
        sheet.text(_RATIO.x - 8, y, f"×{value:.2f}", right)
    sheet.text(
        _RATIO.x + _RATIO.width_px / 2, bottom + 36, "code", Lettering(bold=True, align="centre")
    )
    sheet.text(
        _RATIO.x - 50,
        _RATIO.y - 22,
        "response: light of a code over the data sheet's",
        Lettering(bold=True),
    )
    for channel, line in zip(part.channels, ratio, strict=True):
        points = [at(float(c), float(v)) for c, v in zip(codes, line, strict=True)]
        sheet.line(points, INK.get(channel, _WHITE_INK), 2)
    sheet.frame(_RATIO.x, _RATIO.y, _RATIO.width_px, _RATIO.height_px, LOCUS)


def _draw_legend(sheet: Sheet, observer: str, before: str) -> None:
    small = Lettering(size_px=SMALL_PX)
    x, room = _RATIO.x - 50, WIDTH_PX - MARGIN_PX - _RATIO.x
    lines: list[tuple[str, Rgb, str]] = [
        (f"colours this part mixes, as measured (observer {observer})", sheet.theme.ink, "line"),
        ("by its data sheet", LINEAR, "dashes"),
        ("sRGB screens", SCREEN, "dashes"),
    ]
    if before:
        lines += [
            ("colour wanted", sheet.theme.ink, "ring"),
            (f"its bytes {before}", _BEFORE, "dot"),
            ("its bytes as calibrated", sheet.theme.accent, "dot"),
        ]
    for number, (text, colour, mark) in enumerate(lines):
        y = float(_LEGEND_Y + 22 * number)
        ends = [(float(x), y), (x + 34.0, y)]
        if mark == "dashes":
            dashed(sheet, ends, colour)
        elif mark == "line":
            sheet.line(ends, colour, 2)
        else:
            sheet.dot(x + 17, y, 5 if mark == "ring" else 4, colour, int(mark == "ring"))
        sheet.text(x + 46, y, text, small, room)


def _draw_figures(sheet: Sheet, outcome: Outcome) -> None:
    made = outcome.calibration
    n = len(made.channels)
    mean: NDArray[np.float64] = made.posterior.mean
    sd = made.posterior.sd
    width = (WIDTH_PX - 2 * MARGIN_PX - 120) // 3
    columns = (
        Column(head="channel", width_px=120),
        Column(head="light over the data sheet's", width_px=width, align="right"),
        Column(head="peak from the data sheet's, nm", width_px=width, align="right"),
        Column(head="exponent on its response", width_px=width, align="right"),
    )
    rows = [
        (
            channel,
            f"×{np.exp(mean[c]):.3f} ± {100 * sd[c]:.0f} %",
            "" if channel == "W" else f"{mean[n + c]:+.1f} ± {sd[n + c]:.1f}".replace("-", "−"),
            f"{np.exp(mean[2 * n + c]):.3f} ± {100 * sd[2 * n + c]:.0f} %",
        )
        for c, channel in enumerate(made.channels)
    ]
    draw_table(sheet, MARGIN_PX, _TABLE_Y, columns, rows)


def _draw_bars(
    sheet: Sheet, rows: Sequence[PairResidual], count: int, before: str, y: int
) -> None:
    """Draw two bars a pair: its difference before, and by the fit."""
    most = max(5.0, *(max(r.before_delta_e_2000, r.expected_delta_e_2000) for r in rows))
    title = "Difference of each matched pair, CIEDE2000"
    if count > len(rows):
        title += f" (the {len(rows)} worst of {count})"
    sheet.text(MARGIN_PX, y + 12, title, Lettering(bold=True))
    small = Lettering(size_px=SMALL_PX)
    note = f"grey: {before}, red: as calibrated; figures: grey → red; as the other rows alone foretell it"
    sheet.text(MARGIN_PX, y + 34, note, Lettering(size_px=SMALL_PX, colour=sheet.theme.muted))
    for number, row in enumerate(rows):
        middle = y + 62 + _ROW_PX * number
        name = row.name or "unnamed"
        sheet.text(MARGIN_PX, middle, plain(row.place), small, 150)
        sheet.text(MARGIN_PX + 160, middle, plain(name), small, 190)
        for offset, value, colour in (
            (-7, row.before_delta_e_2000, _BEFORE),
            (1, row.after_delta_e_2000, sheet.theme.accent),
        ):
            length = max(1, round(value / most * _BAR_PX))
            sheet.bar(_BAR_X, middle + offset, length, 6, colour)
        told = f"{row.before_delta_e_2000:.1f} → {row.after_delta_e_2000:.1f}; {row.expected_delta_e_2000:.1f}"
        sheet.text(_BAR_X + _BAR_PX + 16, middle, told, small)
