"""The parts list of LEDs and wiring, for one cabinet, with the prices the maker states."""

from __future__ import annotations

import difflib
import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from marquee.errors import QuantityError
from marquee.power.fuse import fuse_rule
from marquee.power.supply import parse_supply
from marquee.values import Chain, DataLine, Feed, Part, PartsRow, Supply

PRICE_KEYS = (
    "supply",
    "fuse",
    "holder",
    "wire_m",
    "data_wire_m",
    "capacitor",
    "resistor",
    "buffer",
    "strip_m",
    "led",
    "sheet",
    "face",
    "diffuser",
    "back",
    "paint_m2",
    "controller",
)
# Recommended operating conditions of 74AHCT parts, VCC 4.5 to 5.5 V (TI SCLS510D, Oct 2024).
LOGIC_MOST_V = 5.5
# Spare wire for joints and mistakes: common practice, no source.
_SPARE = 1.1


def price_list(prices: Mapping[str, float], supply: Supply) -> Mapping[str, float]:
    """Return the maker's prices once every key is known and no price is negative.

    ``supply`` prices a supply of any size, ``supply 5V/18A`` that one only and before the other.

    Raises
    ------
    QuantityError
        An unknown key (the nearest valid one is named), what is no supply, or a negative price.
    """
    known: dict[str, float] = {}
    for key, price in sorted(prices.items()):
        if key.startswith("supply "):
            stated = parse_supply(key.removeprefix("supply "), "power.prices")
            if (stated.volts, stated.amps) == (supply.volts, supply.amps):
                known["supply"] = price
        elif key in PRICE_KEYS:
            known[key] = price
        else:
            near = difflib.get_close_matches(key, PRICE_KEYS, n=1, cutoff=0.0)[0]
            raise QuantityError(
                "power.prices",
                f"'{key}' is not on the parts list",
                f"did you mean '{near}'? valid here: {', '.join(PRICE_KEYS)}",
            )
        if price < 0:
            raise QuantityError("power.prices", f"{key} = {price:g} is negative", "correct it")
    return known


def priced(
    rows: tuple[PartsRow, ...], prices: Mapping[str, float]
) -> tuple[tuple[PartsRow, ...], float | None]:
    """Return the rows with price and cost where the maker stated one, and the sum of those."""
    found = tuple(
        replace(row, price=prices[row.key], cost=row.quantity * prices[row.key])
        if row.key in prices
        else row
        for row in rows
    )
    costs = [row.cost for row in found if row.cost is not None]
    return found, sum(costs) if costs else None


def led_parts(chain: Chain, part: Part) -> tuple[PartsRow, ...]:
    """Return the LEDs: metres of strip and its pieces, or single packages for a board."""
    if chain.arrangement == "board":
        count = chain.count * chain.places_mm.shape[1]
        return (PartsRow(item=f"LED {part.name}", quantity=count, unit="pc", key="led"),)
    pieces, each = len(np.unique(chain.row)), chain.places_mm.shape[1]
    one = f", {each} with one address" if each > 1 else ""
    return (
        PartsRow(
            item=f"LED strip {part.name}, pitch {chain.led_pitch_mm:.4g} mm{one}",
            quantity=math.ceil(chain.count * chain.pitch_mm / 100 - 1e-9) / 10,
            unit="m",
            note=f"{chain.count * each} LEDs in {pieces} piece{'s' if pieces > 1 else ''}",
            key="strip_m",
        ),
    )


def wiring_parts(
    supply: Supply,
    owned: bool,
    feeds: tuple[Feed, ...],
    line: DataLine,
    jumpers_mm: NDArray[np.float64],
) -> tuple[PartsRow, ...]:
    """Return supply, fuses, holders, wire, capacitors and data parts with their quantities.

    Parameters
    ----------
    supply : Supply
        With its number.
    owned : bool
        Whether the maker has it already.
    feeds : tuple of Feed
        Their wires and fuses.
    line : DataLine
        Capacitor, resistor, level.
    jumpers_mm : ndarray
        Lengths of the wires between rows, 0 elsewhere [mm].
    """
    rows = [
        _pieces(
            f"DC supply {supply.volts:g} V, {supply.amps:g} A{'' if owned else ' or more'}",
            supply.count,
            "yours" if owned else "enclosed or external, listed for your country",
            # What the maker has costs nothing more.
            key="" if owned else "supply",
        )
    ]
    ratings = Counter(feed.fuse_a for feed in feeds)
    common_v = fuse_rule("blade_volts_dc")
    fuse_note = f"{common_v:g} V DC"
    if supply.volts > common_v:
        fuse_note = f"rated {supply.volts:g} V DC or more, not the common {common_v:g} V"
    rows += [
        _pieces(f"blade fuse {rating_a:g} A", count, fuse_note, key="fuse")
        for rating_a, count in sorted(ratings.items())
    ]
    rows += [
        _pieces("fuse holder for blade fuses", len(feeds), "at the supply's end", key="holder"),
        *_wire_rows(feeds, jumpers_mm),
        _pieces(
            f"capacitor {line.capacitor_uf:g} µF, {line.capacitor_v:g} V or more",
            len(feeds),
            "across the pads of each feed, mind its polarity",
            key="capacitor",
        ),
        _pieces(
            f"resistor {line.resistor_ohm:g} ohm",
            1,
            "in the data wire, at the driver",
            key="resistor",
        ),
    ]
    if line.margin_3v3_v is not None and line.margin_3v3_v < 0:
        note = "where the controller runs on 3.3 V; the buffer itself on 5 V"
        rows.append(_pieces("74AHCT125 or 74HCT125 buffer", 1, note, key="buffer"))
    if supply.volts > LOGIC_MOST_V:
        converter = f"converter {supply.volts:g} V to 5 V, or a 5 V supply with the minus joined"
        rows.append(_pieces(converter, 1, "for the controller, which the rail would destroy"))
    return tuple(rows)


def _pieces(item: str, count: int, note: str, *, key: str = "") -> PartsRow:
    return PartsRow(item=item, quantity=count, unit="pc", note=note, key=key)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _wire_rows(feeds: tuple[Feed, ...], jumpers_mm: NDArray[np.float64]) -> list[PartsRow]:
    name = feeds[0].wire
    one_way_mm = sum(feed.length_mm for feed in feeds) + float(np.sum(jumpers_mm))
    jumpers = int(np.count_nonzero(jumpers_mm))
    joined = f" and {_count(jumpers, 'jumper')}" if jumpers else ""
    note = f"{_count(len(feeds), 'feed')}{joined}, a tenth spare"
    data_mm = feeds[0].length_mm + float(np.sum(jumpers_mm))
    return [
        *(
            PartsRow(
                key="wire_m",
                item=f"wire {name}, {colour}",
                quantity=_metres(one_way_mm),
                unit="m",
                note=note,
            )
            for colour in ("red", "black")
        ),
        PartsRow(
            key="data_wire_m",
            item="thin wire for data, with a ground wire beside it",
            quantity=_metres(data_mm),
            unit="m",
            note=f"from the controller to the first LED{' and between rows' if jumpers else ''}",
        ),
    ]


def _metres(length_mm: float) -> float:
    """Round up to a tenth of a metre, the spare included."""
    return math.ceil(_SPARE * length_mm / 100 - 1e-9) / 10
