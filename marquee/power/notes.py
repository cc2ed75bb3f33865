"""The arithmetic of the choices in words, and every source with its mark."""

from __future__ import annotations

import numpy as np

from marquee.power.cost import meter_note, month
from marquee.power.extra import extra_loads, extra_notes, extra_sum
from marquee.power.fuse import fuse_cite, fuse_rule
from marquee.power.ladder import rail_row
from marquee.power.remarks import Decided
from marquee.power.supply import (
    catalogue,
    choose_supply,
    class2_statement,
    supply_cite,
    usable_a,
)
from marquee.power.tables import cited, power_table
from marquee.power.wire import Wire


def feed_cites(wire: Wire) -> tuple[str, ...]:
    """Return the sources of a feed's wire and fuse."""
    return (wire.cite, fuse_cite("load_fraction"))


def all_cites(d: Decided) -> tuple[str, ...]:
    """Return every source the design leans on, with its mark."""
    rail = rail_row(d.basis.chain.arrangement, "loop_ohm_per_m")[1]
    copper = cited(power_table("wire.toml")["copper"]["alpha_20c_per_k"])
    step = next((s for a, _, s in catalogue(d.basis.supply.volts) if a == d.basis.supply.amps), "")
    measured = d.basis.settings.rail_ohm_per_m is not None
    owned = d.basis.owned
    return (
        *d.basis.load.cites,
        supply_cite("load_fraction"),
        supply_cite("class2_amps_to_20v" if d.basis.supply.volts <= 20 else "class2_va_20_to_30v"),
        "supply: as you stated [stated by the maker]"
        if owned or not step
        else f"supply step: {step}",
        *feed_cites(d.design.wirings[0].wire),
        fuse_cite("fast_share_of_supply"),
        fuse_cite("sure_to_open"),
        fuse_cite("pigtail_a"),
        fuse_cite("holder_ohm"),
        fuse_cite("blade_drop_v"),
        f"copper at {d.basis.settings.conductor_c:g} °C: {copper}",
        f"rail {d.basis.loop_ohm_per_m:g} ohm/m: {'as you stated [stated by the maker]' if measured else rail}",
        f"margin {d.basis.settings.margin_v:g} V: {rail_row('sink', 'margin_v')[1]}",
        f"efficiency {d.cost.efficiency:.0%}: {d.efficiency_cite}",
        *(
            (f"current below the regulation voltage: {rail_row('sink', 'collapse_share')[1]}",)
            if d.basis.part.min_regulation_v is not None
            else (f"least LED voltage: {rail_row('sink', 'fallback_share')[1]}",)
        ),
        *(
            (f"jumper slack: {rail_row('jumper', 'slack_mm')[1]}",)
            if len(np.unique(d.basis.chain.row)) > 1 and d.basis.chain.arrangement == "strip"
            else ()
        ),
    )


def all_notes(d: Decided) -> tuple[str, ...]:
    """Return the arithmetic of the choices, a sentence each."""
    load, supply = d.basis.load, d.basis.supply
    law = "largest channel" if d.basis.part.current_law == "largest" else "sum of channels"
    dark_ma, lit_ma = 1000 * float(load.dark_a[0]), 1000 * float(load.lit_a[0])
    usable = usable_a(supply)
    several = f"{supply.count} x " if supply.count > 1 else ""
    notes = [
        f"Worst case: {d.basis.chain.count} LEDs x ({lit_ma:.1f} mA, {law}, + {dark_ma:.2f} mA dark)"
        f" + {extra_sum(extra_loads(d.basis.settings))} = {load.worst_total_a:.2f} A.",
        *extra_notes(d.basis.settings),
        f"Supply: {several}{supply.amps:g} A x 80 % = {usable:.2f} A, asked for at most"
        f" {d.basis.worst_capped_a:.2f} A.",
        *_step_note(d),
        class2_statement(supply),
        *_planned_notes(d),
    ]
    if d.basis.brightness_cap < 1:
        lit_a = float(np.sum(load.lit_a))
        notes.append(
            f"Cap: ({usable:.2f} A - {load.dark_total_a:.2f} A dark and extra) / {lit_a:.2f} A lit"
            f" = {d.basis.brightness_cap:.1%}."
        )
        if d.plan_fits:
            notes.append(
                f"The planned bytes take {load.peak_total_a:.2f} A at most and keep every fuse and voltage, so"
                f" they are shown as they are; the program still holds the sum to {usable:.2f} A."
            )
    notes.extend(_feed_notes(d))
    notes.extend(_cost_notes(d))
    return tuple(notes)


