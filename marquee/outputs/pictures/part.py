"""A part's own picture: gamut, response, what a plan reads from its file, and where every figure is from."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from marquee.colour.emission import missing_for_emission
from marquee.colour.part_file import KEYS
from marquee.outputs.pictures.part_plots import (
    LINEAR,
    LOCUS,
    SCREEN,
    Plot,
    dashed,
    draw_diagram,
    draw_response,
)
from marquee.outputs.pictures.sheet import (
    HEADING_PX,
    ROW_PX,
    Column,
    Lettering,
    Sheet,
    draw_table,
    table_height,
)
from marquee.outputs.pictures.style import (
    BODY_PX,
    MARGIN_PX,
    SMALL_PX,
    WIDTH_PX,
    Rgb,
    plain,
    plain_long,
)
from marquee.outputs.pictures.wrap import wrap
from marquee.values import Emission, Figure, Part

_DIAGRAM = Plot(x=MARGIN_PX + 36, y=HEADING_PX + 30, width_px=500, height_px=477)
_RESPONSE = Plot(x=MARGIN_PX + 668, y=HEADING_PX + 30, width_px=460, height_px=290)
_TABLES_Y = _DIAGRAM.y + _DIAGRAM.height_px + 70
_FULL_PX = WIDTH_PX - 2 * MARGIN_PX
_CHANNEL = re.compile(r"_([rgbaw])(?=_|$)")
_LINE_PX, _LONGEST = 20, 600
# The figure tables' columns: head, width [px], height of the letters [px].
_COLUMNS = (
    ("figure", 190, BODY_PX),
    ("value", 280, BODY_PX),
    ("how it is known", 190, BODY_PX),
    ("source", 60, BODY_PX),
    ("note", WIDTH_PX - 2 * MARGIN_PX - 720, SMALL_PX),
)
Rows = list[tuple[str, ...]]
Cells = list[list[str]]
Groups = dict[tuple[str, ...], list[tuple[str, Figure]]]


def part_picture(part: Part, emission: Emission | None) -> bytes:
    """Return the PNG of a part, 1200 px wide and as high as its figures need.

    Parameters
    ----------
    part : Part
        The part as loaded.
    emission : Emission or None
        What its channels emit; None where the part lacks the figures, which the picture then names.
    """
    return draw_part(part, emission).png()


def draw_part(part: Part, emission: Emission | None) -> Sheet:
    """Return the sheet of `part_picture`."""
    sources: list[str] = []
    used, shown = figure_rows(part, sources)
    tables = _wrapped(used), _wrapped(shown)
    lines = _source_lines(sources)
    height = _TABLES_Y + table_height(len(part.channels)) + 44
    height += sum(_table_px(rows) for rows in tables) + 44 + _LINE_PX * len(lines)
    sheet = Sheet(WIDTH_PX, height + MARGIN_PX)
    sheet.heading(plain(part.title), _facts(part), plain(part.name))
    draw_diagram(sheet, _DIAGRAM, part, emission)
    draw_response(sheet, _RESPONSE, part)
    _notes(sheet, part, emission)
    y = _channel_table(sheet, part, _TABLES_Y)
    y = _figure_table(sheet, "What a plan reads", tables[0], y + 20)
    y = _figure_table(sheet, "Also published, shown only", tables[1], y)
    _sources(sheet, lines, y)
    return sheet


def figure_rows(part: Part, sources: list[str]) -> tuple[Rows, Rows]:
    """Return table rows (figure, value, status, source number, note): what a plan reads, and the rest.

    Figures of several channels from one source share a row, their values in channel order.

    Parameters
    ----------
    part : Part
    sources : list of str
        Filled with the sources in the order of their numbers, from 1.
    """
    used: Groups = {}
    shown: Groups = {}
    for key, figure in part.figures.items():
        name = re.sub(r" \(\d+\)$", "", key)
        known = name in KEYS
        stem = _CHANNEL.sub("_*", name, count=1) if known else key
        same = (stem, key[len(name) :], figure.status, figure.source)
        (used if known else shown).setdefault(same, []).append((name, figure))
    return (
        [_row(group, sources) for group in used.values()],
        [_row(group, sources) for group in shown.values()],
    )


def _row(group: Sequence[tuple[str, Figure]], sources: list[str]) -> tuple[str, ...]:
    name, figure = group[0]
    values = [_value(f.value) for _, f in group]
    letters = [m[1].upper() for n, _ in group if (m := _CHANNEL.search(n))]
    if len(group) > 1:
        name = f"{_CHANNEL.sub('', name, count=1)}_{'_'.join(letters)}"
    value = values[0] if len(set(values)) == 1 else " / ".join(values)
    unit = "" if figure.unit in {"text", "count", "bool", "xy"} else f" {figure.unit}"
    number = ""
    if figure.source != figure.status:
        if figure.source not in sources:
            sources.append(figure.source)
        number = f"[{sources.index(figure.source) + 1}]"
    notes = list(dict.fromkeys(f.note for _, f in group if f.note))
    cells = (_words(name, figure.unit), value + unit, figure.status, number, "; ".join(notes))
    return tuple(_shown(cell) for cell in cells)


def _words(key: str, unit: str) -> str:
    """Return a key without the unit in its name, which stands beside the value."""
    drop = {"degC": "c"}.get(unit, unit.lower())
    return " ".join(word for word in key.split("_") if word != drop)


def _value(value: Any) -> str:  # noqa: ANN401 -- as TOML gave it
    if isinstance(value, list) and len(value) == 2 and not isinstance(value[0], list):
        return f"{_value(value[0])}–{_value(value[1])}"
    if isinstance(value, list):
        return ", ".join(_value(item) for item in value)
    shown = f"{value:g}" if isinstance(value, float) else f"{value}"
    return shown.replace("-", "−") if isinstance(value, int | float) else shown


def _facts(part: Part) -> str:
    law = {"sum": "currents add up", "largest": "draws its largest channel's current"}
    facts = [
        f"{part.supply_v:g} V",
        part.protocol,
        f"bytes {''.join(part.byte_order)}",
        law[part.current_law],
    ]
    if part.leds_per_pixel > 1:
        facts.append(f"{part.leds_per_pixel} LEDs a pixel")
    if part.global_bits:
        facts.append(f"{part.global_bits}-bit global level")
    return plain(" · ".join(facts))


def _notes(sheet: Sheet, part: Part, emission: Emission | None) -> None:
    small = Lettering(size_px=SMALL_PX)
    x, y = _RESPONSE.x - 60, _RESPONSE.y + _RESPONSE.height_px + 62
    lines: list[tuple[str, Rgb, bool]] = [
        ("light of a code, " + ("measured" if part.response_measured else "assumed, not measured"),
         sheet.theme.accent, False),
        ("light in proportion to code", LINEAR, True),
    ]  # fmt: skip
    if emission is not None:
        lines.append(
            (f"what the colours can mix (observer {emission.observer})", sheet.theme.ink, False)
        )
    lines += [("sRGB screens", SCREEN, True), ("spectral colours, nm", LOCUS, False)]
    for number, (text, colour, is_dashed) in enumerate(lines):
        middle = y + 22 * number
        ends = [(float(x), float(middle)), (x + 34.0, float(middle))]
        if is_dashed:
            dashed(sheet, ends, colour)
        else:
            sheet.line(ends, colour, 2)
        sheet.text(x + 46, middle, text, small, WIDTH_PX - MARGIN_PX - x - 46)
    if emission is None:
        keys = ", ".join(missing_for_emission(part)) or "its emission"
        text = f"Colour unknown: no figures were found for {keys}. Put yours in a part file."
        warn = Lettering(bold=True, colour=sheet.theme.accent)
        for number, line in enumerate(wrap(text, 470, BODY_PX)):
            sheet.text(x, y + 22 * len(lines) + 8 + 20 * number, line, warn)


def _channel_table(sheet: Sheet, part: Part, y: int) -> int:
    columns = (
        Column(head="channel", width_px=90),
        Column(head="intensity, mcd", width_px=170, align="right"),
        Column(head="dominant, nm", width_px=170, align="right"),
        Column(head="published range", width_px=190, align="right"),
        Column(head="width at half maximum, nm", width_px=220, align="right"),
        Column(head="mA at full drive", width_px=150, align="right"),
        Column(head="mA worst case", width_px=_FULL_PX - 990, align="right"),
    )
    rows = [_channel_row(part, number) for number in range(len(part.channels))]
    y = draw_table(sheet, MARGIN_PX, y, columns, rows)
    spread = part.intensity_spread
    notes = [
        "A range stands for its middle; the worst case is the highest published current.",
        ""
        if spread is None
        else f"Intensity from sheet to sheet: {spread[0]:.2f} to {spread[1]:.2f} times these figures.",
    ]
    if part.dark_current_a is not None:
        notes.append(f"Dark current {1000 * part.dark_current_a:g} mA.")
    looks = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
    sheet.text(MARGIN_PX, y + 12, " ".join(note for note in notes if note), looks, _FULL_PX)
    return y + 24


def _channel_row(part: Part, number: int) -> tuple[str, ...]:
    unknown = "unknown"
    channel = part.channels[number]
    dominant = span = width = ""
    if channel == "W":
        dominant = unknown if part.white_xy is None else "xy {:.3f} {:.3f}".format(*part.white_xy)
    else:
        dominant = unknown if part.dominant_nm is None else f"{part.dominant_nm[number]:g}"
        width = unknown if part.fwhm_nm is None else f"{part.fwhm_nm[number]:g}"
        if part.dominant_range_nm is not None:
            span = "{:g} … {:g}".format(*part.dominant_range_nm[number])
    typical, worst = part.channel_current_a, part.channel_current_max_a
    return (
        channel,
        unknown if part.intensity_cd is None else f"{1000 * part.intensity_cd[number]:.0f}",
        dominant,
        span,
        width,
        unknown if typical is None else f"{1000 * typical[number]:.3g}",
        unknown if worst is None else f"{1000 * worst[number]:.3g}",
    )


def _wrapped(rows: Rows) -> list[Cells]:
    """Return each row's cells as lines that fit their columns."""
    return [
        [
            wrap(cell, width - 16, size)
            for cell, (_, width, size) in zip(row, _COLUMNS, strict=True)
        ]
        for row in rows
    ]


