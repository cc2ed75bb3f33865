"""The light in words and as JSON: zones, advice, brightness by room light, sweeps."""

from __future__ import annotations

from typing import Any

from marquee.errors import printable
from marquee.outputs.words import wrapped
from marquee.plan import Plan
from marquee.power.dimming import Dimmed, Room
from marquee.values import ZoneLight
from marquee.values_light import Advice, Sweep, Trial

_NAME = 20
_MOST_SOURCES = 3


def zones_text(plan: Plan) -> str:
    """Return the table of zones: luminance, evenness both ways, darkest spot, bleed by neighbour, shift."""
    lines = [
        f"{'':>3} {'zone':<{_NAME}} {'cd/m²':>7} {'dark/mean':>10} {'dark/bright':>12} "
        f"{'darkest at, mm':>15} {'bleed':>7} {'shift':>6}  from"
    ]
    for light in plan.light.zones:
        name = printable(plan.zone_map.zones[light.zone].name)
        x_mm, y_mm = light.worst_mm
        lines.append(
            f"{light.zone:>3} {name[:_NAME]:<{_NAME}} {light.luminance_cd_m2:>7.0f} {light.min_over_mean:>10.2f} "
            f"{light.min_over_max:>12.2f} {f'{x_mm:.0f}, {y_mm:.0f}':>15} {light.bleed:>7.1%} "
            f"{light.bleed_delta_e_2000:>6.1f}  {_sources(light)}".rstrip()
        )
    lines += wrapped(
        "",
        "dark/mean and dark/bright: darkest to mean and to brightest element of a zone's apertures. Bleed: share of "
        "the light from other zones' LEDs; shift: the colour difference that makes (CIEDE2000).",
    )
    return "\n".join(lines) + "\n"


def _sources(light: ZoneLight) -> str:
    shown = [(z, s) for z, s in light.bleed_from if s >= 0.0005][:_MOST_SOURCES]
    return ", ".join(f"{zone}: {share:.1%}" for zone, share in shown)


def advice_text(plan: Plan, advice: tuple[Advice, ...], aim: float) -> str:
    """Return the advice, zone by zone."""
    lines = [
        f"Advice (the model run again for every line; evenness is dark/bright, {aim:.2f} aimed at)"
    ]
    zone: int | None = -1
    for one in advice:
        if one.zone != zone:
            zone = one.zone
            name = "walls" if zone is None else f"zone {zone} {plan.zone_map.zones[zone].name}"
            now = f", evenness now {one.before:.2f}" if one.about == "evenness" else ""
            lines.append(printable(f"  {name}{now}"))
        lines += wrapped("    - ", one.message)
    if not any(one.about == "evenness" for one in advice):
        lines.append("  every zone is as even as aimed at, or nothing tried makes it more even")
    return "\n".join(lines) + "\n"


def brightness_text(
    white_cd_m2: float, plan: Plan, rooms: tuple[tuple[Room, Dimmed | None], ...]
) -> str:
    """Return what brightness each room's light wants and the current it saves."""
    lines = [
        f"Brightness: a white zone is {white_cd_m2:.0f} cd/m² at {plan.drive.brightness:.0%}; "
        f"planned current {plan.power.planned_a:.2f} A"
    ]
    for room, dimmed in rooms:
        wants = f"  {room.title}: {room.low_cd_m2:g} to {room.high_cd_m2:g} cd/m²"
        if dimmed is None:
            lines.append(f"{wants}; the sign gives no more than that")
            continue
        lines.append(
            f"{wants}; --luminance {room.high_cd_m2:g} is brightness {dimmed.brightness:.1%}, saves "
            f"{dimmed.saved_a:.2f} A, colours err by at most ΔE00 {dimmed.largest_delta_e_2000:.1f}"
        )
    lines += [line for room, _ in rooms for line in wrapped("    ", _cite(room))]
    return "\n".join(lines) + "\n"


def _cite(room: Room) -> str:
    note = f" ({room.note})" if room.note else ""
    return f"{room.title}: {room.source} [{room.status}]{note}"


