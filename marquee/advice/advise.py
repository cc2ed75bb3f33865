"""What would make uneven zones even and keep bleed small: found by running the light model again."""

from __future__ import annotations

from collections.abc import Callable

from marquee.advice.trial import Trials
from marquee.box.light_metrics import BLEED_SHARE, LEDS_VISIBLE
from marquee.box.materials import box_optics, find_surface, load_materials
from marquee.plan import Plan
from marquee.values import ZoneLight
from marquee.values_light import Advice, Change, Knob, Trial

# LEDs per metre that strips are sold with (common practice, no source); the pitch follows by arithmetic: 1000 / n mm.
STRIPS_PER_M = (30, 60, 74, 96, 144)
# Beyond twice the depth a box is another box; zones beyond the least even few repeat the same advice (judgement).
_DEEPER, _DEEPEST = 1.25, 2.0
_MOST_ZONES = 4
# Depths are told to the millimetre, gaps to a tenth, as a maker can build them.
_DEPTH_STEP_MM, _GAP_STEP_MM = 1.0, 0.1
_USUAL_GAP_MM, _WIDEST_GAP_MM = 1.0, 3.0
# Leaks in the reference boxes grow by 6 from a gap of 1 mm to 3 mm: a power of 1.6 (log 6 / log 3).
_GAP_POWER = 1.6
# Smaller changes of white's luminance are not worth a word (judgement).
_WHITE_SHARE = 0.05


def advise(plan: Plan, aim: float = LEDS_VISIBLE) -> tuple[Advice, ...]:
    """Return advice on the least even zones, then on the wall gap; every figure is the light model's.

    For each zone below the aim: the least depth found that reaches it, the coarsest common strip that does,
    the whitest paint of the table. Where none does, the best of those tried is told as such.

    Parameters
    ----------
    plan : Plan
    aim : float
        E_min / E_max a zone should have, 0 to 1.
    """
    trials = Trials(plan)
    uneven = uneven_zones(plan, aim)
    trials.ask(_sure_to_be_asked(plan, bool(uneven)))
    told: list[Advice] = []
    for zone in uneven:
        for answer in (_deeper, _finer, _whiter):
            advice = answer(trials, zone.zone, aim)
            if advice is not None:
                told.append(advice)
        if not any(a.enough for a in told if a.zone == zone.zone):
            both = _deeper_and_finer(trials, zone.zone, aim)
            if both is not None:
                told.append(both)
    gap = _gap(trials)
    return (*told, gap) if gap is not None else tuple(told)


def _sure_to_be_asked(plan: Plan, uneven: bool) -> list[Change]:
    """Return changes the questions begin with, longest first, to be tried side by side."""
    asked = []
    if plan.box.walls:
        asked.append(Change(wall_gap_mm=_gaps(plan)[0]))
    if uneven:
        asked += [Change(pitch_mm=pitch) for pitch in _finer_pitches(plan)[:1]]
        asked.append(Change(depth_mm=_depths(plan.box.depth_mm)[0]))
        paint = _whitest(plan)
        asked += [] if paint is None else [Change(paint=paint)]
    return asked


def uneven_zones(plan: Plan, aim: float) -> tuple[ZoneLight, ...]:
    """Return the zones below the aim that have light of their own, least even first, at most four."""
    lit = [z for z in plan.light.zones if plan.transfer.self_lux_per_cd[z.zone] > 0]
    uneven = [z for z in lit if z.luminance_cd_m2 > 0 and z.min_over_max < aim]
    return tuple(sorted(uneven, key=lambda z: (z.min_over_max, z.zone))[:_MOST_ZONES])


def _evenness(trial: Trial, zone: int) -> float:
    return next(z.min_over_max for z in trial.zones if z.zone == zone)


def _least(
    excess: Callable[[float], float],
    ask: Callable[[list[float]], None],
    tried: tuple[float, ...],
    step: float,
) -> float | None:
    """Return a multiple of the step that works, next to one that fails; None if none of `tried` works.

    It works where the excess is not negative; the first of `tried`, in rising order, is taken to fail. By
    interpolation, every third time by halves, so that odd shapes end too, and by two neighbours at once: each try
    is a run of the light model, and `ask` runs several side by side.
    """
    works = next((k for k, value in enumerate(tried) if k and excess(value) >= 0), None)
    if works is None:
        return None
    low, high = round(tried[works - 1] / step), round(tried[works] / step)
    at_low, at_high = excess(tried[works - 1]), excess(tried[works])
    tries = 0
    while high - low > 1:
        tries += 1
        share = 0.5 if tries % 3 == 0 else at_low / min(at_low - at_high, -1e-12)
        middle = min(max(low + round(share * (high - low)), low + 1), high - 1)
        pair = sorted(
            {max(middle - 1, low + 1), middle, min(middle + (middle == low + 1), high - 1)}
        )
        values = [round(one * step, 6) for one in pair]
        ask(values)
        for one, value in zip(pair, values, strict=True):
            found = excess(value)
            if found >= 0:
                high, at_high = one, found
                break
            low, at_low = one, found
    return round(high * step, 6)


