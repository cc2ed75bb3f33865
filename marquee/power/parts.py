"""The parts list of the wiring, for one cabinet."""

from __future__ import annotations

import math
from collections import Counter

import numpy as np
from numpy.typing import NDArray

from marquee.values import DataLine, Feed, PartsRow, Supply

# Spare wire for joints and mistakes: common practice, no source.
_SPARE = 1.1


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
        PartsRow(
            item=f"DC supply {supply.volts:g} V, {supply.amps:g} A{'' if owned else ' or more'}",
            quantity=supply.count,
            unit="pc",
            note="yours" if owned else "enclosed or external, listed for your country",
        )
    ]
    for rating_a, count in sorted(Counter(feed.fuse_a for feed in feeds).items()):
        rows.append(
            PartsRow(item=f"blade fuse {rating_a:g} A", quantity=count, unit="pc", note="32 V DC")
        )
    rows.append(
        PartsRow(
            item="fuse holder for blade fuses",
            quantity=len(feeds),
            unit="pc",
            note="at the supply's end",
        )
    )
    rows += _wire_rows(feeds, jumpers_mm)
    rows.append(
        PartsRow(
            item=f"capacitor {line.capacitor_uf:g} µF, {line.capacitor_v:g} V or more",
            quantity=len(feeds),
            unit="pc",
            note="across the pads of each feed, mind its polarity",
        )
    )
    rows.append(
        PartsRow(
            item=f"resistor {line.resistor_ohm:g} ohm",
            quantity=1,
            unit="pc",
            note="in the data wire, at the driver",
        )
    )
    if line.margin_3v3_v is not None and line.margin_3v3_v < 0:
        rows.append(
            PartsRow(
                item="74AHCT125 or 74HCT125 buffer",
                quantity=1,
                unit="pc",
                note="where the controller runs on 3.3 V; its own supply is the 5 V rail",
            )
        )
    return tuple(rows)


def _wire_rows(feeds: tuple[Feed, ...], jumpers_mm: NDArray[np.float64]) -> list[PartsRow]:
    name = feeds[0].wire
    one_way_mm = sum(feed.length_mm for feed in feeds) + float(np.sum(jumpers_mm))
    jumpers = int(np.count_nonzero(jumpers_mm))
    note = (
        f"{len(feeds)} feeds" + (f" and {jumpers} jumpers" if jumpers else "") + ", a tenth spare"
    )
    data_mm = feeds[0].length_mm + float(np.sum(jumpers_mm))
    return [
        PartsRow(item=f"wire {name}, {colour}", quantity=_metres(one_way_mm), unit="m", note=note)
        for colour in ("red", "black")
    ] + [
        PartsRow(
            item="thin wire for data, with a ground wire beside it",
            quantity=_metres(data_mm),
            unit="m",
            note="from the controller to the first LED and between rows",
        )
    ]


def _metres(length_mm: float) -> float:
    """Round up to a tenth of a metre, the spare included."""
    return math.ceil(_SPARE * length_mm / 100 - 1e-9) / 10
