"""What goes with the data wire and each feed: capacitor, series resistor, level, with the arithmetic."""

from __future__ import annotations

from marquee.power.tables import cited, figure, power_table
from marquee.values import DataLine, Part

# Capacitances and rated voltages electrolytic capacitors are commonly sold in (from memory).
_CAPACITORS_UF = (100.0, 220.0, 330.0, 470.0, 680.0, 1000.0)
_CAPACITORS_V = (6.3, 10.0, 16.0, 25.0, 35.0, 50.0, 63.0, 80.0, 100.0)
_TABLE = "data_line.toml"


def data_line_cites() -> tuple[str, ...]:
    """Return the sources of the rules used here."""
    table = power_table(_TABLE)
    rows = [table["data"][key] for key in ("series_ohm", "cable_pf_per_m", "buffer_high_v")]
    rows += [table["bulk"][key] for key in ("step_s", "range_uf")]
    names = (
        "series resistor",
        "cable capacitance",
        "level buffer",
        "capacitor, time",
        "capacitor",
    )
    return tuple(f"{name}: {cited(row)}" for name, row in zip(names, rows, strict=True))


def bulk_capacitor_uf(step_a: float) -> float:
    """Return the capacitor across a strip input [µF]: C = I Δt / ΔV, next standard value, 100 to 1000.

    Examples
    --------
    >>> bulk_capacitor_uf(10.0)
    1000.0
    """
    low, high = power_table(_TABLE)["bulk"]["range_uf"]["value"]
    needed_uf = 1e6 * step_a * figure(_TABLE, "bulk", "step_s") / figure(_TABLE, "bulk", "dip_v")
    wanted = min(max(needed_uf * (1 - 1e-9), low), high)
    return next(c for c in _CAPACITORS_UF if c >= wanted)


def edge_s(resistor_ohm: float, length_mm: float) -> float:
    """Return the 10 to 90 % edge a series resistor leaves [s]: 2.2 R C, cable and one input.

    Examples
    --------
    >>> round(1e9 * edge_s(470.0, 5000.0))
    274
    """
    cable_pf = figure(_TABLE, "data", "cable_pf_per_m") * length_mm / 1000
    picofarad = figure(_TABLE, "data", "input_pf") + cable_pf
    return 2.2 * resistor_ohm * picofarad * 1e-12


def find_data_line(
    part: Part, rail_v: float, busiest_a: float, length_mm: float, ground_rise_v: float
) -> tuple[DataLine, tuple[str, ...]]:
    """Return the parts beside the data wire, and the arithmetic in words.

    Parameters
    ----------
    part : Part
        Its input level and bit times.
    rail_v : float
        Rail voltage [V].
    busiest_a : float
        Current of the busiest feed [A].
    length_mm : float
        Data wire [mm], taken as long as a feed.
    ground_rise_v : float
        Ground rail at the first LED above the supply's minus [V]: it eats the margin.
    """
    # A part's file may ask for 60 V at most, so there always is one.
    least_v = figure(_TABLE, "bulk", "voltage_reserve") * rail_v
    capacitor_v = next(v for v in _CAPACITORS_V if v >= least_v)
    low_ohm, high_ohm = power_table(_TABLE)["data"]["series_ohm"]["value"]
    shortest_s = None if part.bit_ns is None else 1e-9 * min(part.bit_ns)
    # A quarter of the shortest bit part leaves the edge harmless: common practice, no source.
    slow = shortest_s is not None and edge_s(high_ohm, length_mm) > shortest_s / 4
    resistor_ohm = float(low_ohm if slow else high_ohm)
    margins: list[float | None] = [None, None]
    if part.logic_high_v is not None:
        margins = [logic_v - ground_rise_v - part.logic_high_v for logic_v in (3.3, 5.0)]
    line = DataLine(
        capacitor_uf=bulk_capacitor_uf(busiest_a),
        capacitor_v=capacitor_v,
        resistor_ohm=resistor_ohm,
        margin_3v3_v=margins[0],
        margin_5v_v=margins[1],
    )
    return line, _notes(part, line, busiest_a, length_mm, ground_rise_v)


def _notes(
    part: Part, line: DataLine, busiest_a: float, length_mm: float, ground_rise_v: float
) -> tuple[str, ...]:
    step_s, dip_v = figure(_TABLE, "bulk", "step_s"), figure(_TABLE, "bulk", "dip_v")
    notes = [
        f"Capacitor at each feed: {busiest_a:.2f} A x {1e6 * step_s:.0f} µs / {dip_v:g} V ="
        f" {1e6 * busiest_a * step_s / dip_v:.0f} µF, so {line.capacitor_uf:g} µF"
        f" {line.capacitor_v:g} V (100 to 1000 µF is common practice, no source).",
        f"Series resistor {line.resistor_ohm:g} ohm at the driver: edge 2.2 R C ="
        f" {1e9 * edge_s(line.resistor_ohm, length_mm):.0f} ns on {length_mm / 1000:.2g} m of wire.",
    ]
    if line.margin_3v3_v is None or line.margin_5v_v is None or part.logic_high_v is None:
        notes.append(
            f"Data level: unknown, {part.name} gives no input voltage (add logic_high_v to its file)."
        )
        return tuple(notes)
    verdict = (
        "3.3 V logic reaches it directly"
        if line.margin_3v3_v >= 0
        else "3.3 V logic needs an AHCT, HCT or ACT buffer on 5 V (not AHC or HC)"
    )
    notes.append(
        f"Data level at the first LED: high from {part.logic_high_v:g} V, ground raised"
        f" {ground_rise_v:.2f} V; 3.3 V logic {line.margin_3v3_v:+.2f} V, 5 V logic"
        f" {line.margin_5v_v:+.2f} V: {verdict}."
    )
    if line.margin_5v_v < 0:
        notes.append(
            "Even 5 V logic is short: give the first LED its own short ground wire to the driver."
        )
    return tuple(notes)
