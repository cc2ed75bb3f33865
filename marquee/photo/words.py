"""What photographs tell, as remarks: what was seen, where, and which wall, wire or LED to look at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from marquee.errors import Finding
from marquee.photo.signal import BURNT_SHARE, Signal
from marquee.photo.values import Curve, LedDoubt, PairBleed, ZonePhoto
from marquee.photo.zones import DARK_SHARE, Balance, channel_orders
from marquee.plan import Plan

_RGB = ("red", "green", "blue")
# What is worth a word: bleed above the plan's by this share of the zone's light, evenness below it by this much,
# a zone's level or channel off by this share. Judgement: common practice, no source.
BLEED_OVER, EVENNESS_UNDER, LEVEL_OFF, BALANCE_OFF = 0.03, 0.1, 0.2, 0.1
# Less is too, where it is so many times what is expected: a photograph of one zone alone shows it surely, one of all
# zones a little later.
_OVER, _TIMES = {"alone": 0.008, "colour": 0.012}, 2.5
# Ramps that disagree with the curve made of them by more than this share tell of an exposure that changed.
_RAMPS_OFF = 0.08
_BURNT_FILE = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """What remarks are made from besides the figures: signals by state, zones alone, levels, balance, curve."""

    signals: Mapping[str, Signal]
    alone: tuple[Signal, ...]
    levels: Mapping[int, float]
    balance: Balance | None
    curve: Curve
    states: tuple[str, ...]


def findings_of(
    plan: Plan,
    zones: Sequence[ZonePhoto],
    strayed: Sequence[PairBleed],
    leds: Sequence[LedDoubt],
    evidence: Evidence,
) -> tuple[Finding, ...]:
    """Return the remarks, what is gravest first."""
    dark = [zone for zone, level in evidence.levels.items() if level < DARK_SHARE]
    # Foreign light in a zone would be taken for missing light elsewhere in it.
    flooded = {pair.zone for pair in strayed}
    return (
        *_wires(plan, evidence),
        *_zones_exchanged(plan, evidence),
        *(_zone_dark(plan, zone) for zone in dark),
        *_leds(plan, leds, {*dark, *flooded}),
        *(_bleed(plan, pair) for pair in strayed),
        *_uneven(plan, zones, leds, dark),
        *_levels(plan, zones, dark),
        *_balance(plan, zones),
        *_taken(evidence),
    )


def too_much(pair: PairBleed) -> bool:
    """Return whether a pair's strayed light is worth a word."""
    over = pair.measured - pair.predicted
    return over > BLEED_OVER or (over > _OVER[pair.by] and pair.measured > _TIMES * pair.predicted)


def zone_name(plan: Plan, number: int) -> str:
    """Return a zone as remarks call it."""
    zone = next(zone for zone in plan.zone_map.zones if zone.id == number)
    return f"zone {zone.id} {zone.name}"


def _wires(plan: Plan, evidence: Evidence) -> list[Finding]:
    if not all(kind in evidence.signals for kind in _RGB):
        return []
    orders = channel_orders([evidence.signals[kind] for kind in _RGB], plan)
    wrong = {zone: order for zone, order in orders.items() if order != (0, 1, 2)}
    if not wrong:
        return []
    if len(wrong) == len(orders) and len(set(wrong.values())) == 1:
        return [_order_finding("whole sign", next(iter(wrong.values())))]
    return [_order_finding(zone_name(plan, zone), order) for zone, order in wrong.items()]


def _order_finding(where: str, order: tuple[int, ...]) -> Finding:
    told = ", ".join(
        f"{sent} shows {_RGB[seen]}"
        for sent, seen in zip(_RGB, order, strict=True)
        if sent != _RGB[seen]
    )
    return Finding(
        code="photo.wires-swapped",
        where=where,
        message=f"{told}: the LEDs take their bytes in another order than the part's, or the photographs' names are "
        "mixed up; check the part and the order of its channels",
    )


def _zones_exchanged(plan: Plan, evidence: Evidence) -> list[Finding]:
    owner = plan.transfer.zone_of_element.ravel()
    found = []
    for one in evidence.alone:
        number = one.sight.state.number
        means = {
            zone.id: float(np.nanmean(one.measured[owner == zone.id]))
            for zone in plan.zone_map.zones
            if np.isfinite(one.measured[owner == zone.id]).any()
        }
        brightest = max(means, key=lambda zone: means[zone], default=number)
        if brightest != number:
            found.append(
                Finding(
                    code="photo.zones-exchanged",
                    where=one.sight.file,
                    message=f"{zone_name(plan, brightest)} is lit instead of zone {number}: the chain runs another "
                    "way than planned, or the photographs' names are mixed up",
                )
            )
    return found


def _zone_dark(plan: Plan, zone: int) -> Finding:
    leds = np.flatnonzero(plan.chain.zone == zone)
    look = (
        f"look at LED {leds[0]}, its first, and at data and supply before it"
        if len(leds)
        else "the plan gives it no LED of its own, only light from its neighbours"
    )
    return Finding(
        code="photo.zone-dark", where=zone_name(plan, zone), message=f"stays dark; {look}"
    )


def _leds(plan: Plan, leds: Sequence[LedDoubt], dark: set[int]) -> list[Finding]:
    groups: list[list[LedDoubt]] = []
    for doubt in leds:
        if doubt.zone in dark:
            continue
        home = next((g for g in groups if set(g[0].leds) & set(doubt.leds)), None)
        if home is None:
            groups.append([doubt])
        else:
            home.append(doubt)
    return [_led(plan, group) for group in groups]