def _deeper(trials: Trials, zone: int, aim: float) -> Advice | None:
    depth = trials.plan.box.depth_mm

    def change(depth_mm: float) -> Change:
        return Change() if depth_mm == depth else Change(depth_mm=depth_mm)

    def excess(depth_mm: float) -> float:
        return _evenness(trials.of(change(depth_mm)), zone) - aim

    depths = _depths(depth)
    least = _least(
        excess,
        lambda values: trials.ask([change(value) for value in values]),
        (depth, *depths),
        _DEPTH_STEP_MM,
    )
    return _told(
        trials, zone, "depth", Change(depth_mm=depths[-1] if least is None else least), aim
    )


def _depths(depth_mm: float) -> tuple[float, float]:
    """Return the depths tried first."""
    return (
        round(_DEEPER * depth_mm / _DEPTH_STEP_MM) * _DEPTH_STEP_MM,
        round(_DEEPEST * depth_mm / _DEPTH_STEP_MM) * _DEPTH_STEP_MM,
    )


def _finer(trials: Trials, zone: int, aim: float) -> Advice | None:
    pitches = _finer_pitches(trials.plan)
    best: Change | None = None
    for pitch_mm in pitches:
        change = Change(pitch_mm=pitch_mm)
        if best is None or _evenness(trials.of(change), zone) > _evenness(trials.of(best), zone):
            best = change
        if _evenness(trials.of(change), zone) >= aim:
            break
    return None if best is None else _told(trials, zone, "pitch", best, aim)


def _finer_pitches(plan: Plan) -> tuple[float, ...]:
    pitches = [1000 / per_m for per_m in STRIPS_PER_M]
    return tuple(p for p in pitches if plan.part.body_mm <= p < 0.99 * plan.chain.led_pitch_mm)


def _whiter(trials: Trials, zone: int, aim: float) -> Advice | None:
    paint = _whitest(trials.plan)
    return None if paint is None else _told(trials, zone, "paint", Change(paint=paint), aim)


def _whitest(plan: Plan) -> str | None:
    """Return the whitest paint of the table if it is whiter than the plan's."""
    whitest = max(load_materials().surfaces.values(), key=lambda s: (s.reflectance, s.name))
    return (
        whitest.name
        if whitest.reflectance > box_optics(plan.project.box).surface_reflectance
        else None
    )


def _deeper_and_finer(trials: Trials, zone: int, aim: float) -> Advice | None:
    """Return the finest strip that helped, in a box half as deep again and twice as deep, whichever is enough."""
    depth = trials.plan.box.depth_mm
    pitches = _finer_pitches(trials.plan)
    if not pitches:
        return None
    pitch_mm = max(pitches, key=lambda p: _evenness(trials.of(Change(pitch_mm=p)), zone))
    changes = [
        Change(depth_mm=round(share * depth), pitch_mm=pitch_mm) for share in (1.5, _DEEPEST)
    ]
    first = next((c for c in changes if _evenness(trials.of(c), zone) >= aim), changes[-1])
    return _told(trials, zone, "depth", first, aim)


def _told(trials: Trials, zone: int, what: Knob, change: Change, aim: float) -> Advice | None:
    """Return the advice in words; None where the change makes nothing more even."""
    before, trial = trials.planned, trials.of(change)
    was, is_ = _evenness(before, zone), _evenness(trial, zone)
    if is_ <= was + 0.005:
        return None
    enough = is_ >= aim
    start, end = _ends(before, trial, what)
    more_a = trial.current_a - before.current_a
    # A figure that rounds to the aim without reaching it is told to one digit more.
    digits = 3 if not enough and f"{is_:.2f}" == f"{aim:.2f}" else 2
    return Advice(
        zone=zone,
        about="evenness",
        what=what,
        start=start,
        end=end,
        before=was,
        after=is_,
        current_change_a=more_a,
        enough=enough,
        message=f"{_change_words(before, trial, change)} gives evenness {is_:.{digits}f}{_cost(before, trial)}"
        + ("" if enough else f": not the {aim:.2f} aimed at"),
        change=change,
    )


def _ends(before: Trial, trial: Trial, what: Knob) -> tuple[float | str, float | str]:
    if what == "paint":
        return before.paint, trial.paint
    if what == "pitch":
        return before.pitch_mm, trial.pitch_mm
    return before.depth_mm, trial.depth_mm


