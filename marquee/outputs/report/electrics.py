"""The report's tables about what feeds the chain: figures, feeds, an open feed, other ways, parts."""

from __future__ import annotations

from marquee.errors import printable
from marquee.outputs.report.tables import NONE, Column, Row, Table
from marquee.outputs.words import money_words
from marquee.plan import Plan
from marquee.units import format_length
from marquee.values import Feed, PartsRow, Power
from marquee.values_power import MOST_SAID_RISE_K


def supply_figures(plan: Plan) -> tuple[tuple[str, str], ...]:
    """Return the supply and its currents, voltages, heat and money as name and figure."""
    power = plan.power
    supply = power.supply
    units = f"{supply.count} × " if supply.count > 1 else ""
    owned = ", yours" if power.supply_owned else ""
    cap = "none" if power.brightness_cap >= 1 else f"{power.brightness_cap:.0%} of full"
    cap += "; the planned bytes fit as they are" if power.plan_fits else ""
    rows = [
        ("Supply", f"{units}{supply.volts:g} V, {supply.amps:g} A ({supply.watts:.0f} W){owned}"),
        ("Brightness cap", cap),
        ("Worst case, every channel full", f"{power.worst_case_a:.2f} A"),
        ("As planned", f"{power.planned_a:.2f} A, at most {power.peak_a:.2f} A"),
        ("All dark", f"{power.dark_a:.2f} A"),
        *(("Of that " + printable(name), f"{amps:g} A") for name, amps in power.extra_loads),
        ("Lowest LED", f"{power.min_led_v:.2f} V at LED {power.worst_led}"),
        ("Largest fuse of a feed", f"{power.fuse_a:g} A"),
        ("Heat in the box", f"{power.heat_w:.1f} W"),
    ]
    if power.regulation_v:
        rows.append(("Colours hold down to", f"{power.regulation_v:g} V"))
    if power.box_rise_k is not None:
        hot = power.box_rise_k > MOST_SAID_RISE_K
        said = f"over {MOST_SAID_RISE_K:.0f} K: too hot" if hot else f"{power.box_rise_k:.0f} K"
        rows.append(("The closed box warms by, roughly", said))
    if power.class2:
        rows.append(("Class 2", printable(power.class2)))
    return (*rows, *_running(plan))


def _running(plan: Plan) -> list[tuple[str, str]]:
    power = plan.power
    money = money_words(power.currency)
    paid = "" if power.cost_per_hour is None else f", {power.cost_per_hour:.4f} {money}"
    rows = [("At the wall, an hour", f"{power.energy_wh_per_hour:.1f} Wh{paid}")]
    hours = plan.project.power.hours_per_day
    if power.kwh_per_month is not None and hours is not None:
        cabinets = f"{power.cabinets} cabinet{'' if power.cabinets == 1 else 's'}"
        month = "" if power.cost_per_month is None else f", {power.cost_per_month:.2f} {money}"
        rows.append(
            (
                f"A month of {hours:g} h a day, {cabinets}",
                f"{power.kwh_per_month:.2f} kWh{month}",
            )
        )
    return rows


def feeds_table(plan: Plan) -> Table:
    """Return the feeds: where each joins, its wire, current, drop and fuse."""
    several = plan.power.supply.count > 1
    return Table(
        id="feeds",
        caption="Feeds from the supply to the chain",
        columns=(
            Column(head="feed", kind="word"),
            Column(head="joins", kind="word"),
            Column(head="wire pair", kind="word"),
            Column(head="length", kind="word"),
            Column(head="current", unit="A"),
            Column(head="the wire may carry", unit="A"),
            Column(head="drop", unit="V"),
            Column(head="fuse", unit="A"),
            *((Column(head="supply"),) if several else ()),
        ),
        rows=tuple(
            Row(cells=_feed_cells(number, feed, several))
            for number, feed in enumerate(plan.power.feeds, 1)
        ),
        notes=(
            "Currents and volts at the worst case the brightness cap allows. One fuse a feed, in the plus wire, at the "
            "supply's end.",
        ),
    )


