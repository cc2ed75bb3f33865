"""Swatch sheet: each colour as wanted, as its bytes come out, and as raw bytes would, side by side."""

from __future__ import annotations

from marquee.colour.singles import Singles
from marquee.outputs.colours import bytes_text, gamut_word, heading, screens
from marquee.outputs.pictures.sheet import HEADING_PX, ROW_PX, Lettering, Sheet
from marquee.outputs.pictures.style import MARGIN_PX, SMALL_PX, WIDTH_PX, ink_on, plain

_PATCH_WIDTH_PX, _PATCH_HEIGHT_PX = 206, 84
_NAME_PX = 232
_GAP_PX = 14
# A sheet of more would be taller than viewers open.
MOST_COLOURS = 150


def swatches_picture(found: Singles) -> bytes:
    """Return the PNG; the three patches of a colour touch, so that the eye sees what differs."""
    return draw_swatches(found).png()


def draw_swatches(found: Singles) -> Sheet:
    """Return the sheet of `swatches_picture`."""
    count = min(len(found.solution.zones), MOST_COLOURS)
    pitch = _PATCH_HEIGHT_PX + _GAP_PX
    top = HEADING_PX + ROW_PX
    sheet = Sheet(WIDTH_PX, top + pitch * count + 4 * ROW_PX)
    title, facts = heading(found)
    sheet.heading(plain(title), plain(facts))
    _heads(sheet, HEADING_PX)
    for number in range(count):
        _colour(sheet, found, number, top + pitch * number)
    quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
    lines = [
        "On this screen: what it cannot show is cut off at its edge, and what is brighter than its white is shown "
        "as bright as it can.",
        "Band: 95 % of parts as bought lie within it of the model; matched: what one white match on the bench "
        "narrows it to.",
    ]
    if count < len(found.solution.zones):
        lines.append(f"The first {count} of {len(found.solution.zones)} colours.")
    for number, line in enumerate(lines):
        y = top + pitch * count + ROW_PX * (number + 1)
        sheet.text(MARGIN_PX, y, line, quiet, WIDTH_PX - 2 * MARGIN_PX)
    return sheet


def _heads(sheet: Sheet, y: int) -> None:
    looks = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
    heads = ("wanted", "as emitted", "raw bytes, as today")
    for number, head in enumerate(heads):
        x = MARGIN_PX + _NAME_PX + number * _PATCH_WIDTH_PX
        sheet.text(x + 2, y + ROW_PX // 2, head, looks)


def _colour(sheet: Sheet, found: Singles, number: int, y: int) -> None:
    zone, raw = found.solution.zones[number], found.raw[number]
    middle = y + _PATCH_HEIGHT_PX // 2
    quiet = Lettering(size_px=SMALL_PX, colour=sheet.theme.muted)
    sheet.text(
        MARGIN_PX, middle - 12, plain(zone.target.name), Lettering(bold=True), _NAME_PX - 16
    )
    sheet.text(MARGIN_PX, middle + 12, zone.target.srgb, quiet)
    patches = screens(found, number)
    captions = (
        "",
        bytes_text(zone.codes, zone.global_code, found.part),
        bytes_text(raw.codes, None, found.part),
    )
    left = MARGIN_PX + _NAME_PX
    width = 3 * _PATCH_WIDTH_PX
    sheet.frame(left, y, width, _PATCH_HEIGHT_PX, sheet.theme.rule)
    for place, (patch, caption) in enumerate(zip(patches, captions, strict=True)):
        x = left + place * _PATCH_WIDTH_PX
        sheet.bar(x, y, _PATCH_WIDTH_PX, _PATCH_HEIGHT_PX, patch)
        looks = Lettering(size_px=SMALL_PX, colour=ink_on(patch))
        sheet.text(x + 8, y + _PATCH_HEIGHT_PX - 14, caption, looks, _PATCH_WIDTH_PX - 16)
    _figures(sheet, found, number, left + width + 24, middle)


def _figures(sheet: Sheet, found: Singles, number: int, x: int, middle: int) -> None:
    zone, raw = found.solution.zones[number], found.raw[number]
    over = "" if zone.spread is None else f" over {zone.spread.of} LEDs"
    gamut = gamut_word(found, number)
    told = "" if gamut == "in" else f", {gamut}"
    band, matched = zone.band_delta_e_2000, zone.band_matched_delta_e_2000
    known = band is not None and matched is not None
    small = Lettering(size_px=SMALL_PX)
    lines = (
        (f"ΔE₀₀ {zone.shown_delta_e_2000:.2f}{over}{told}", Lettering(bold=True)),
        (
            f"band of the part {band:.1f}, matched {matched:.1f}" if known else "band unknown",
            small,
        ),
        (f"raw bytes ΔE₀₀ {raw.delta_e_2000:.1f}", small),
    )
    for place, (line, looks) in enumerate(lines):
        sheet.text(x, middle + 24 * (place - 1), line, looks, WIDTH_PX - MARGIN_PX - x)
