"""The DC supply: catalogue steps, the maker's own, the brightness cap it allows, Class 2."""

from __future__ import annotations

import functools
import math
import re

from marquee.errors import MarqueeError, QuantityError
from marquee.power.tables import cited, figure, power_table
from marquee.values import Part, Supply

_SUPPLY = re.compile(
    r"\s*([\d.]+)\s*V\s*(?:dc)?\s*[/,x× ]\s*([\d.]+)\s*(A|mA|W)\s*", re.IGNORECASE
)


def supply_rule(key: str) -> float:
    """Return a rule of ``supplies.toml``, such as ``load_fraction``."""
    return figure("supplies.toml", "rules", key)


def supply_cite(key: str) -> str:
    """Return where a rule of ``supplies.toml`` stands."""
    row = power_table("supplies.toml")["rules"][key]
    return f"supply, {key.replace('_', ' ')} {row['value']:g}: {cited(row)}"


@functools.cache
def catalogue(volts: float) -> tuple[tuple[float, float, str], ...]:
    """Return the steps at a voltage, smallest first: (amperes, efficiency, source with its mark)."""
    rows = (r for r in power_table("supplies.toml")["supply"] if r["volts"] == volts)
    return tuple(sorted((r["amps"], r["efficiency"], cited(r)) for r in rows))


def parse_supply(text: str, where: str = "power.supply") -> Supply:
    """Return a supply as typed: ``5V/4A``, ``5 V 20 W``, ``12V/1500mA``.

    Raises
    ------
    QuantityError
        Not a voltage and a current or power, or zero.

    Examples
    --------
    >>> parse_supply("5V/4A").watts
    20.0
    """
    match = _SUPPLY.fullmatch(text)
    try:
        volts, number = (float(match[1]), float(match[2])) if match else (0.0, 0.0)
    except ValueError:
        volts, number = 0.0, 0.0
    if match is None or volts <= 0 or number <= 0:
        raise QuantityError(
            where,
            f"'{text}' is not a supply",
            'write volts and amperes as on its label, such as "5V/4A" or "5V/20W"',
        )
    amps = {"A": number, "MA": number / 1000, "W": number / volts}[match[3].upper()]
    return Supply(volts=volts, amps=amps, watts=volts * amps)


def check_voltage(supply: Supply, part: Part, where: str = "power.supply") -> None:
    """Refuse a supply whose voltage is not the part's.

    Raises
    ------
    MarqueeError
        Above the part's limit, or more than 10 % off its nominal voltage (common practice, no source).
    """
    high_v = part.supply_max_v if part.supply_max_v is not None else 1.1 * part.supply_v
    low_v = 0.9 * part.supply_v
    if low_v <= supply.volts <= high_v:
        return
    fate = "would destroy it" if supply.volts > high_v else "is too little for its colours"
    raise MarqueeError(
        where,
        f"{supply.volts:g} V {fate}: part {part.name} takes {part.supply_v:g} V"
        f" ({low_v:.3g} to {high_v:.3g} V)",
        f"use a {part.supply_v:g} V supply, or a part made for {supply.volts:g} V (marquee parts)",
    )


def usable_a(supply: Supply) -> float:
    """Return what the supplies may be asked for continuously, together [A]: 80 % of the rating."""
    return supply_rule("load_fraction") * supply.amps * supply.count


def cap_for_supply(supply: Supply, lit_a: float, fixed_a: float) -> float:
    """Return the share of full light (0 to 1) a supply allows.

    cap = (0.8 · rating − dark − extra) / lit, at most 1.

    Parameters
    ----------
    supply : Supply
        What the maker owns.
    lit_a : float
        What all channels draw at full, on top of the dark current [A].
    fixed_a : float
        Dark current and extra load, which no cap lowers [A].

    Raises
    ------
    MarqueeError
        Dark current and extra load alone are too much: limit, excess, three ways out.
    """
    left_a = usable_a(supply) - fixed_a
    if left_a >= lit_a:
        return 1.0
    cap = left_a / lit_a
    if cap < 0.01:
        raise MarqueeError(
            "power.supply",
            f"{supply.volts:g} V {supply.amps:g} A gives {usable_a(supply):.2f} A at 80 % of its rating,"
            f" and dark LEDs with the extra load take {fixed_a:.2f} A of it already, so"
            f" {max(fixed_a - usable_a(supply), 0.0):.2f} A are missing before any light",
            f"take a supply of {_step_text(supply.volts, fixed_a + lit_a)}, or fewer LEDs (a larger"
            " pitch), or a part with less dark current",
        )
    return cap


def _step_text(volts: float, load_a: float) -> str:
    best = choose_supply(volts, load_a)
    return f"{best.count} x {best.amps:g} A" if best.count > 1 else f"{best.amps:g} A or more"


def choose_supply(volts: float, load_a: float) -> Supply:
    """Return the smallest catalogue step whose 80 % carries a load, or several equal ones sharing it.

    Parameters
    ----------
    volts : float
        Rail voltage [V]; one the catalogue lacks gives a rating rounded up to whole amperes.
    load_a : float
        Continuous load at worst [A].
    """
    steps = [amps for amps, _, _ in catalogue(volts)]
    fraction = supply_rule("load_fraction")
    if not steps:
        steps = [float(max(1, math.ceil(load_a / fraction - 1e-9)))]
    count = max(1, math.ceil(load_a / (fraction * steps[-1]) - 1e-9))
    amps = next(a for a in steps if fraction * a * count >= load_a * (1 - 1e-9))
    return Supply(volts=volts, amps=amps, watts=volts * amps, count=count)


def efficiency_of(supply: Supply) -> tuple[float, str]:
    """Return the efficiency of a catalogue step near a supply's voltage and rating, and its source."""
    rows = power_table("supplies.toml")["supply"]
    row = min(rows, key=lambda r: (abs(r["volts"] - supply.volts), abs(r["amps"] - supply.amps)))
    return float(row["efficiency"]), cited(row)


def class2_statement(supply: Supply) -> str:
    """Return whether such a supply can be a Class 2 (limited power) source, in a sentence or two."""
    if supply.volts > 30:
        return f"{supply.volts:g} V is above the 30 V this tool's Class 2 figures reach."
    circuit_a = supply_rule("circuit_amps_30v")
    if supply.volts <= 20:
        limit_a = supply_rule("class2_amps_to_20v")
    else:
        limit_a = supply_rule("class2_va_20_to_30v") / supply.volts
    limit_w = limit_a * supply.volts
    if supply.amps <= limit_a + 1e-9:
        return (
            f"{supply.amps:g} A at {supply.volts:g} V is within the Class 2 limit of {limit_a:.3g} A"
            f" ({limit_w:.3g} W): take one that is listed as Class 2 or LPS; the size alone does not make it so."
        )
    return (
        f"{supply.amps:g} A at {supply.volts:g} V is above the Class 2 limit of {limit_a:.3g} A ({limit_w:.3g} W):"
        " not a limited-power source, and no fuse makes it one; wire, fuse and enclose it accordingly. NEC 411"
        f" allows {circuit_a:g} A per secondary circuit up to 30 V; every fused feed here stays below that."
    )
