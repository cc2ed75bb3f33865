"""Copper wire: resistance by size and temperature, and the current each size may carry."""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass
from typing import Literal

from marquee.errors import QuantityError
from marquee.power.tables import power_table


@dataclass(frozen=True, slots=True, kw_only=True)
class Wire:
    """One size of flexible wire: tinned strands, one conductor.

    `current_a` is what it may carry continuously, and so the largest fuse that protects it.
    """

    name: str
    awg: int | None
    mm2: float
    ohm_per_m_20c: float
    current_a: float
    source: str
    status: str

    @property
    def cite(self) -> str:
        """Size, the current it may carry, and where that figure stands."""
        return f"wire {self.name}, {self.current_a:g} A: {self.source} [{self.status}]"


def awg_diameter_mm(awg: int) -> float:
    """Return the diameter of a solid wire of a gauge [mm].

    ASTM B258: d = 0.127 mm · 92^((36 − n)/39); 36 AWG is 0.005 inch by definition.

    Examples
    --------
    >>> round(awg_diameter_mm(18), 4)
    1.0237
    """
    return 0.127 * math.pow(92.0, (36 - awg) / 39)


def awg_area_mm2(awg: int) -> float:
    """Return the area of a solid wire of a gauge [mm²]."""
    return math.pi * awg_diameter_mm(awg) ** 2 / 4


def solid_ohm_per_m(area_mm2: float) -> float:
    """Return the resistance of a solid copper conductor at 20 °C [Ω/m]: R = ρ/A, IACS copper."""
    resistivity_ohm_m = float(power_table("wire.toml")["copper"]["resistivity_ohm_m"]["value"])
    return resistivity_ohm_m / (area_mm2 * 1e-6)


def copper_factor(conductor_c: float) -> float:
    """Return the resistance of copper at a temperature [°C] over that at 20 °C.

    R(T)/R20 = 1 + 0.00393 (T − 20), IACS annealed copper.

    Examples
    --------
    >>> round(copper_factor(75.0), 4)
    1.2162
    """
    alpha_per_k = float(power_table("wire.toml")["copper"]["alpha_20c_per_k"]["value"])
    return 1.0 + alpha_per_k * (conductor_c - 20.0)


def pair_drop_v(ohm_per_m: float, length_mm: float, current_a: float) -> float:
    """Return the voltage lost in a wire pair [V]: V = 2 I R L, there and back.

    Examples
    --------
    >>> round(pair_drop_v(0.004, 1000.0, 4.0), 3)
    0.032
    """
    return 2.0 * current_a * ohm_per_m * length_mm / 1000.0


@functools.cache
def wire_sizes(system: Literal["awg", "metric"]) -> tuple[Wire, ...]:
    """Return the sizes of a system, thinnest first, from ``wire.toml``."""
    table = power_table("wire.toml")
    factor = table["copper"]["stranded_tinned_factor"]["value"]
    if system == "awg":
        sizes = [
            Wire(
                name=f"{row['awg']} AWG",
                awg=row["awg"],
                mm2=awg_area_mm2(row["awg"]),
                ohm_per_m_20c=factor * solid_ohm_per_m(awg_area_mm2(row["awg"])),
                current_a=row["current_a"],
                source=row["source"],
                status=row["status"],
            )
            for row in table["awg"]
        ]
    else:
        sizes = [
            Wire(
                name=f"{row['mm2']:g} mm²",
                awg=None,
                mm2=row["mm2"],
                ohm_per_m_20c=row["tinned_ohm_per_km_20c"] / 1000,
                current_a=row["current_a"],
                source=row["source"],
                status=row["status"],
            )
            for row in table["metric"]
        ]
    return tuple(sorted(sizes, key=lambda wire: wire.mm2))


def feed_sizes(system: Literal["awg", "metric"]) -> tuple[Wire, ...]:
    """Return the sizes the design chooses from, thinnest first: robust enough, and fit for a strip's pad."""
    rules = power_table("wire.toml")["rules"]
    low, high = rules["thinnest_feed_mm2"]["value"], rules["thickest_feed_mm2"]["value"]
    return tuple(wire for wire in wire_sizes(system) if low <= wire.mm2 <= high)


def wire_named(text: str, where: str) -> Wire:
    """Return the wire of a size as typed: ``18AWG``, ``1.5mm2`` or ``1.5 mm²``.

    Raises
    ------
    QuantityError
        Not a size, or one without a row; the mend lists those there are.
    """
    match = re.fullmatch(
        r"\s*(?:(\d+)\s*AWG|AWG\s*(\d+)|([\d.,]+)\s*mm(?:2|²))\s*", text, re.IGNORECASE
    )
    every = wire_sizes("awg") + wire_sizes("metric")
    names = ", ".join(wire.name for wire in every)
    if match is None:
        raise QuantityError(where, f"'{text}' is not a wire size", f"write one of: {names}")
    number = match[1] or match[2]
    for wire in every:
        if number is not None and wire.awg == int(number):
            return wire
        if number is None and wire.awg is None and match[3].replace(",", ".") == f"{wire.mm2:g}":
            return wire
    raise QuantityError(where, f"no row for wire '{text}' in wire.toml", f"write one of: {names}")
