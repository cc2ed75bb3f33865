"""The terminal's dozen lines, one a stage, then numbered warnings with what to do; also summary.txt."""

from __future__ import annotations

from marquee import __version__
from marquee.errors import printable
from marquee.outputs.words import counted, money_words, supply_words, wrapped
from marquee.plan import Plan
from marquee.units import format_length
from marquee.values import Feed, Zone, ZoneDrive

_LABEL = 11
_MOST_ZONES = 8
_MOST_FEEDS = 6  # those beyond stand in power.txt


def summary_text(plan: Plan, folder: str | None = None) -> str:
    """Return the summary, wrapped to 100 columns; `folder` is named in the last stage line if given."""
    lines = [f"marquee {__version__}: plan for {_short(plan.artwork.file)}"]
    for label, text in _stages(plan):
        lines += _entry(label, text)
    if folder is not None:
        lines += _entry("written", folder)
    lines.append("")
    lines += _warnings(plan)
    lines.append("")
    lines.append("Before you build")
    lines += [line for c in plan.power.cautions for line in _item("-", c)]
    return "\n".join(lines) + "\n"


def _stages(plan: Plan) -> list[tuple[str, str]]:
    return [
        ("artwork", _artwork(plan)),
        ("zones", _zones(plan)),
        ("walls", _walls(plan)),
        ("LEDs", _leds(plan)),
        ("colours", _colours(plan)),
        ("light", _light(plan)),
        ("current", _current(plan)),
        ("supply", _supply(plan)),
        ("running", _running(plan)),
        ("firmware", _firmware(plan)),
    ]


def _artwork(plan: Plan) -> str:
    art = plan.artwork
    return (
        f"{art.width_px} × {art.height_px} px on {format_length(art.width_mm)} × "
        f"{format_length(art.height_mm)}, {art.mm_per_px:.3g} mm a pixel; face {plan.zone_map.face_srgb}"
    )


def _zones(plan: Plan) -> str:
    zones = plan.zone_map.zones
    shown = "; ".join(_zone(z) for z in zones[:_MOST_ZONES])
    more = f"; and {len(zones) - _MOST_ZONES} more" if len(zones) > _MOST_ZONES else ""
    apertures = len(plan.zone_map.apertures)
    return f"{counted(len(zones), 'zone')}, {counted(apertures, 'aperture')}: {shown}{more}"


def _zone(zone: Zone) -> str:
    kind = "hue cycle" if zone.mode == "hue-cycle" else f"{zone.area_mm2 / 100:.1f} cm²"
    return f"{zone.id} {_short(zone.name, 24)} ({len(zone.apertures)}, {kind})"


def _walls(plan: Plan) -> str:
    box = plan.box
    if not box.walls:
        return f"none needed: one cell of {format_length(box.depth_mm)} depth"
    touching = sum(a.touching for a in plan.zone_map.adjacent)
    tail = (
        f"; {counted(touching, 'pair')} of zones nearer than a wall is thick" if touching else ""
    )
    return (
        f"{counted(len(box.walls), 'wall')}, {box.total_length_mm:.0f} mm of "
        f"{format_length(box.wall_thickness_mm)} sheet {format_length(box.wall_height_mm)} high, "
        f"{counted(len(box.cells), 'cell')}{tail}"
    )


def _leds(plan: Plan) -> str:
    chain = plan.chain
    lit = int((chain.zone >= 0).sum())
    rows, each = len(set(chain.row.tolist())), chain.places_mm.shape[1]
    grouped = f" with {each} LEDs each" if each > 1 else ""
    return (
        f"{chain.count} × {_short(plan.part.name, 40)}{grouped} at {format_length(chain.pitch_mm)} "
        f"in {counted(rows, 'run')}, {lit} lit"
    )


def _colours(plan: Plan) -> str:
    parts = []
    lit = set(plan.chain.zone.tolist())
    for drive in plan.drive.zones[:_MOST_ZONES]:
        zone = plan.zone_map.zones[drive.zone]
        if zone.id not in lit:
            parts.append(f"{zone.id} {_short(zone.name, 24)} has no LED")
            continue
        codes = ",".join(str(c) for c in drive.codes)
        gamut = "" if drive.in_gamut else " out of gamut"
        parts.append(
            f"{zone.id} {_short(zone.name, 24)} {codes} ΔE00 {_error(drive)}{gamut}{_band(drive)}"
        )
    cycling = [str(z.id) for z in plan.zone_map.zones if z.mode == "hue-cycle"]
    if plan.drive.hue_cycle is not None and cycling:
        parts.append(
            f"{', '.join(cycling)} hue cycle of {len(plan.drive.hue_cycle.codes)} steps in "
            f"{plan.drive.hue_cycle.period_s:g} s"
        )
    order = "".join(plan.part.channels)
    known = plan.part.calibrated
    if known is not None:
        parts.append(f"calibrated on {_short(known.name, 40)} ({known.summary})")
    return (
        f"{order} bytes for white {plan.project.colour.white}, {plan.drive.policy}: "
        + "; ".join(parts)
    )


