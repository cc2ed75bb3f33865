"""The report's tables about the face: zones, colours, walls, LEDs. Text as it is shown; the template escapes it."""

from __future__ import annotations

from dataclasses import dataclass

from marquee.errors import printable
from marquee.outputs.colours import bytes_text, mean_codes
from marquee.outputs.pictures.face import cycles, zone_colours
from marquee.plan import Plan
from marquee.values import Wall, Zone, ZoneDrive

NONE = "–"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column's head and kind, which is its cells' class.

    "figure", "list" of them (with "breaks" where paper may break it), "word" (short, never broken), "text", or
    "name" for a maker's own words.
    """

    head: str
    kind: str = "figure"
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """Texts of a row, its screen colours if it has any, and the zone it tells of."""

    cells: tuple[str, ...]
    colours: tuple[str, ...] = ()
    zone: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table with its caption, notes under it and a last row of sums."""

    id: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()
    foot: tuple[str, ...] = ()


def zones_table(plan: Plan) -> Table:
    """Return the zones with what the box makes of them; current is that of the bytes as planned."""
    planned_a = dict(plan.power.zones_planned_a)
    columns = (
        Column(head="zone"),
        Column(head="name", kind="name"),
        Column(head="lit", kind="word"),
        Column(head="area", unit="cm²"),
        Column(head="apertures"),
        Column(head="LEDs"),
        Column(head="current", unit="mA"),
        Column(head="luminance", unit="cd/m²"),
        Column(head="evenness, darkest ÷ mean"),
        Column(head="evenness, darkest ÷ brightest"),
        Column(head="bleed", unit="%"),
        Column(head="mostly from", kind="word"),
        Column(head="bleed's shift", unit="ΔE00"),
    )
    rows = []
    for zone in plan.zone_map.zones:
        current_a = planned_a.get(zone.id)
        cells = (
            f"{zone.id}",
            printable(zone.name),
            _lit(plan, zone),
            f"{zone.area_mm2 / 100:.1f}",
            f"{len(zone.apertures)}",
            f"{int((plan.chain.zone == zone.id).sum())}",
            NONE if current_a is None else f"{1000 * current_a:.0f}",
            *_light(plan, zone),
        )
        rows.append(Row(cells=cells, colours=_screen(plan, zone), zone=zone.id))
    return Table(
        id="zones",
        caption="Zones and their light",
        columns=columns,
        rows=tuple(rows),
        notes=(
            "Current: the zone's LEDs as planned, their drivers included; a hue cycle at its mean. Darkest, mean and "
            "brightest: over the zone's apertures. Bleed: share of its light that comes from other zones' LEDs; shift: the "
            "colour difference that makes (CIEDE2000).",
            *(f"Zone {z.id}: {printable(z.reason)}" for z in plan.zone_map.zones if z.reason),
        ),
    )


def colours_table(plan: Plan) -> Table:
    """Return each zone's colour, bytes, error of the model and band to expect of the part."""
    order = "".join(plan.part.channels)
    # Paper has room for three figures beside each other in every list of the row, not for four.
    many = "list" if len(order) <= 3 else "list breaks"
    columns = (
        Column(head="zone"),
        Column(head="colour", kind="name"),
        Column(head="on a screen", kind="word"),
        Column(head="L*a*b* wanted", kind="list"),
        Column(head=f"{order} bytes", kind=many),
        Column(head="error", unit="ΔE00"),
        Column(head="mean bytes, shared out", kind=many),
        Column(head="error shared out", unit="ΔE00"),
        Column(head="L*a*b* made", kind="list"),
        Column(head="band", unit="ΔE00"),
        Column(head="band, white matched", unit="ΔE00"),
        Column(head="gamut", kind="word"),
    )
    drives = {drive.zone: drive for drive in plan.drive.zones}
    rows = []
    lit = set(plan.chain.zone.tolist())
    for zone in plan.zone_map.zones:
        drive = drives.get(zone.id)
        cells = _cycle_cells(plan, zone) if drive is None else _drive_cells(plan, drive)
        if zone.id not in lit:
            cells = (*cells[:3], "has no LED", *(NONE,) * (len(cells) - 4))
        rows.append(Row(cells=(f"{zone.id}", *cells), colours=_screen(plan, zone), zone=zone.id))
    chosen = plan.project.colour
    return Table(
        id="colours",
        caption="Colours and bytes",
        columns=columns,
        rows=tuple(rows),
        notes=(
            f"For white {printable(chosen.white)} at a brightness of {plan.drive.brightness:.0%}, lightness policy "
            f"{plan.drive.policy}. L*a*b* is relative to D65. Error: of the model's bytes (CIEDE2000). Shared out: some "
            "LEDs of the zone get one code more, so that their mixed light falls between codes; the constants do that. Band: "
            "95 % of parts as bought lie within it; it narrows once the part's white is matched at the bench.",
            *_cycle_note(plan),
            *_calibrated(plan),
        ),
    )


def walls_table(plan: Plan) -> Table:
    """Return the walls with what lies on both sides and where strips pass."""
    box = plan.box
    return Table(
        id="walls",
        caption=f"Walls, {box.wall_thickness_mm:g} mm thick and {box.wall_height_mm:g} mm high",
        columns=(
            Column(head="wall", kind="word"),
            Column(head="between", kind="text"),
            Column(head="length", unit="mm"),
            Column(head="cut parts", kind="word"),
            Column(head="a strip passes under it at", unit="mm", kind="text"),
        ),
        rows=tuple(Row(cells=_wall_cells(plan, wall)) for wall in box.walls),
        foot=("all", "", f"{box.total_length_mm:.0f}", "", "") if box.walls else (),
        notes=(
            "Lengths along the centre line; the parts to cut, folded and notched, are in walls.svg and walls.dxf.",
        )
        if box.walls
        else ("None needed: one cell.",),
    )