def _row_px(cells: Cells) -> int:
    return 8 + _LINE_PX * max(1, *(len(lines) for lines in cells))


def _table_px(rows: list[Cells]) -> int:
    return 24 + ROW_PX + sum(_row_px(cells) for cells in rows) + 26 if rows else 0


def _figure_table(sheet: Sheet, title: str, rows: list[Cells], y: int) -> int:
    if not rows:
        return y
    sheet.text(MARGIN_PX, y + 12, title, Lettering(bold=True))
    head = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
    x = MARGIN_PX
    for name, width, _ in _COLUMNS:
        sheet.text(x, y + 24 + ROW_PX // 2, name, head)
        x += width
    top = y + 24 + ROW_PX
    for cells in rows:
        sheet.bar(MARGIN_PX, top, _FULL_PX, 1, sheet.theme.rule)
        x = MARGIN_PX
        for lines, (_, width, size) in zip(cells, _COLUMNS, strict=True):
            for number, line in enumerate(lines):
                middle = top + 4 + _LINE_PX // 2 + _LINE_PX * number
                sheet.text(x, middle, line, Lettering(size_px=size), width - 8)
            x += width
        top += _row_px(cells)
    return y + _table_px(rows)


def _source_lines(sources: Sequence[str]) -> list[tuple[str, str]]:
    lines: list[tuple[str, str]] = []
    for number, source in enumerate(sources, 1):
        for part, text in enumerate(wrap(_shown(source), _FULL_PX - 44, SMALL_PX)):
            lines.append((f"[{number}]" if part == 0 else "", text))
    return lines


def _shown(text: str) -> str:
    return plain_long(text if len(text) <= _LONGEST else text[:_LONGEST] + "…")


def _sources(sheet: Sheet, lines: Sequence[tuple[str, str]], y: int) -> None:
    sheet.text(MARGIN_PX, y + 12, "Sources", Lettering(bold=True))
    small = Lettering(size_px=SMALL_PX)
    for number, (mark, text) in enumerate(lines):
        middle = y + 40 + _LINE_PX * number
        if mark:
            sheet.text(MARGIN_PX, middle, mark, small)
        sheet.text(MARGIN_PX + 40, middle, text, small)
