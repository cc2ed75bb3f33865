"""What changed between two plans of a sign: colours, bytes, walls, LEDs, light, power, money, warnings."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from marquee.outputs.compare_change import (
    SUBJECTS,
    Change,
    differ,
    say,
    three_digits,
)
from marquee.outputs.compare_power import firmware, parts, power, running
from marquee.outputs.compare_read import BarriersRow, LedsRow, PlanFile, WallRow, ZoneRow
from marquee.units import format_length

# A wall or an LED that lies nearer than this to where it was has not moved: below any saw's or hand's care.
MOVED_MM = 0.1
# A zone under another name whose bounds lie within a pixel or two of an old one's is that zone.
_SAME_PLACE_MM = 1.0


def compare_plans(old: PlanFile, new: PlanFile) -> tuple[Change, ...]:
    """Return every difference a maker could see, in the order of `SUBJECTS`.

    What either plan does not state (an older version's) is not compared. Numbers count as different when
    they differ in the digits shown.
    """
    pairs = paired(old, new)
    found = (
        *_artwork(old, new),
        *_settings(old.inputs.settings, new.inputs.settings),
        *_face(old, new),
        *_colours(old, new),
        *_zones(pairs),
        *_bytes(pairs),
        *_walls(old.barriers, new.barriers, pairs),
        *_leds(old.leds, new.leds),
        *_zone_leds(pairs),
        *_light(pairs),
        *power(old.power, new.power),
        *_zone_currents(pairs),
        *running(old.power, new.power),
        *parts(old.power, new.power),
        *firmware(old.firmware, new.firmware),
        *_warnings(old, new),
    )
    return tuple(sorted(found, key=lambda change: SUBJECTS.index(change.subject)))


Pairs = tuple[tuple[ZoneRow | None, ZoneRow | None], ...]


def paired(old: PlanFile, new: PlanFile) -> Pairs:
    """Return zones of both plans side by side: by name, else by place, else by screen colour; None where alone."""
    left = list(new.zones)
    found: dict[int, ZoneRow] = {}
    for alike in (_same_name, _same_place, _same_colour):
        for k, zone in enumerate(old.zones):
            same = next((z for z in left if alike(zone, z)), None)
            if k not in found and same is not None:
                left.remove(same)
                found[k] = same
    return (
        *((zone, found.get(k)) for k, zone in enumerate(old.zones)),
        *((None, z) for z in left),
    )


def _same_name(a: ZoneRow, b: ZoneRow) -> bool:
    return a.name == b.name


def _same_place(a: ZoneRow, b: ZoneRow) -> bool:
    if a.bbox_mm is None or b.bbox_mm is None:
        return False
    return max(abs(x - y) for x, y in zip(a.bbox_mm, b.bbox_mm, strict=True)) < _SAME_PLACE_MM


def _same_colour(a: ZoneRow, b: ZoneRow) -> bool:
    return a.srgb is not None and (a.srgb, a.kind) == (b.srgb, b.kind)


def both(pairs: Pairs) -> Iterator[tuple[str, ZoneRow, ZoneRow]]:
    """Yield the zones that both plans have, with the name they go by now."""
    for old, new in pairs:
        if old is not None and new is not None:
            yield new.name, old, new


def _artwork(old: PlanFile, new: PlanFile) -> Iterator[Change]:
    a, b = old.inputs.artwork, new.inputs.artwork
    yield from say("artwork", "file", a.file, b.file)
    if a.sha256 != b.sha256:
        sizes = (f"{a.width_px} × {a.height_px} px", f"{b.width_px} × {b.height_px} px")
        yield Change(
            subject="artwork",
            what="the picture itself",
            before=sizes[0],
            after=sizes[1],
            note="other content",
            exact=(a.sha256, b.sha256),
        )


def _settings(old: dict[str, Any], new: dict[str, Any]) -> Iterator[Change]:
    for section in sorted(old.keys() & new.keys()):
        before, after = old[section], new[section]
        if not (isinstance(before, dict) and isinstance(after, dict)):
            continue
        # A setting only one version knows is left out: the other had no say in it.
        for key in (key for key in before if key in after and before[key] != after[key]):
            if (section, key) == ("artwork", "file"):
                continue  # told under artwork
            yield Change(
                subject="settings",
                what=f"{section}.{key.removesuffix('_mm')}",
                before=_setting(key, before[key]),
                after=_setting(key, after[key]),
                exact=(before[key], after[key]),
            )


def _setting(key: str, value: Any) -> str:  # noqa: ANN401 -- whatever a project file may hold
    if value is None or value == []:
        return "not set"
    if key.endswith("_mm") and isinstance(value, int | float):
        return format_length(value)
    if isinstance(value, dict):
        return ", ".join(f"{name} {item}" for name, item in value.items()) or "none"
    if isinstance(value, list):
        return f"{len(value)} given"
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else f"{value}"


def _face(old: PlanFile, new: PlanFile) -> Iterator[Change]:
    yield from differ("face", "width", old.face.width_mm, new.face.width_mm, ".1f", " mm")
    yield from differ("face", "height", old.face.height_mm, new.face.height_mm, ".1f", " mm")
    yield from say("face", "opaque colour", old.face.colour, new.face.colour)


def _colours(old: PlanFile, new: PlanFile) -> Iterator[Change]:
    lit = tuple(
        {c.name: c for c in plan.colours if c.area_mm2 is None or c.area_mm2 > 0}
        for plan in (old, new)
    )
    for name in [*lit[0], *(name for name in lit[1] if name not in lit[0])]:
        a, b = lit[0].get(name), lit[1].get(name)
        if a is None or b is None:
            before, after = (None if colour is None else colour.srgb or "" for colour in (a, b))
            yield Change(subject="colours", what=name, before=before, after=after)
            continue
        yield from say("colours", name, a.srgb, b.srgb)
        if a.area_mm2 is not None and b.area_mm2 is not None:
            cm2 = a.area_mm2 / 100, b.area_mm2 / 100
            yield from differ("colours", f"{name}, lit area", *cm2, ".1f", " cm²")


def _zones(pairs: Pairs) -> Iterator[Change]:
    for a, b in pairs:
        if a is None or b is None:
            before, after = (None if zone is None else _described(zone) for zone in (a, b))
            name = a.name if a is not None else b.name if b is not None else ""
            yield Change(subject="zones", what=name, before=before, after=after)
            continue
        yield from say("zones", "name", a.name, b.name)
        yield from say("zones", f"{b.name}, kind", a.kind, b.kind)
        yield from say("zones", f"{b.name}, lit", a.mode, b.mode)
        yield from differ("zones", f"{b.name}, apertures", a.apertures, b.apertures, "d")


def _described(zone: ZoneRow) -> str:
    apertures = "1 aperture" if zone.apertures == 1 else f"{zone.apertures} apertures"
    return f"{apertures}, {zone.mode or 'lit'}"


def _bytes(pairs: Pairs) -> Iterator[Change]:
    for name, a, b in both(pairs):
        shown = tuple(None if z.drive is None else ",".join(map(str, z.drive)) for z in (a, b))
        if shown[0] != shown[1]:
            yield Change(
                subject="bytes",
                what=name,
                before=shown[0] or "hue cycle",
                after=shown[1] or "hue cycle",
                exact=(a.drive, b.drive),
            )
        elif a.spread is not None and b.spread is not None and a.spread != b.spread:
            yield Change(
                subject="bytes",
                what=f"{name}, LEDs with one code more",
                before=",".join(map(str, a.spread.raised)),
                after=",".join(map(str, b.spread.raised)),
                exact=(a.spread.model_dump(), b.spread.model_dump()),
            )
        yield from differ("bytes", f"{name}, ΔE00", a.delta_e_2000, b.delta_e_2000, ".2f")
        band = a.band_delta_e_2000, b.band_delta_e_2000
        yield from differ("bytes", f"{name}, part may be off by ΔE00", *band, ".0f")
        if a.in_gamut is not None and b.in_gamut is not None and a.in_gamut != b.in_gamut:
            words = {True: "yes", False: "no"}
            what = f"{name}, the LEDs can make it"
            yield from say("bytes", what, words[a.in_gamut], words[b.in_gamut])


def _walls(old: BarriersRow, new: BarriersRow, pairs: Pairs) -> Iterator[Change]:
    thick = old.wall_thickness_mm, new.wall_thickness_mm
    yield from differ("walls", "thickness", *thick, ".4g", " mm")
    yield from differ("walls", "height", old.wall_height_mm, new.wall_height_mm, ".4g", " mm")
    yield from differ("walls", "number", len(old.walls), len(new.walls), "d")
    length = old.total_length_mm, new.total_length_mm
    yield from differ("walls", "length of all", *length, ".0f", " mm")
    # Zones of the old plan by their numbers in the new one; those that are gone count down from −1.
    now = {a.id: (b.id if b else -1 - a.id) for a, b in pairs if a}
    names = {b.id: b.name for _, b in pairs if b} | {
        -1 - a.id: a.name for a, b in pairs if a and not b
    }
    before = _between(old.walls, now)
    after = _between(new.walls, {})
    for ends in sorted(before.keys() | after.keys()):
        what = "between " + " and ".join(names.get(zone, f"zone {zone}") for zone in ends)
        yield from _moved(what, before.get(ends, ()), after.get(ends, ()))


Ends = tuple[int, ...]


def _between(walls: tuple[WallRow, ...], now: dict[int, int]) -> dict[Ends, tuple[WallRow, ...]]:
    found: dict[Ends, tuple[WallRow, ...]] = {}
    for wall in walls:
        ends = tuple(sorted(now.get(zone, zone) for zone in wall.zones))
        found[ends] = (*found.get(ends, ()), wall)
    return found


def _moved(what: str, before: tuple[WallRow, ...], after: tuple[WallRow, ...]) -> Iterator[Change]:
    lengths = sum(wall.length_mm for wall in before), sum(wall.length_mm for wall in after)
    shown = tuple(
        f"{length:.0f} mm" if walls else None
        for length, walls in zip(lengths, (before, after), strict=True)
    )
    if before and after:
        from shapely import MultiLineString

        lines = [MultiLineString([wall.path_mm for wall in walls]) for walls in (before, after)]
        off_mm = float(lines[0].hausdorff_distance(lines[1]))
        if off_mm <= MOVED_MM:
            return
        note = f"moved by up to {off_mm:.1f} mm"
    else:
        note = ""
    yield Change(
        subject="walls", what=what, before=shown[0], after=shown[1], note=note, exact=lengths
    )


def _leds(old: LedsRow, new: LedsRow) -> Iterator[Change]:
    yield from say("LEDs", "part", old.part, new.part)
    yield from say("LEDs", "arrangement", old.arrangement, new.arrangement)
    yield from differ("LEDs", "pitch", old.pitch_mm, new.pitch_mm, ".2f", " mm")
    yield from differ("LEDs", "number", old.count, new.count, "d")
    yield from differ("LEDs", "lit", old.lit, new.lit, "d")
    if len(old.x_mm) == len(new.x_mm) == len(old.y_mm) == len(new.y_mm):
        apart = [
            ((xa - xb) ** 2 + (ya - yb) ** 2) ** 0.5
            for xa, xb, ya, yb in zip(old.x_mm, new.x_mm, old.y_mm, new.y_mm, strict=True)
        ]
        moved = [mm for mm in apart if mm > MOVED_MM]
        if moved:
            yield Change(
                subject="LEDs",
                what="places",
                before=f"{len(apart)} LEDs",
                after=f"{len(apart)} LEDs",
                note=f"{len(moved)} of them moved by up to {max(moved):.1f} mm",
            )


def _zone_leds(pairs: Pairs) -> Iterator[Change]:
    for name, a, b in both(pairs):
        if a.leds is not None and b.leds is not None:
            yield from differ("LEDs", f"in {name}", len(a.leds), len(b.leds), "d")


def _light(pairs: Pairs) -> Iterator[Change]:
    for name, a, b in both(pairs):
        luminance = a.luminance_cd_m2, b.luminance_cd_m2
        yield from differ("light", f"{name}, luminance", *luminance, three_digits, " cd/m²")
        dark = a.evenness.min_over_max, b.evenness.min_over_max
        yield from differ("light", f"{name}, darkest/brightest", *dark, ".2f")
        yield from differ("light", f"{name}, from other zones", a.bleed, b.bleed, ".1%")


def _zone_currents(pairs: Pairs) -> Iterator[Change]:
    for name, a, b in both(pairs):
        planned = a.planned_a, b.planned_a
        yield from differ("power", f"{name}, as planned", *planned, _milliamperes, " mA")


def _milliamperes(current_a: float) -> str:
    return f"{1000 * current_a:.0f}"


def _warnings(old: PlanFile, new: PlanFile) -> Iterator[Change]:
    if old.warnings is None or new.warnings is None:
        return
    before, after = (
        {(w.code, w.where): w.message for w in plan.warnings or ()} for plan in (old, new)
    )
    gone = [key for key in before if key not in after]
    come = [key for key in after if key not in before]
    for key in (*gone, *come, *(key for key in after if key in before)):
        a, b = before.get(key), after.get(key)
        if a != b:
            what = f"[{key[0]}] {key[1]}".rstrip()
            yield Change(subject="warnings", what=what, before=a, after=b)