def leds_table(plan: Plan) -> Table:
    """Return which places of the chain light which zone."""
    zones = plan.zone_map.zones
    rows = []
    for held in plan.constants.zones:
        zone = zones[held.zone]
        spans = [f"{a}" if n == 1 else f"{a}–{a + n - 1}" for a, n in held.runs]
        cells = (
            f"{zone.id}",
            printable(zone.name),
            f"{held.led_count}",
            ", ".join(spans) or "none",
        )
        rows.append(Row(cells=cells, colours=_screen(plan, zone), zone=zone.id))
    dark = int((plan.chain.zone < 0).sum())
    if dark:
        rows.append(Row(cells=(NONE, "dark", f"{dark}", "the rest")))
    count = f"{plan.chain.count} LEDs {plan.chain.pitch_mm:g} mm apart"
    return Table(
        id="leds",
        caption=f"LEDs: {count}, counted from 0 at DATA IN",
        columns=(
            Column(head="zone"),
            Column(head="name", kind="name"),
            Column(head="LEDs"),
            Column(head="chain numbers", kind="text"),
        ),
        rows=tuple(rows),
    )


def _lit(plan: Plan, zone: Zone) -> str:
    cycle = plan.drive.hue_cycle
    if zone.mode == "hue-cycle" and cycle is not None:
        return "hue cycle"
    return "steady"


def _light(plan: Plan, zone: Zone) -> tuple[str, ...]:
    light = next((z for z in plan.light.zones if z.zone == zone.id), None)
    if light is None:
        return (NONE,) * 6
    source = light.bleed_from[0][0] if light.bleed_from and light.bleed > 0 else None
    return (
        f"{light.luminance_cd_m2:.1f}",
        f"{light.min_over_mean:.2f}",
        f"{light.min_over_max:.2f}",
        f"{100 * light.bleed:.1f}",
        NONE if source is None else f"zone {source}",
        f"{light.bleed_delta_e_2000:.1f}",
    )


def _drive_cells(plan: Plan, drive: ZoneDrive) -> tuple[str, ...]:
    spread = drive.spread
    made = drive.predicted_lab_d65 if spread is None else spread.predicted_lab_d65
    shared = NONE if spread is None else ", ".join(f"{c:.2f}" for c in mean_codes(spread))
    return (
        printable(drive.target.name),
        drive.target.srgb,
        lab_text(drive.target.lab_d65),
        bytes_text(drive.codes, drive.global_code, plan.part).replace(",", ", "),
        f"{drive.delta_e_2000:.2f}",
        shared,
        NONE if spread is None else f"{spread.delta_e_2000:.2f}",
        lab_text(made),
        _or_unknown(drive.band_delta_e_2000),
        _or_unknown(drive.band_matched_delta_e_2000),
        "in" if drive.in_gamut else "out",
    )


def _cycle_cells(plan: Plan, zone: Zone) -> tuple[str, ...]:
    colours = [plan.zone_map.colours[i] for i in zone.colours]
    return (
        ", ".join(printable(c.name) for c in colours) or NONE,
        ", ".join(c.srgb for c in colours) or NONE,
        NONE,
        "hue cycle",
        *(NONE,) * 7,
    )


def _cycle_note(plan: Plan) -> tuple[str, ...]:
    cycle = plan.drive.hue_cycle
    if cycle is None:
        return ()
    return (
        f"Hue cycle: {len(cycle.codes)} steps of one luminance in {cycle.period_s:g} s; its bytes are in the constants.",
    )


def _calibrated(plan: Plan) -> tuple[str, ...]:
    known = plan.part.calibrated
    if known is None:
        return ()
    return (f"Calibrated on {printable(known.name)}: {printable(known.summary)}.",)


def _wall_cells(plan: Plan, wall: Wall) -> tuple[str, ...]:
    # Isolates keep the direction of one name from turning the other round.
    names = {zone.id: f"\u2068{printable(zone.name)}\u2069" for zone in plan.zone_map.zones}
    parts = [strip.part for strip in plan.cut.strips if wall.id in strip.walls]
    return (
        f"W{wall.id}",
        " and ".join(f"{i} {names.get(i, '')}".strip() for i in wall.zones),
        f"{wall.length_mm:.1f}",
        ", ".join(parts) or NONE,
        ", ".join(f"{s:.0f}" for s in wall.slots_mm) or NONE,
    )


def _screen(plan: Plan, zone: Zone) -> tuple[str, ...]:
    colours = zone_colours(plan.zone_map, zone)
    shown = colours if cycles(zone) else colours[:1]
    return tuple("#{:02x}{:02x}{:02x}".format(*c) for c in shown)


def lab_text(lab: tuple[float, float, float]) -> str:
    """Return L*, a*, b* with one decimal and true minus signs."""
    return ", ".join(f"{value + 0.0:.1f}".replace("-", "−") for value in lab)


def _or_unknown(value: float | None) -> str:
    return "unknown" if value is None else f"{value:.1f}"