def _led(plan: Plan, group: Sequence[LedDoubt]) -> Finding:
    # The LED most photographs could mean; of equals the one named first.
    votes: dict[int, int] = {}
    for doubt in group:
        for led in doubt.leds:
            votes[led] = votes.get(led, 0) + 1
    led = max(votes, key=lambda one: votes[one])
    others = [one for one in votes if one != led and votes[one] == votes[led]]
    states = {doubt.state for doubt in group}
    single = sorted(states & set(_RGB), key=_RGB.index)
    all_channels = len(single) == 3 or not single
    what = "stays dark" if all_channels else f"gives no {' and no '.join(single)}"
    instead = f", or else LED {' or '.join(str(one) for one in others)}" if others else ""
    x_mm, y_mm = float(plan.chain.x_mm[led]), float(plan.chain.y_mm[led])
    return Finding(
        code="photo.led-dark",
        where=f"LED {led}",
        message=f"{what}, at {x_mm:.0f}, {y_mm:.0f} mm behind {zone_name(plan, group[0].zone)}{instead} (counted "
        f"from 0 along the chain); look at its solder joints, or replace it",
    )


def _bleed(plan: Plan, pair: PairBleed) -> Finding:
    x_mm, y_mm = pair.at_mm
    place = f"look at wall {pair.wall} at {x_mm:.0f}, {y_mm:.0f} mm: is it there, and tight at diffuser and floor?"
    if pair.wall is None:
        place = f"no wall parts the two; it comes through about {x_mm:.0f}, {y_mm:.0f} mm"
    return Finding(
        code="photo.bleed",
        where=zone_name(plan, pair.zone),
        message=f"{pair.measured:.1%} of its light comes from {zone_name(plan, pair.source)}, {pair.predicted:.1%} "
        f"expected; {place}",
    )


def _uneven(
    plan: Plan, zones: Sequence[ZonePhoto], leds: Sequence[LedDoubt], dark: Sequence[int]
) -> list[Finding]:
    told = {doubt.zone for doubt in leds} | set(dark)
    found = []
    for one in zones:
        if one.zone in told or one.min_over_max > one.predicted_min_over_max - EVENNESS_UNDER:
            continue
        x_mm, y_mm = one.darkest_mm
        found.append(
            Finding(
                code="photo.uneven",
                where=zone_name(plan, one.zone),
                message=f"darkest over brightest is {one.min_over_max:.2f}, {one.predicted_min_over_max:.2f} "
                f"expected; darkest at {x_mm:.0f}, {y_mm:.0f} mm: look for a strip that has come off, dirt, a gap",
            )
        )
    return found


def _levels(plan: Plan, zones: Sequence[ZonePhoto], dark: Sequence[int]) -> list[Finding]:
    return [
        Finding(
            code="photo.level",
            where=zone_name(plan, one.zone),
            message=f"gives {one.light:.0%} of the light expected beside the other zones; "
            + (
                "look at paint, diffuser and the supply's voltage there"
                if one.light < 1
                else "look for a wall that is missing or does not close, and at the diffuser"
            ),
        )
        for one in zones
        if one.light is not None and one.zone not in dark and abs(np.log(one.light)) > LEVEL_OFF
    ]


def _balance(plan: Plan, zones: Sequence[ZonePhoto]) -> list[Finding]:
    found = []
    for one in zones:
        off = np.abs(np.log(one.balance or (1.0,)))
        if off.max() <= BALANCE_OFF or one.balance is None:
            continue
        told = ", ".join(f"{name} ×{v:.2f}" for name, v in zip(_RGB, one.balance, strict=True))
        found.append(
            Finding(
                code="photo.balance",
                where=zone_name(plan, one.zone),
                message=f"its channels differ from the sign's ({told}): LEDs of another reel? Match its colours "
                "by themselves",
            )
        )
    return found


def _taken(evidence: Evidence) -> list[Finding]:
    found = []
    for one in (*evidence.signals.values(), *evidence.alone):
        burnt = one.sight.burnt[np.isfinite(one.sight.burnt)]
        share = float((burnt > BURNT_SHARE).mean()) if burnt.size else 0.0
        if share > _BURNT_FILE:
            found.append(
                Finding(
                    code="photo.burnt",
                    where=one.sight.file,
                    message=f"{share:.0%} of the lit face is burnt out and was left aside; expose shorter",
                )
            )
    given = [kind for kind in _RGB if kind in evidence.signals]
    if 0 < len(given) < 3:
        missing = ", ".join(kind for kind in _RGB if kind not in given)
        found.append(
            Finding(
                code="photo.states-missing",
                where="photographs",
                message=f"{missing} missing: no balance of the channels; photograph all three with one setting",
            )
        )
    if evidence.curve.source == "sRGB":
        found.append(
            Finding(
                code="photo.curve-assumed",
                where="photographs",
                message="the camera's curve is taken as sRGB's; photographs of white at two or three codes "
                "(ramp-64.jpg, ramp-128.jpg, ramp-255.jpg) would tell it",
            )
        )
    elif evidence.curve.spread > _RAMPS_OFF:
        found.append(
            Finding(
                code="photo.ramps-disagree",
                where="photographs",
                message=f"the ramps' light differs from what the part's response says by {evidence.curve.spread:.0%}; "
                "did the phone change its exposure, or the supply sag?",
            )
        )
    return found
