"""Commented CSV files for a maker to fill in at the bench."""

from __future__ import annotations

from marquee.bench.measurements import current_columns, pair_columns, reading_columns
from marquee.values import Part

# White first: it tells all gains at once; then tints, in which every channel still shines.
FIRST_COLOURS = (
    ("white", "#ffffff"),
    ("pale cyan", "#a8e0e6"),
    ("pale magenta", "#e6a8da"),
    ("pale amber", "#f2c98a"),
    ("grey", "#808080"),
    ("pale green", "#b4e0a0"),
)
# Evenly spaced by their logarithm.
_RAMP = (8, 16, 32, 64, 128, 255)

_PAIRS = """\
# Matched pairs: a colour, and the bytes that looked right for it.
# Set the sign's room light as in use, let the LEDs warm up ten minutes, and match each colour beside its print.
#   name        what you call it; may stay empty
#   colour      the wanted colour: #rrggbb, "lab(48% 62 43)", "rgb(20, 180, 160)" (quotes where it holds commas)
#   {letters}       the bytes you ended at, 0 to 255, in this order whatever the order on the wire
{level}#   brightness  share of full light the whole sign had meanwhile, such as 30%; empty means 100%
#   note, date  for you; a date is copied into the calibration
# Rows without bytes are left out: fill in as many as you have. One row helps, six are good. White teaches most.
"""
_READINGS = """\
# Colorimeter readings of one zone in the dark, through the diffuser, meter resting on the face.
#   state       for you
#   {letters}       the bytes shown, 0 to 255
#   x, y, Y     the reading (CIE 1931 2 degrees); or name the columns X, Y, Z instead. Any unit of Y, the same for all
#   note, date  for you; a date is copied into the calibration
# Needed: dark (all bytes 0) and each channel alone at 255. The ramps tell the response of each channel, all together
# whether the supply sags. Rows without a reading are left out.
"""
_CURRENTS = """\
# Supply currents, of a bench supply or a plug-in meter.
#   leds        how many LEDs showed these bytes
#   {letters}       the bytes shown, 0 to 255
#   current_a   amperes at the supply's low-voltage output; or instead of it
#   power_w     watts a plug-in meter shows, with
#   volts       the supply's output and
#   efficiency  of the supply, such as 85%
#   note, date  for you
# Measure on the low-voltage side only; a plug-in meter goes between wall and supply and needs no open mains wire.
# Rows without a current are left out.
"""


def bench_templates(part: Part) -> dict[str, str]:
    """Return file name → text of the three files, ready for this part's channels."""
    letters = ", ".join(channel.lower() for channel in part.channels)
    level = ""
    if part.global_bits:
        level = f"#   global      the part's global setting meanwhile, 1 to {part.global_top}\n"
    return {
        "pairs.csv": _PAIRS.format(letters=letters, level=level) + _pair_rows(part),
        "readings.csv": _READINGS.format(letters=letters) + _reading_rows(part),
        "currents.csv": _CURRENTS.format(letters=letters) + _current_rows(part),
    }


def _pair_rows(part: Part) -> str:
    columns = pair_columns(part)
    rows = [f"{name},{value}" + "," * (len(columns) - 2) for name, value in FIRST_COLOURS]
    return _lines(columns, rows)


def _states(part: Part, ramp: tuple[int, ...]) -> list[tuple[str, tuple[int, ...]]]:
    n = len(part.channels)
    states = [("dark", (0,) * n)]
    for number, channel in enumerate(part.channels):
        for code in ramp:
            alone = tuple(code if c == number else 0 for c in range(n))
            states.append((f"{channel} alone", alone))
    states.append(("all together", (255,) * n))
    return states


def _reading_rows(part: Part) -> str:
    columns = tuple(c for c in reading_columns(part) if c not in {"X", "Z"})
    beside = "," * (len(columns) - 1 - len(part.channels))
    rows = [f"{name},{_joined(codes)}{beside}" for name, codes in _states(part, _RAMP)]
    return _lines(columns, rows)


def _current_rows(part: Part) -> str:
    columns = current_columns(part)
    beside = "," * (len(columns) - 2 - len(part.channels))
    rows = [f"{name},,{_joined(codes)}{beside}" for name, codes in _states(part, (255,))]
    return _lines(columns, rows)


def _joined(codes: tuple[int, ...]) -> str:
    return ",".join(str(code) for code in codes)


def _lines(columns: tuple[str, ...], rows: list[str]) -> str:
    return "\n".join([",".join(columns), *rows]) + "\n"
