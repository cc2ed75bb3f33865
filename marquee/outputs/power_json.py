"""The power table of plan.json, and what `marquee power --json` prints."""

from __future__ import annotations

from typing import Any

from marquee.values import Power


def power_dict(power: Power) -> dict[str, Any]:
    """Return the power table of plan.json; LEDs, feeds and supplies count from 0."""
    return {
        "rail_v": power.rail_v,
        "worst_case_a": power.worst_case_a,
        "planned_a": power.planned_a,
        "peak_a": power.peak_a,
        "dark_a": power.dark_a,
        "unlit_leds_a": dict(power.zones_planned_a).get(-1, 0.0) if power.driven else None,
        "supply": {
            "volts": power.supply.volts,
            "amps": power.supply.amps,
            "watts": power.supply.watts,
            "count": power.supply.count,
        },
        "brightness_cap": power.brightness_cap,
        "plan_fits_uncapped": power.brightness_cap >= 1 or power.plan_fits,
        "feeds": [
            {
                "at_led": f.at_led,
                "awg": f.awg,
                "mm2": f.mm2,
                "length_mm": f.length_mm,
                "current_a": f.current_a,
                "drop_v": f.drop_v,
                "fuse_a": f.fuse_a,
                "wire": f.wire,
                "wire_limit_a": f.wire_limit_a,
                "pad": f.pad,
                "supply": f.supply,
                "cites": f.cites,
            }
            for f in power.feeds
        ],
        "fuse_a": power.fuse_a,
        "min_led_v": power.min_led_v,
        "worst_led": power.worst_led,
        "heat_w": power.heat_w,
        "energy_wh_per_hour": power.energy_wh_per_hour,
        "cost_per_hour": power.cost_per_hour,
        "currency": power.currency or None,
        "cites": power.cites,
        "planned_w": power.planned_w,
        "worst_w": power.worst_w,
        "wall_w": power.wall_w,
        "efficiency": power.efficiency,
        "kwh_per_month": power.kwh_per_month,
        "cost_per_month": power.cost_per_month,
        "cabinets": power.cabinets,
        "extra_loads": [{"name": name, "amps": amps} for name, amps in power.extra_loads],
        "supply_owned": power.supply_owned,
        "class2": power.class2,
        "plus_cut_before_leds": power.cuts,
        "regulation_v": power.regulation_v,
        "floor_v": power.floor_v,
        "led_v": power.led_v.tolist(),
        "box_rise_k": power.box_rise_k,
        **_beside(power),
    }


def _beside(power: Power) -> dict[str, Any]:
    return {
        "open_feeds": [
            {
                "feed": case.feed,
                "min_led_v": case.min_led_v,
                "worst_led": case.worst_led,
                "leds_off_colour": None if power.regulation_v is None else case.below_count,
                "busiest_feed": case.largest_feed,
                "busiest_feed_a": case.largest_feed_a,
            }
            for case in power.open_feeds
        ],
        "alternatives": [
            {
                "title": row.title,
                "supply": {
                    "volts": row.supply.volts,
                    "amps": row.supply.amps,
                    "count": row.supply.count,
                },
                "brightness_cap": row.brightness_cap,
                "feeds": row.feeds,
                "wire": row.wire,
                "min_led_v": row.min_led_v,
                "worst_w": row.worst_w,
                "planned_w": row.planned_w,
                "cost_per_hour": row.cost_per_hour,
                "parts_cost": row.parts_cost,
            }
            for row in power.alternatives
        ],
        "parts": [
            {
                "item": row.item,
                "quantity": row.quantity,
                "unit": row.unit,
                "price": row.price,
                "cost": row.cost,
                "note": row.note,
            }
            for row in power.parts
        ],
        "parts_cost": power.parts_cost,
        "reckoning": power.notes,
    }
