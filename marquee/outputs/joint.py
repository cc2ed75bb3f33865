"""Several signs at once: one parts list, one running cost, and what each sign came to."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from marquee import __version__
from marquee.errors import printable
from marquee.outputs.words import counted, supply_words, wrapped
from marquee.plan import Plan
from marquee.values import PartsRow

_PARTS_HEAD = ("item", "quantity", "unit", "price", "cost", "currency", "for")
_RUNNING_HEAD = (
    "sign", "cabinets", "as planned A", "worst case A", "supply", "at the wall W", "kWh a month",
    "cost an hour", "cost a month", "currency",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """One of several signs: what the joint lists need of its plan, or why there is none.

    Currents and watts are of one cabinet; kWh and costs of all its cabinets.
    """

    source: str
    folder: str = ""
    problem: str = ""  # where, what and how to mend it; "" where it was planned
    is_bug: bool = False
    zones: int = 0
    leds: int = 0
    planned_a: float = 0.0
    worst_case_a: float = 0.0
    supply: str = ""
    wall_w: float = 0.0
    cabinets: int = 1
    kwh_per_month: float | None = None
    cost_per_hour: float | None = None
    cost_per_month: float | None = None
    currency: str = ""
    warnings: int = 0
    parts: tuple[PartsRow, ...] = field(default=(), repr=False)


def sign_of(source: str, folder: str, plan: Plan) -> Sign:
    """Return what the joint lists need of a plan."""
    power = plan.power
    supply = power.supply
    hourly = power.cost_per_hour
    return Sign(
        source=source,
        folder=folder,
        zones=len(plan.zone_map.zones),
        leds=plan.chain.count,
        planned_a=power.planned_a,
        worst_case_a=power.worst_case_a,
        supply=supply_words(supply.count, supply.volts, supply.amps),
        wall_w=power.wall_w,
        cabinets=power.cabinets,
        kwh_per_month=power.kwh_per_month,
        cost_per_hour=None if hourly is None else hourly * power.cabinets,
        cost_per_month=power.cost_per_month,
        currency=power.currency,
        warnings=len(plan.findings),
        parts=power.parts,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class JointRow:
    """One thing to buy for all signs; `needed_by` are sign and quantity, its cabinets counted."""

    item: str
    quantity: float
    unit: str
    price: float | None
    cost: float | None
    currency: str
    needed_by: tuple[tuple[str, float], ...]


def joint_parts(signs: Sequence[Sign]) -> tuple[JointRow, ...]:
    """Return the parts of all signs and cabinets, equal items at equal prices in one row, in the order met."""
    rows: dict[tuple[str, str, float | None, str], list[tuple[str, float]]] = {}
    for sign in signs:
        for row in sign.parts:
            currency = sign.currency if row.price is not None else ""
            needed = rows.setdefault((row.item, row.unit, row.price, currency), [])
            needed.append((sign.source, row.quantity * sign.cabinets))
    return tuple(
        JointRow(
            item=item,
            quantity=(quantity := sum(amount for _, amount in needed)),
            unit=unit,
            price=price,
            cost=None if price is None else quantity * price,
            currency=currency,
            needed_by=tuple(needed),
        )
        for (item, unit, price, currency), needed in rows.items()
    )


def sums(costs: Iterable[tuple[float | None, str]]) -> dict[str, float]:
    """Return the sum of each currency's costs; what has none is left out."""
    found: dict[str, float] = {}
    for cost, currency in costs:
        if cost is not None:
            found[currency] = found.get(currency, 0.0) + cost
    return found


def _money(found: dict[str, float], decimals: int) -> str:
    nameless = "" if len(found) == 1 else "in a currency not named"
    return " and ".join(
        f"{cost:.{decimals}f} {c or nameless}".rstrip() for c, cost in found.items()
    )


def joint_files(signs: Sequence[Sign]) -> dict[str, bytes]:
    """Return file name → content of the joint folder."""
    return {
        "summary.txt": joint_text(signs, None).encode(),
        "parts.csv": _parts_csv(signs).encode(),
        "running.csv": _running_csv(signs).encode(),
    }


def _parts_csv(signs: Sequence[Sign]) -> str:
    rows = joint_parts(signs)
    lines = [
        (
            row.item,
            f"{row.quantity:.6g}",
            row.unit,
            "" if row.price is None else f"{row.price:g}",
            "" if row.cost is None else f"{row.cost:.2f}",
            row.currency,
            "; ".join(f"{source}: {amount:.6g}" for source, amount in row.needed_by),
        )
        for row in rows
    ]
    total = sums((row.cost, row.currency) for row in rows)
    lines += [("sum", "", "", "", f"{cost:.2f}", c, "") for c, cost in total.items()]
    lines += [
        (f"not counted: {s.source}", "", "", "", "", "", s.problem) for s in signs if s.problem
    ]
    return _csv(_PARTS_HEAD, lines)