def sweep_text(sweep: Sweep) -> str:
    """Return a sweep as a table; the rule of thumb's place is marked between its rows."""
    head = (
        f"{sweep.what + ', mm':>10} {'LEDs':>6} {'least even':>11} {'zone':>5} {'least dark/mean':>16} "
        f"{'white cd/m²':>12} {'most bleed':>11} {'current A':>10}"
    )
    lines = [head]
    rule = (
        f"{'':>10} -- depth = pitch = {sweep.rule_mm:.4g} mm: the rule of thumb wants depth ≥ pitch "
        "(common practice, no source)"
    )
    told = False
    for value_mm, trial in zip(sweep.values_mm, sweep.trials, strict=True):
        if not told and value_mm >= sweep.rule_mm:
            lines += [rule] if len(lines) > 1 or value_mm > sweep.rule_mm else []
            told = True
        lines.append(_sweep_row(value_mm, trial))
    lines.append(f"{'planned':>10} {sweep.what} {sweep.planned_mm:.4g} mm")
    return "\n".join(lines) + "\n"


def _sweep_row(value_mm: float, trial: Trial) -> str:
    least = min(trial.zones, key=lambda z: (z.min_over_max, z.zone))
    mean = min(z.min_over_mean for z in trial.zones)
    return (
        f"{value_mm:>10.1f} {trial.led_count:>6} {least.min_over_max:>11.2f} {least.zone:>5} {mean:>16.2f} "
        f"{trial.white_cd_m2:>12.0f} {trial.most_bleed:>11.1%} {trial.current_a:>10.2f}"
    )


def zones_dict(plan: Plan) -> list[dict[str, Any]]:
    """Return the zones' light for JSON, units in the keys."""
    return [_zone_dict(light, plan.zone_map.zones[light.zone].name) for light in plan.light.zones]


def _zone_dict(light: ZoneLight, name: str) -> dict[str, Any]:
    return {
        "id": light.zone,
        "name": name,
        "luminance_cd_m2": light.luminance_cd_m2,
        "evenness": {"min_over_mean": light.min_over_mean, "min_over_max": light.min_over_max},
        "worst_mm": light.worst_mm,
        "bleed": light.bleed,
        "bleed_from": [{"zone": z, "share": s} for z, s in light.bleed_from],
        "bleed_delta_e_2000": light.bleed_delta_e_2000,
    }


def advice_dict(advice: Advice) -> dict[str, Any]:
    """Return one piece of advice for JSON."""
    return {
        "zone": advice.zone,
        "about": advice.about,
        "what": advice.what,
        "from": advice.start,
        "to": advice.end,
        "before": advice.before,
        "after": advice.after,
        "current_change_a": advice.current_change_a,
        "enough": advice.enough,
        "change": {
            "depth_mm": advice.change.depth_mm,
            "pitch_mm": advice.change.pitch_mm,
            "wall_gap_mm": advice.change.wall_gap_mm,
            "paint": advice.change.paint,
        },
        "message": advice.message,
    }


def brightness_dict(room: Room, dimmed: Dimmed | None) -> dict[str, Any]:
    """Return one room's brightness for JSON; null where the sign is no brighter than that."""
    return {
        "room": room.title,
        "low_cd_m2": room.low_cd_m2,
        "high_cd_m2": room.high_cd_m2,
        "source": room.source,
        "brightness": None if dimmed is None else dimmed.brightness,
        "saved_a": None if dimmed is None else dimmed.saved_a,
        "largest_delta_e_2000": None if dimmed is None else dimmed.largest_delta_e_2000,
    }


def sweep_dict(sweep: Sweep) -> dict[str, Any]:
    """Return a sweep for JSON."""
    return {
        "what": sweep.what,
        "planned_mm": sweep.planned_mm,
        "depth_equals_pitch_mm": sweep.rule_mm,
        "steps": [
            {
                "value_mm": value,
                "leds": trial.led_count,
                "white_cd_m2": trial.white_cd_m2,
                "current_a": trial.current_a,
                "zones": [
                    {
                        "id": z.zone,
                        "luminance_cd_m2": z.luminance_cd_m2,
                        "min_over_mean": z.min_over_mean,
                        "min_over_max": z.min_over_max,
                        "bleed": z.bleed,
                    }
                    for z in trial.zones
                ],
            }
            for value, trial in zip(sweep.values_mm, sweep.trials, strict=True)
        ],
    }
