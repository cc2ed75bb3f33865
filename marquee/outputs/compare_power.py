"""What changed between two plans' currents, supply, feeds, money and firmware."""

from __future__ import annotations

from collections.abc import Iterator

from marquee.outputs.compare_change import Change, differ, say
from marquee.outputs.compare_read import FeedRow, FirmwareRow, PartRow, PowerRow, SupplyRow
from marquee.outputs.words import supply_words


def power(old: PowerRow, new: PowerRow) -> Iterator[Change]:
    """Yield changes of voltages, currents, supply and feeds."""
    yield from differ("power", "rail", old.rail_v, new.rail_v, ".4g", " V")
    yield from differ("power", "worst case", old.worst_case_a, new.worst_case_a, ".2f", " A")
    yield from differ("power", "as planned", old.planned_a, new.planned_a, ".2f", " A")
    yield from differ("power", "peak as planned", old.peak_a, new.peak_a, ".2f", " A")
    yield from differ("power", "all dark", old.dark_a, new.dark_a, ".2f", " A")
    yield from say("power", "supply", _supply(old.supply), _supply(new.supply))
    cap = old.brightness_cap, new.brightness_cap
    yield from differ("power", "brightness capped at", *cap, ".0%")
    yield from differ("power", "lowest LED", old.min_led_v, new.min_led_v, ".2f", " V")
    yield from differ("power", "heat in the box", old.heat_w, new.heat_w, ".1f", " W")
    if old.feeds is not None and new.feeds is not None:
        yield from _feeds(old.feeds, new.feeds)


def _supply(supply: SupplyRow | None) -> str | None:
    if supply is None:
        return None
    return supply_words(supply.count, supply.volts, supply.amps)


def _feeds(old: tuple[FeedRow, ...], new: tuple[FeedRow, ...]) -> Iterator[Change]:
    yield from differ("power", "feeds", len(old), len(new), "d")
    for k in range(max(len(old), len(new))):
        before = _feed(old[k]) if k < len(old) else None
        after = _feed(new[k]) if k < len(new) else None
        if before != after:
            yield Change(subject="power", what=f"feed {k + 1}", before=before, after=after)


def _feed(feed: FeedRow) -> str:
    told = [f"at LED {feed.at_led}"]
    if feed.length_mm is not None:
        told.append(f"{feed.length_mm:.0f} mm of {feed.wire_name}")
    if feed.current_a is not None:
        told.append(f"{feed.current_a:.2f} A")
    if feed.fuse_a is not None:
        told.append(f"{feed.fuse_a:g} A fuse")
    return ", ".join(told)


def running(old: PowerRow, new: PowerRow) -> Iterator[Change]:
    """Yield changes of what it takes from the wall, in Wh and money."""
    energy = old.energy_wh_per_hour, new.energy_wh_per_hour
    yield from differ("running", "at the wall", *energy, ".1f", " Wh an hour")
    yield from say("running", "currency", old.currency, new.currency)
    for what, before, after, form in (
        ("cost an hour", old.cost_per_hour, new.cost_per_hour, ".4f"),
        ("cost a month", old.cost_per_month, new.cost_per_month, ".2f"),
    ):
        yield from _money("running", what, (before, after), form, (old, new))
    month = old.kwh_per_month, new.kwh_per_month
    yield from differ("running", "energy a month", *month, ".2f", " kWh")


def _money(
    subject: str,
    what: str,
    costs: tuple[float | None, float | None],
    form: str,
    plans: tuple[PowerRow, PowerRow],
) -> Iterator[Change]:
    """Yield the change of a price, also where only one plan has one."""
    shown = [
        None if cost is None else f"{cost:{form}} {plan.currency or ''}".rstrip()
        for cost, plan in zip(costs, plans, strict=True)
    ]
    if shown[0] != shown[1]:
        before, after = (text or "no price" for text in shown)
        yield Change(subject=subject, what=what, before=before, after=after, exact=costs)


def parts(old: PowerRow, new: PowerRow) -> Iterator[Change]:
    """Yield changes of the shopping list: rows that came, went or differ in quantity or price, and the sum."""
    if old.parts is None or new.parts is None:
        return
    before, after = ({row.item: row for row in rows} for rows in (old.parts, new.parts))
    instead = _instead(before, after)
    taken = set(instead.values())
    for item in [*before, *(item for item in after if item not in before and item not in taken)]:
        a, b = before.get(item), after.get(instead.get(item, item))
        shown = [None if row is None else _row(row) for row in (a, b)]
        if b is not None and b.item != item:
            shown[1] = f"{b.item}, {shown[1]}"
        if shown[0] != shown[1]:
            yield Change(subject="parts", what=item, before=shown[0], after=shown[1])
    sums = old.parts_cost, new.parts_cost
    yield from _money("parts", "sum of what has a price", sums, ".2f", (old, new))


def _instead(before: dict[str, PartRow], after: dict[str, PartRow]) -> dict[str, str]:
    """Return which new item stands in the place of an old one: the most alike of the same kind and unit."""
    from difflib import SequenceMatcher

    left = [row for item, row in after.items() if item not in before]
    found: dict[str, str] = {}
    for item, row in before.items():
        if item in after:
            continue
        kind = item.split()[0]
        alike = [r for r in left if r.unit == row.unit and r.item.split()[0] == kind]
        if alike:
            best = max(alike, key=lambda r: SequenceMatcher(None, item, r.item).ratio())
            left.remove(best)
            found[item] = best.item
    return found


def _row(row: PartRow) -> str:
    cost = "" if row.cost is None else f", {row.cost:.2f}"
    return f"{row.quantity:g} {row.unit}".rstrip() + cost


def firmware(old: FirmwareRow, new: FirmwareRow) -> Iterator[Change]:
    """Yield changes of what the constants and one frame take on the controller."""
    yield from say("firmware", "controller", old.controller, new.controller)
    yield from differ("firmware", "tables", old.flash_bytes, new.flash_bytes, "d", " B")
    yield from differ("firmware", "RAM", old.ram_bytes, new.ram_bytes, "d", " B")
    yield from differ("firmware", "a frame", old.frame_ms, new.frame_ms, ".2f", " ms")