def _feed_cells(number: int, feed: Feed, several: bool) -> tuple[str, ...]:
    return (
        f"F{number}",
        f"pads {feed.pad} LED {feed.at_led}",
        feed.wire,
        format_length(feed.length_mm),
        f"{feed.current_a:.2f}",
        f"{feed.wire_limit_a:g}",
        f"{feed.drop_v:.2f}",
        f"{feed.fuse_a:g}",
        *((f"{feed.supply + 1}",) if several else ()),
    )


def open_feeds_table(power: Power) -> Table | None:
    """Return what happens when a feed comes off or its fuse opens; None with one feed or none worked out."""
    if not power.open_feeds:
        return None
    known = power.regulation_v is not None
    rows = []
    for case in power.open_feeds:
        fuse_a = power.feeds[case.largest_feed].fuse_a
        too_much = case.largest_feed_a > fuse_a
        rows.append(
            Row(
                cells=(
                    f"F{case.feed + 1}",
                    f"{case.min_led_v:.2f}",
                    f"{case.worst_led}",
                    f"{case.below_count}" if known else "unknown",
                    f"F{case.largest_feed + 1}",
                    f"{case.largest_feed_a:.2f}",
                    "may open too" if too_much else "holds",
                )
            )
        )
    return Table(
        id="open-feeds",
        caption="If a feed comes off or its fuse opens",
        columns=(
            Column(head="open", kind="word"),
            Column(head="lowest LED", unit="V"),
            Column(head="at LED"),
            Column(head="LEDs off colour"),
            Column(head="busiest feed", kind="word"),
            Column(head="carries", unit="A"),
            Column(head="its fuse", kind="word"),
        ),
        rows=tuple(rows),
    )


def alternatives_table(power: Power) -> Table | None:
    """Return other ways to power the chain; None where none was looked at."""
    if not power.alternatives:
        return None
    money = printable(power.currency) or "money"
    return Table(
        id="other-ways",
        caption="Other ways to power it",
        columns=(
            Column(head="way", kind="text"),
            Column(head="supply", kind="word"),
            Column(head="cap", unit="%"),
            Column(head="feeds"),
            Column(head="wire", kind="word"),
            Column(head="lowest LED", unit="V"),
            Column(head="worst case", unit="W"),
            Column(head="as planned", unit="W"),
            Column(head="an hour", unit=money),
            Column(head="parts", unit=money),
        ),
        rows=tuple(
            Row(
                cells=(
                    printable(way.title),
                    f"{way.supply.count} × {way.supply.volts:g}\N{NO-BREAK SPACE}V, "
                    f"{way.supply.amps:g}\N{NO-BREAK SPACE}A",
                    f"{100 * way.brightness_cap:.0f}",
                    f"{way.feeds}",
                    way.wire.replace(" ", "\N{NO-BREAK SPACE}"),
                    f"{way.min_led_v:.2f}",
                    f"{way.worst_w:.1f}",
                    f"{way.planned_w:.1f}",
                    _money(way.cost_per_hour, 4),
                    _money(way.parts_cost, 2),
                )
            )
            for way in power.alternatives
        ),
    )


def parts_table(plan: Plan) -> Table:
    """Return what to buy for one cabinet: the rows of parts.csv."""
    power = plan.power
    money = money_words(power.currency)
    without = sum(row.cost is None for row in power.parts)
    foot: tuple[str, ...] = ()
    if power.parts_cost is not None:
        note = f"{without} rows have no price" if without else ""
        foot = ("sum", "", money, "", f"{power.parts_cost:.2f}", note)
    return Table(
        id="parts",
        caption="Parts for one cabinet",
        columns=(
            Column(head="item", kind="name"),
            Column(head="quantity"),
            Column(head="unit", kind="word"),
            Column(head="price", unit=money),
            Column(head="cost", unit=money),
            Column(head="note", kind="text"),
        ),
        rows=tuple(Row(cells=_parts_cells(row)) for row in power.parts),
        foot=foot,
        notes=("Prices are the ones you state under [power] prices; none is looked up.",),
    )


def _parts_cells(row: PartsRow) -> tuple[str, ...]:
    return (
        printable(row.item),
        f"{row.quantity:g}",
        row.unit,
        NONE if row.price is None else f"{row.price:g}",
        _money(row.cost, 2),
        printable(row.note),
    )


def _money(value: float | None, digits: int) -> str:
    return NONE if value is None else f"{value:.{digits}f}"
