"""Where the chain is cut between supplies, and where the maker wants wires to join it."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from marquee.errors import MarqueeError, QuantityError
from marquee.power.ladder import Ladder
from marquee.power.search import Task, Wiring, search_wiring, try_wiring
from marquee.power.supply import usable_a
from marquee.power.wire import Wire
from marquee.values import Chain, Supply


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """LEDs start to stop − 1, on one supply."""

    start: int
    stop: int
    supply: int


def fixed_pads(text: str, count: int) -> NDArray[np.int64] | None:
    """Return the pads of places as typed, ascending, or None for ``auto``.

    Places are ``start``, ``end``, ``middle``, ``after N`` LEDs, separated by commas.

    Raises
    ------
    QuantityError
        A place that is none of these, beyond the chain, or named twice.

    Examples
    --------
    >>> fixed_pads("start,after 90,end", 180).tolist()
    [0, 90, 180]
    """
    if text.strip().lower() == "auto":
        return None
    named = {"start": 0, "middle": count // 2, "end": count}
    pads: list[int] = []
    for word in text.lower().split(","):
        match = re.fullmatch(r"\s*(?:after\s+)?(\d+)\s*", word)
        pad = named.get(word.strip(), int(match[1]) if match else -1)
        if not 0 <= pad <= count:
            raise QuantityError(
                "power.feeds",
                f"'{word.strip()}' is no place on a chain of {count} LEDs",
                f'write start, middle, end or "after N" with N up to {count}, or auto',
            )
        pads.append(pad)
    if len(set(pads)) < len(pads):
        raise QuantityError("power.feeds", f"'{text}' names a place twice", "name each once")
    return np.array(sorted(pads), dtype=np.int64)


def split_chain(
    chain: Chain, led_a: NDArray[np.float64], supply: Supply, extra_a: float
) -> tuple[Piece, ...]:
    """Return the pieces of the chain, one a supply, of nearly equal load; cut between rows if that fits.

    The first supply carries the extra load too.

    Raises
    ------
    MarqueeError
        A supply would run above 80 % by more than one LED's share, or there are more supplies than LEDs: only
        with large loads beside few LEDs.
    """
    total = np.concatenate([[0.0], np.cumsum(led_a)])
    share = (total[-1] + extra_a) / supply.count
    uneven = MarqueeError(
        "power.supply",
        f"{supply.count} supplies of {supply.amps:g} A cannot share {share * supply.count:.1f} A evenly",
        "give the loads beside the LEDs a supply of their own, or use a 12 V part or fewer LEDs",
    )
    if supply.count > chain.count:
        raise uneven
    limit_a = usable_a(replace(supply, count=1))
    starts = np.flatnonzero(np.diff(chain.row) != 0) + 1
    cuts = [0]
    for k in range(1, supply.count):
        aim = int(np.searchsorted(total, k * share - extra_a, side="right")) - 1
        cut = max(aim, cuts[-1] + 1)
        near = starts[starts > cuts[-1]]
        if len(near):
            row = int(near[np.argmin(np.abs(near - cut))])
            if _piece_loads_fit(total, [*cuts, row], extra_a, limit_a, supply.count):
                cut = row
        cuts.append(min(cut, chain.count - (supply.count - k)))
    edges = [*cuts, chain.count]
    pieces = tuple(
        Piece(start=a, stop=b, supply=i) for i, (a, b) in enumerate(itertools.pairwise(edges))
    )
    loads = np.diff(total[edges])
    loads[0] += extra_a
    if supply.count > 1 and float(np.max(loads)) > limit_a + float(np.max(led_a)):
        raise uneven
    return pieces


def _piece_loads_fit(
    total: NDArray[np.float64], cuts: list[int], extra_a: float, limit_a: float, supplies: int
) -> bool:
    loads = np.diff(total[cuts])
    loads[0] += extra_a
    left = supplies - (len(cuts) - 1)
    return bool(np.all(loads <= limit_a)) and total[-1] - total[cuts[-1]] <= left * limit_a


def wire_pieces(
    ladder: Ladder,
    task: Task,
    pieces: tuple[Piece, ...],
    wires: tuple[Wire, ...],
    pads: NDArray[np.int64] | None,
) -> tuple[Wiring, ...]:
    """Return the wiring of each piece, all of one wire: the thickest any of them needs.

    Raises
    ------
    MarqueeError
        Places are given and a piece has none.
    """
    found = [_wire_piece(ladder, task, piece, wires, pads) for piece in pieces]
    thickest = max((w.wire for w in found), key=lambda wire: wire.mm2)
    return tuple(
        wiring
        if wiring.wire is thickest
        else try_wiring(
            ladder.part(piece.start, piece.stop), _task_of(task, piece), wiring.pads, thickest
        )
        for piece, wiring in zip(pieces, found, strict=True)
    )


def _task_of(task: Task, piece: Piece) -> Task:
    return replace(task, led_a=task.led_a[piece.start : piece.stop])


def _wire_piece(
    ladder: Ladder,
    task: Task,
    piece: Piece,
    wires: tuple[Wire, ...],
    pads: NDArray[np.int64] | None,
) -> Wiring:
    part, own = ladder.part(piece.start, piece.stop), _task_of(task, piece)
    if pads is None:
        return search_wiring(part, own, wires)
    last = piece.stop == len(task.led_a)
    inside = pads[(pads >= piece.start) & ((pads < piece.stop) | (last & (pads == piece.stop)))]
    if not len(inside):
        raise MarqueeError(
            "power.feeds",
            f"no wire joins LEDs {piece.start} to {piece.stop - 1}, which need supply {piece.supply + 1}",
            f'add a place there such as "after {(piece.start + piece.stop) // 2}", or use auto',
        )
    tried = [try_wiring(part, own, inside - piece.start, wire) for wire in wires]
    return next((wiring for wiring in tried if wiring.holds), tried[-1])