def _running_csv(signs: Sequence[Sign]) -> str:
    good = [sign for sign in signs if not sign.problem]
    lines: list[tuple[str, ...]] = [
        (
            sign.source,
            f"{sign.cabinets}",
            f"{sign.planned_a:.2f}",
            f"{sign.worst_case_a:.2f}",
            sign.supply,
            f"{sign.wall_w:.1f}",
            _figure(sign.kwh_per_month, 2),
            _figure(sign.cost_per_hour, 4),
            _figure(sign.cost_per_month, 2),
            sign.currency,
        )
        for sign in good
    ]
    wall_w = sum(sign.wall_w * sign.cabinets for sign in good)
    cabinets = sum(sign.cabinets for sign in good)
    kwh = _all(sign.kwh_per_month for sign in good)
    lines.append(("all", f"{cabinets}", "", "", "", f"{wall_w:.1f}", _figure(kwh, 2), "", "", ""))
    hourly = sums((sign.cost_per_hour, sign.currency) for sign in good)
    monthly = sums((sign.cost_per_month, sign.currency) for sign in good)
    for currency in dict.fromkeys([*hourly, *monthly]):
        hour, month = (_figure(found.get(currency), n) for found, n in ((hourly, 4), (monthly, 2)))
        lines.append(("sum", "", "", "", "", "", "", hour, month, currency))
    lines += [
        (f"not counted: {s.source}", *[""] * (len(_RUNNING_HEAD) - 1)) for s in signs if s.problem
    ]
    return _csv(_RUNNING_HEAD, lines)


def _all(figures: Iterable[float | None]) -> float | None:
    """Return the sum, or None where a figure is not known: a sum of some would be taken for that of all."""
    known = list(figures)
    return None if None in known or not known else sum(k for k in known if k is not None)


def _figure(value: float | None, decimals: int) -> str:
    return "" if value is None else f"{value:.{decimals}f}"


def _csv(head: Sequence[str], lines: Iterable[Sequence[str]]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(head)
    writer.writerows([printable(cell) for cell in line] for line in lines)
    return stream.getvalue()


def joint_text(signs: Sequence[Sign], folder: str | None) -> str:
    """Return a line a sign, then parts and running cost of all; `folder` is named if given."""
    good = [sign for sign in signs if not sign.problem]
    wide = min(max(len(printable(sign.source)) for sign in signs), 32)
    lines = [f"marquee {__version__}: {len(good)} of {len(signs)} signs planned"]
    for sign in signs:
        lines += _wrapped(f"{printable(sign.source):<{wide}}  ", _told(sign))
    rows = joint_parts(signs)
    priced = sums((row.cost, row.currency) for row in rows)
    without = sum(row.cost is None for row in rows)
    cost = f", {_money(priced, 2)}" if priced else ""
    some = f" ({without} without a price)" if without and priced else ""
    lines += _wrapped(f"{'parts':<11}", f"{len(rows)} rows for all cabinets{cost}{some}")
    lines += _wrapped(f"{'running':<11}", _running(good))
    missing = [printable(sign.source) for sign in signs if sign.problem]
    if missing:
        lines += _wrapped(f"{'missing':<11}", f"not counted in either: {', '.join(missing)}")
    if good:
        lines += _wrapped(
            f"{'safety':<11}", "warnings and cautions stand in each folder's summary.txt"
        )
    if folder is not None:
        lines += _wrapped(f"{'written':<11}", folder)
    return "\n".join(lines) + "\n"


def _told(sign: Sign) -> str:
    if sign.problem:
        return f"not planned: {sign.problem}"
    cabinets = "" if sign.cabinets == 1 else f"{sign.cabinets} cabinets, each "
    warnings = counted(sign.warnings, "warning") if sign.warnings else "no warnings"
    return (
        f"{printable(sign.folder)}/: {cabinets}{counted(sign.zones, 'zone')}, {sign.leds} LEDs, {sign.planned_a:.2f} A of "
        f"{sign.supply}, {sign.wall_w:.1f} W at the wall; {warnings}"
    )


def _running(good: Sequence[Sign]) -> str:
    wall_w = sum(sign.wall_w * sign.cabinets for sign in good)
    told = [f"{wall_w:.1f} W at the wall for all cabinets together"]
    hourly = sums((sign.cost_per_hour, sign.currency) for sign in good)
    if hourly:
        told.append(f"{_money(hourly, 4)} an hour")
    kwh = _all(sign.kwh_per_month for sign in good)
    monthly = sums((sign.cost_per_month, sign.currency) for sign in good)
    if kwh is not None:
        told.append(f"a month {kwh:.2f} kWh" + (f", {_money(monthly, 2)}" if monthly else ""))
    untold = sum(sign.cost_per_hour is None for sign in good)
    if hourly and untold:
        told.append(f"{untold} without a tariff are not in the money")
    return "; ".join(told)


def _wrapped(head: str, text: str) -> list[str]:
    return wrapped(head, text, cut=False)


def joint_dict(signs: Sequence[Sign]) -> dict[str, Any]:
    """Return the joint lists for other programs; a cost is a list with one sum for each currency."""
    rows = joint_parts(signs)
    good = [sign for sign in signs if not sign.problem]
    return {
        "parts": [
            {
                "item": row.item,
                "quantity": row.quantity,
                "unit": row.unit,
                "price": row.price,
                "cost": row.cost,
                "currency": row.currency or None,
                "needed_by": [{"source": s, "quantity": amount} for s, amount in row.needed_by],
            }
            for row in rows
        ],
        "parts_cost": _sums_dict(sums((row.cost, row.currency) for row in rows)),
        "running": {
            "cabinets": sum(sign.cabinets for sign in good),
            "wall_w": sum(sign.wall_w * sign.cabinets for sign in good),
            "kwh_per_month": _all(sign.kwh_per_month for sign in good),
            "cost_per_hour": _sums_dict(sums((s.cost_per_hour, s.currency) for s in good)),
            "cost_per_month": _sums_dict(sums((s.cost_per_month, s.currency) for s in good)),
        },
    }


def _sums_dict(found: dict[str, float]) -> list[dict[str, Any]]:
    return [{"currency": currency or None, "cost": cost} for currency, cost in found.items()]