def _change_words(before: Trial, trial: Trial, change: Change) -> str:
    words = []
    if change.depth_mm is not None:
        words.append(f"depth {before.depth_mm:.4g} → {trial.depth_mm:.4g} mm")
    if change.pitch_mm is not None:
        words.append(
            f"pitch {before.pitch_mm:.1f} → {trial.pitch_mm:.1f} mm ({1000 / trial.pitch_mm:.0f} a metre, "
            f"{before.led_count} → {trial.led_count} LEDs)"
        )
    if change.paint is not None:
        surface = find_surface(change.paint)
        words.append(f"paint: {surface.title} (reflectance {surface.reflectance:g})")
    return " and ".join(words)


def _cost(before: Trial, trial: Trial) -> str:
    more_a = trial.current_a - before.current_a
    words = ""
    if abs(more_a) >= 0.005:
        words = f" and {'costs' if more_a > 0 else 'saves'} {abs(more_a):.2f} A"
    if abs(trial.white_cd_m2 - before.white_cd_m2) < _WHITE_SHARE * before.white_cd_m2:
        return words
    return f"{words} (white {before.white_cd_m2:.0f} → {trial.white_cd_m2:.0f} cd/m²)"


def _gap(trials: Trials) -> Advice | None:
    """Return the widest wall gap that costs no zone more than its share of bleed, to a tenth of a millimetre."""
    plan = trials.plan
    if not plan.box.walls:
        return None
    closed = {z.zone: z.bleed for z in _gap_trial(trials, 0.0).zones}
    gaps = _gaps(plan)
    widest = gaps[-1]

    def costs(gap_mm: float) -> tuple[float, int]:
        zones = _gap_trial(trials, gap_mm).zones
        return max((z.bleed - closed[z.zone], -z.zone) for z in zones)

    def excess(gap_mm: float) -> float:
        return costs(gap_mm)[0] - BLEED_SHARE

    def ask(gaps_mm: list[float]) -> None:
        planned_mm = plan.box.wall_gap_mm
        trials.ask([Change(wall_gap_mm=gap) for gap in gaps_mm if gap != planned_mm])

    if len(gaps) > 1:
        # Bleed grows about as a power of the gap: the next one tried is where it would reach the limit.
        cost = max(costs(gaps[0])[0], 1e-6)
        near = round(gaps[0] * (BLEED_SHARE / cost) ** (1 / _GAP_POWER), 1)
        gaps = tuple(sorted({min(max(near, _GAP_STEP_MM), widest), *gaps}))
    gap = _least(excess, ask, (0.0, *gaps), _GAP_STEP_MM)
    if gap is None:
        cost, zone = costs(widest)
        message = f"a wall gap of {widest:g} mm, the most tried, costs at most {cost:.1%} bleed (zone {-zone})"
        return _gap_advice(trials, widest, message)
    cost, zone = costs(gap)
    kept = round(gap - _GAP_STEP_MM, 6)
    message = (
        f"a wall gap above {kept:g} mm costs more than {BLEED_SHARE:.0%} bleed, "
        f"in zone {-zone} first ({cost:.1%} at {gap:g} mm)"
    )
    planned = plan.box.wall_gap_mm
    if planned > kept:
        cost, zone = costs(planned)
        message += f"; the {planned:g} mm planned cost {cost:.1%} in zone {-zone}"
    return _gap_advice(trials, kept, message)


def _gaps(plan: Plan) -> tuple[float, ...]:
    """Return the gaps tried first, the widest last."""
    widest = round(min(_WIDEST_GAP_MM, plan.box.depth_mm / 4), 1)
    return (_USUAL_GAP_MM, widest) if widest > _USUAL_GAP_MM else (widest,)


def _gap_trial(trials: Trials, gap_mm: float) -> Trial:
    planned = trials.plan.box.wall_gap_mm
    return trials.of(Change() if gap_mm == planned else Change(wall_gap_mm=gap_mm))


def _gap_advice(trials: Trials, gap_mm: float, message: str) -> Advice:
    planned, trial = trials.planned, _gap_trial(trials, gap_mm)
    if _gap_trial(trials, 0.0).most_bleed > BLEED_SHARE:
        zone = max(_gap_trial(trials, 0.0).zones, key=lambda z: (z.bleed, -z.zone))
        message += f"; with no gap at all zone {zone.zone} gets {zone.bleed:.1%} from others, "
        message += (
            "through the notches where strips pass under walls: close them around the strip"
            if trials.plan.transfer.notches
            else "where walls do not close: look for an opening in barriers.png"
        )
    return Advice(
        zone=None,
        about="bleed",
        what="wall gap",
        start=planned.wall_gap_mm,
        end=gap_mm,
        before=planned.most_bleed,
        after=trial.most_bleed,
        current_change_a=trial.current_a - planned.current_a,
        enough=planned.wall_gap_mm <= gap_mm,
        message=message,
        change=Change(wall_gap_mm=gap_mm),
    )