def _step_note(d: Decided) -> list[str]:
    basis = d.basis
    least = choose_supply(basis.supply.volts, basis.load.worst_total_a)
    if basis.owned or basis.supply.amps <= least.amps:
        return []
    fuse_a = max(feed.fuse_a for feed in d.feeds)
    return [
        f"It is one step above {least.amps:g} A, so that a {fuse_a:g} A fuse is at most half the supply's"
        " amperes and a short opens it quickly."
    ]


def _planned_notes(d: Decided) -> list[str]:
    load = d.basis.load
    notes = []
    if load.driven:
        high_a = float(np.sum(load.planned_high_a)) + load.extra_a
        notes.append(
            f"Planned: {load.planned_total_a:.2f} A with the part's typical channel currents, {high_a:.2f} A with"
            " its largest; current follows the light each byte gives (duty), not the byte."
        )
    typical_a, largest_a = d.basis.part.channel_current_a, d.basis.part.channel_current_max_a
    if typical_a is not None and largest_a is not None and max(largest_a) > max(typical_a):
        notes.append(
            f"A strip's revision is seldom known: the worst case takes the largest published figure,"
            f" {1000 * max(largest_a):.3g} mA a channel, the plan the typical one, {1000 * max(typical_a):.3g} mA."
        )
    return notes


def _cost_notes(d: Decided) -> list[str]:
    settings, cost = d.basis.settings, d.cost
    currency = settings.currency or "in the money of your tariff"
    price = "" if cost.cost_per_hour is None else f", {cost.cost_per_hour:.4f} {currency}"
    what = _running_words(d)
    notes = [
        f"Running: {cost.dc_w:.1f} W DC {what} / {cost.efficiency:.0%} = {cost.wall_w:.1f} W at the"
        f" wall, {cost.energy_wh_per_hour:.1f} Wh{price} an hour."
    ]
    monthly = month(cost, settings.hours_per_day, settings.cabinets)
    if monthly is not None:
        kwh, money = monthly
        paid = "" if money is None else f", {money:.2f} {currency}"
        notes.append(
            f"A month of {settings.hours_per_day:g} h a day, {_cabinets(settings.cabinets)}: {kwh:.2f} kWh{paid}."
        )
    if settings.measured_w is not None:
        notes.append(meter_note(settings.measured_w, cost))
    return notes


def _running_words(d: Decided) -> str:
    load = d.basis.load
    share = 1.0 if d.plan_fits else load.held_share(d.basis.brightness_cap)
    words = "as planned" if load.driven else "with every channel full, typical currents"
    return words if share >= 1 else f"{words}, held to {share:.0%} by the cap"


def _cabinets(count: int) -> str:
    return "1 cabinet" if count == 1 else f"{count} cabinets"


def _feed_notes(d: Decided) -> list[str]:
    worst = max(d.feeds, key=lambda feed: feed.current_a)
    least_a = worst.current_a / fuse_rule("load_fraction")
    notes = [
        f"Busiest feed {worst.current_a:.2f} A: {worst.current_a:.2f} / 0.75 = {least_a:.2f} A <= fuse"
        f" {worst.fuse_a:g} A <= {worst.wire_limit_a:g} A of {worst.wire}.",
        f"Lowest LED {float(np.min(d.led_v)):.3f} V at LED {int(np.argmin(d.led_v))} (counted from 0),"
        f" designed to {d.basis.floor_v:.2f} V or more.",
    ]
    notes.append(_short_note(d))
    pigtail_a = fuse_rule("pigtail_a")
    if worst.current_a > pigtail_a:
        notes.append(
            f"Solder the feeds to the strip: small pigtail plugs carry {pigtail_a:g} A, the busiest feed"
            f" {worst.current_a:.2f} A."
        )
    if d.open_feeds:
        case = d.open_feeds[0]
        limit = (
            ""
            if d.basis.part.min_regulation_v is None
            else f" ({case.below_count} LEDs off colour)"
        )
        notes.append(
            f"If feed {case.feed + 1} opens, the lowest LED gets {case.min_led_v:.2f} V{limit} and feed"
            f" {case.largest_feed + 1} carries {case.largest_feed_a:.2f} A on a"
            f" {d.feeds[case.largest_feed].fuse_a:g} A fuse."
        )
    return notes


def _short_note(d: Decided) -> str:
    fuses = [feed.fuse_a for feed in d.feeds]
    worst = min(d.far_shorts, key=lambda short: short.current_a / fuses[short.feed])
    fuse_a = fuses[worst.feed]
    sure = worst.current_a >= fuse_rule("sure_to_open") * fuse_a
    verdict = (
        "enough to open it"
        if sure
        else "which may never open it: the fuse protects the wire, not the strip"
    )
    return (
        f"A short at LED {worst.at_led} draws about {worst.current_a:.1f} A through feed {worst.feed + 1} and its"
        f" {fuse_a:g} A fuse, {verdict}."
    )
