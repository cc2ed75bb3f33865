"""Photographs of a sign against its plan: registration, the camera's curve, zones, bleed, LEDs and wires."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from marquee.colour.calibrated import response_tables
from marquee.colour.spaces import srgb_encode
from marquee.errors import InputError
from marquee.photo.bleed import bleed_alone, bleed_by_colour
from marquee.photo.leds import dark_leds
from marquee.photo.look import BURNT, Ground, Laid, corner_distance, ground_of, laid, sight
from marquee.photo.predict import expected_picture, led_light, raster_of
from marquee.photo.register import register
from marquee.photo.signal import Signal, signal_of, without_vignette
from marquee.photo.tone import Ramp, curve_from_ramps, linear_curve, srgb_curve
from marquee.photo.values import (
    ALIKE,
    Array,
    Checked,
    Curve,
    LedDoubt,
    PairBleed,
    Registration,
    Shot,
    Singles,
    State,
    ZonePhoto,
)
from marquee.photo.words import Evidence, findings_of, too_much
from marquee.photo.zones import Balance, balance, evenness, levels
from marquee.plan import Plan

# What registration looks at, best first: every zone lit alike, then as planned, then what else lights all.
_REFERENCES = ("white", "planned", "green", "red", "blue")
# A photograph with more burnt pixels than this where the face is lit is refused.
_MOST_BURNT = 0.5
_RGB = ("red", "green", "blue")
# Exposures that differ by more than this factor stand in a file wrongly, and are taken as the same.
_WIDEST_EXPOSURE = 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pending:
    """A photograph to be read when it is its turn, so that not all lie in memory at once."""

    state: State
    file: str
    read: Callable[[], Shot]


def check_photos(
    plan: Plan,
    photos: Sequence[Pending],
    corners: Array | None = None,
    code: int = 255,
    tell: Callable[[str], None] = lambda _: None,
) -> Checked:
    """Return what photographs from one place tell of a sign.

    Parameters
    ----------
    plan : Plan
        What should have been built.
    photos : sequence of Pending
        Each with the state shown; one that lights all zones at least.
    corners : (4, 2) or None
        The face's corners on the photographs [px], from top left clockwise.
    code : int
        The byte the states red, green, blue and white show.
    tell : callable
        Given a word on what is being done.

    Raises
    ------
    InputError
        Nothing to register by, a state twice, a zone that does not exist, pictures of different sizes, or one too
        dark, burnt out, or of another sign.
    """
    _refuse(plan, photos)
    raster = raster_of(plan)
    ground = ground_of(plan, raster)
    named = {one.state.kind: one for one in photos if one.state.kind not in {"ramp", "zone"}}
    reference = named[next(kind for kind in _REFERENCES if kind in named)]
    tell(f"finding the face in {reference.file} …")
    shot = reference.read()
    black_shot = named["black"].read() if "black" in named else None
    expected = expected_picture(plan, reference.state, raster)
    grey = _grey(shot, black_shot)
    found = register(grey, expected, raster, shot.file, corners, dark_together(plan))
    size = shot.size_px
    black = None if black_shot is None else laid(black_shot, found, raster)
    seen = []
    for one in photos:
        if one.state.kind == "black":
            continue
        tell(f"reading {one.file} …")
        read = shot if one is reference else one.read()
        _refuse_size(read, size, shot.file)
        seen.append(laid(read, found, raster))
    _refuse_burnt(seen, ground)
    first = next((one.exposure for one in seen if one.exposure), None)
    curve = _curve(seen, ground, plan, code, first)
    signals = [
        signal_of(sight(one, curve, ground, black, _exposure(one, first)), plan, ground)
        for one in seen
        if one.state.kind != "ramp"
    ]
    mended, _ = without_vignette(signals, corner_distance(plan, found, size), plan)
    tell("laying it against every LED's light …")
    # The sign as it runs is what the maker knows; else what the face was found by.
    shown = next((one for one in seen if one.state.kind == "planned"), None)
    shown = shown or next(one for one in seen if one.state == reference.state)
    states = tuple(one.state.text for one in photos)
    return _verdict(
        plan, ground, mended, _Taken(found=found, curve=curve, states=states, shown=shown)
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Taken:
    """How the photographs were taken, and the one to show."""

    found: Registration
    curve: Curve
    states: tuple[str, ...]
    shown: Laid


def dark_together(plan: Plan) -> tuple[frozenset[int], ...]:
    """Return the zones that may be dark together: each alone, largest first, and all beyond a break in the chain."""
    order = [int(zone) for zone in dict.fromkeys(plan.chain.zone.tolist()) if zone >= 0]
    size = {zone.id: zone.area_mm2 for zone in plan.zone_map.zones}
    alone = sorted(order, key=lambda zone: (-size[zone], zone))
    beyond = [frozenset(order[k:]) for k in range(len(order) - 2, 0, -1)]
    singles = [frozenset({zone}) for zone in alone]
    return (*singles[:6], *beyond[:4])


def _verdict(
    plan: Plan,
    ground: Ground,
    signals: Sequence[Signal],
    taken: _Taken,
) -> Checked:
    by: dict[str, Signal] = {s.sight.state.kind: s for s in signals}
    by.pop("zone", None)  # these are many, and read one by one
    alone = [one for one in signals if one.sight.state.kind == "zone"]
    read = ground.read(plan.transfer.lux_per_cd)
    even = by.get("planned", by.get("white"))
    level = levels(by["white"], plan) if "white" in by else {}
    dark = levels(even, plan) if even is not None else {}
    told = _balance(by, plan)
    leds = _leds(by, ground, plan)
    pairs = [pair for one in alone for pair in bleed_alone(one, read, plan)]
    if "planned" in by:
        done = {pair.source for pair in pairs}
        more = bleed_by_colour(by["planned"].sight, read, plan)
        pairs += [pair for pair in more if pair.source not in done]
    zones = tuple(
        one
        for zone in plan.zone_map.zones
        if (one := _zone(plan, zone.id, even, level, told, pairs)) is not None
    )
    evidence = Evidence(
        signals=by,
        alone=tuple(alone),
        levels=dark,
        balance=told,
        curve=taken.curve,
        states=taken.states,
    )
    strayed = tuple(pair for pair in pairs if too_much(pair))
    return Checked(
        registration=taken.found,
        curve=taken.curve,
        states=taken.states,
        zones=zones,
        pairs=tuple(pairs),
        strayed=strayed,
        leds=leds,
        signals=None if told is None else tuple(float(v) for v in told.signals),
        face=_shown(taken.shown),
        face_file=taken.shown.file,
        findings=findings_of(plan, zones, strayed, leds, evidence),
    )


def _shown(one: Laid) -> NDArray[np.uint8]:
    """Return a photograph on the raster as a screen shows it."""
    coded = np.clip(np.nan_to_num(one.coded), 0, 1).astype(float)
    if one.linear:
        coded = srgb_encode(coded)
    return np.asarray(np.rint(np.clip(coded, 0, 1) * 255), np.uint8)


def _refuse(plan: Plan, photos: Sequence[Pending]) -> None:
    seen: dict[str, str] = {}
    zones = {zone.id for zone in plan.zone_map.zones}
    for one in photos:
        if one.state.text in seen:
            raise InputError(
                one.file,
                f"shows the state {one.state.text}, and so does {seen[one.state.text]}",
                "name one photograph a state: black.jpg, red.jpg, …, or --state red=IMG_7.jpg",
            )
        seen[one.state.text] = one.file
        if one.state.kind == "zone" and one.state.number not in zones:
            raise InputError(
                one.file,
                f"zone {one.state.number} does not exist",
                f"zones are {', '.join(str(number) for number in sorted(zones))}",
            )
    if not any(one.state.kind in _REFERENCES for one in photos):
        raise InputError(
            "photographs",
            "none shows all zones lit",
            "add white.jpg (all LEDs white) or one of the sign as planned",
        )


def _refuse_size(shot: Shot, size: tuple[int, int], reference: str) -> None:
    if shot.size_px != size:
        raise InputError(
            shot.file,
            f"is {shot.size_px[0]} × {shot.size_px[1]} pixels, {reference} is {size[0]} × {size[1]}",
            "take all photographs from one place with one setting",
        )


def _refuse_burnt(seen: Sequence[Laid], ground: Ground) -> None:
    for one in seen:
        lit = one.coded[ground.inner]
        # A single channel's state lights one of the camera's channels; any of the three may burn.
        share = float((lit >= BURNT).any(axis=1).mean()) if len(lit) else 0.0
        if share > _MOST_BURNT and one.state.kind != "ramp":
            raise InputError(
                one.file,
                f"is burnt out on {share:.0%} of the lit face",
                "expose shorter, all photographs alike, so that nothing comes near full white",
            )


def _grey(shot: Shot, black: Shot | None) -> Singles:
    pixels: NDArray[np.floating[Any]] = shot.pixels.astype(np.float32) / shot.most
    if black is not None:
        _refuse_size(black, shot.size_px, shot.file)
        pixels = np.maximum(pixels - black.pixels.astype(np.float32) / black.most, 0)
    grey = pixels.max(axis=2) if shot.state.kind in _RGB else pixels.mean(axis=2)
    return np.asarray(np.sqrt(grey) if shot.linear else grey, np.float32)


def _curve(
    seen: Sequence[Laid], ground: Ground, plan: Plan, code: int, first: float | None
) -> Curve:
    if seen[0].linear:
        return linear_curve()
    tables = response_tables(plan.part)
    ramps = []
    for one in seen:
        if one.state.kind not in {"ramp", "white"}:
            continue
        shown = code if one.state.kind == "white" else one.state.number
        lit = one.coded[ground.inner]
        ramps.append(
            Ramp(
                code=shown,
                coded=lit[np.isfinite(lit).all(axis=1)],
                light=tables[:3, shown] * _exposure(one, first),
            )
        )
    return curve_from_ramps(ramps) or srgb_curve()


def _exposure(one: Laid, first: float | None) -> float:
    if one.exposure is None or first is None:
        return 1.0
    ratio = one.exposure / first
    return ratio if 1 / _WIDEST_EXPOSURE < ratio < _WIDEST_EXPOSURE else 1.0


def _balance(by: Mapping[str, Signal], plan: Plan) -> Balance | None:
    if not all(kind in by for kind in _RGB):
        return None
    return balance(by["red"], by["green"], by["blue"], plan)


def _leds(by: Mapping[str, Signal], ground: Ground, plan: Plan) -> tuple[LedDoubt, ...]:
    states = [kind for kind in (*ALIKE, "planned") if kind in by]
    if "white" in states or all(kind in states for kind in _RGB):
        states = [kind for kind in states if kind != "planned"]
    light = led_light(plan)
    read = ground.read(light.lux)
    return tuple(
        doubt for kind in states for doubt in dark_leds(by[kind], light, read, ground, plan)
    )


def _zone(
    plan: Plan,
    zone: int,
    even: Signal | None,
    level: Mapping[int, float],
    told: Balance | None,
    pairs: Sequence[PairBleed],
) -> ZonePhoto | None:
    one = None if even is None else evenness(even, zone, plan)
    if one is None:
        return None
    own = [pair for pair in pairs if pair.zone == zone]
    light = next(z for z in plan.light.zones if z.zone == zone)
    measured = {pair.source: pair.measured for pair in own}
    known = dict(light.bleed_from)
    total = sum(measured.values()) + sum(s for k, s in known.items() if k not in measured)
    balanced = None if told is None else told.zones.get(zone)
    return ZonePhoto(
        zone=zone,
        light=level.get(zone),
        min_over_mean=one.min_over_mean,
        min_over_max=one.min_over_max,
        predicted_min_over_mean=one.predicted_min_over_mean,
        predicted_min_over_max=one.predicted_min_over_max,
        darkest_mm=one.darkest_mm,
        bleed=total if measured else None,
        predicted_bleed=light.bleed,
        balance=None if balanced is None else tuple(float(v) for v in balanced),
    )