def _error(drive: ZoneDrive) -> str:
    if drive.spread is None:
        return f"{drive.delta_e_2000:.2f}"
    shared = f"{drive.spread.delta_e_2000:.2f} shared out over {drive.spread.of} LEDs"
    return f"{drive.delta_e_2000:.2f}, {shared}"


def _band(drive: ZoneDrive) -> str:
    if drive.band_delta_e_2000 is None:
        return ""
    band, matched = drive.band_delta_e_2000, drive.band_matched_delta_e_2000
    # A part known from the bench has less left to narrow than one match does.
    narrower = matched is not None and matched < band
    narrowed = f", {matched:.1f} once its white is matched" if narrower else ""
    return f" (part may be {band:.0f} off{narrowed})"


def _light(plan: Plan) -> str:
    zones = plan.light.zones
    if not zones:
        return "no zone is lit"
    least = min(zones, key=lambda z: (z.min_over_max, z.zone))
    bleed = max(zones, key=lambda z: (z.bleed, -z.zone))
    low, high = (_figures(f(z.luminance_cd_m2 for z in zones)) for f in (min, max))
    if len(zones) == 1:
        return (
            f"{low} cd/m²; darkest/brightest {least.min_over_max:.2f}, darkest/mean "
            f"{least.min_over_mean:.2f}"
        )
    return (
        f"{low} to {high} cd/m²; least even zone {least.zone}: darkest/brightest "
        f"{least.min_over_max:.2f}, darkest/mean {least.min_over_mean:.2f}; "
        f"most bleed zone {bleed.zone}: {bleed.bleed:.1%}"
    )


def _current(plan: Plan) -> str:
    power = plan.power
    return (
        f"worst case {power.worst_case_a:.2f} A, this plan {power.planned_a:.2f} A "
        f"(peak {power.peak_a:.2f} A), all dark {power.dark_a:.2f} A at {power.rail_v:g} V"
    )


def _supply(plan: Plan) -> str:
    power = plan.power
    supply = power.supply
    shown = power.feeds[:_MOST_FEEDS]
    feeds = "; ".join(_feed(f) for f in shown)
    if len(power.feeds) > len(shown):
        feeds += f"; {len(power.feeds) - len(shown)} more feeds"
    cap = f"; brightness capped at {power.brightness_cap:.0%}" if power.brightness_cap < 1 else ""
    cap += " (the plan fits as it is)" if power.plan_fits else ""
    return (
        f"{supply_words(supply.count, supply.volts, supply.amps)} ({supply.watts:.0f} W){cap}; {feeds}; "
        f"lowest LED {power.min_led_v:.2f} V at LED {power.worst_led}; the sums are in power.txt"
    )


def _feed(feed: Feed) -> str:
    size = f"{feed.awg} AWG" if feed.awg is not None else f"{feed.mm2:g} mm²"
    return (
        f"feed at LED {feed.at_led}: {format_length(feed.length_mm)} of {size}, "
        f"{feed.current_a:.2f} A, {feed.fuse_a:g} A fuse"
    )


def _running(plan: Plan) -> str:
    power = plan.power
    cost = (
        ""
        if power.cost_per_hour is None
        else f", {power.cost_per_hour:.4f} {money_words(power.currency)} an hour"
    )
    return (
        f"{power.energy_wh_per_hour:.1f} Wh an hour at the wall{cost}{_month(plan)}; "
        f"{power.heat_w:.1f} W of heat in the box"
    )


def _month(plan: Plan) -> str:
    power, hours = plan.power, plan.project.power.hours_per_day
    if power.kwh_per_month is None or hours is None:
        return ""
    paid = (
        ""
        if power.cost_per_month is None
        else f", {power.cost_per_month:.2f} {money_words(power.currency)}"
    )
    return (
        f"; a month of {hours:g} h a day, {counted(power.cabinets, 'cabinet')}: "
        f"{power.kwh_per_month:.2f} kWh{paid}"
    )


def _firmware(plan: Plan) -> str:
    budget = plan.budget
    return (
        f"{budget.controller}: {budget.flash_bytes} B of tables, {budget.ram_bytes} B RAM, "
        f"{budget.frame_ms:.2f} ms a frame (at most {budget.max_frames_per_s:.0f} a second)"
    )


def _warnings(plan: Plan) -> list[str]:
    if not plan.findings:
        return ["No warnings."]
    lines = [counted(len(plan.findings), "warning").capitalize()]
    for number, finding in enumerate(plan.findings, 1):
        text = f"{finding.where}: {finding.message} [{finding.code}]"
        lines += _item(f"{number}.", text)
    return lines


def _entry(label: str, text: str) -> list[str]:
    return wrapped(label.ljust(_LABEL), text)


def _item(mark: str, text: str) -> list[str]:
    return wrapped(mark.rjust(3) + " ", text, "    ")


def _short(text: str, most: int = 60) -> str:
    safe = printable(text)
    return safe if len(safe) <= most else safe[: most - 1] + "…"


def _figures(value: float) -> str:
    """Return about three figures without an exponent."""
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}"
