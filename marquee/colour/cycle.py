"""The hue cycle of zones whose colours cannot be separated: even steps, one luminance, no flashing."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.colour.constants import D65_XYZ, XYZ_TO_SRGB
from marquee.colour.difference import delta_e_2000
from marquee.colour.findings import EVEN_WITHIN
from marquee.colour.quantise import Wanted, light_of_code, near_codes
from marquee.colour.seen import Seen
from marquee.colour.solve import Emitters, brightest, can_make, least_current
from marquee.colour.spaces import triple, xyz_to_lab, xyz_to_uv_prime
from marquee.errors import QuantityError
from marquee.project import ColourSettings
from marquee.values import HueCycle

# How far out from white towards the part's purest colours the cycle runs: a taste setting, no source. At 1 it
# would touch the corners, where one channel alone makes the light and hue moves by jumps.
_PURITY = 0.9
_FINE = 2048  # directions the circle is sampled in before even steps are laid along it
# Choices of codes weighed for each step: the few nearest, and where these make uneven steps all beside the exact.
_NEAR = (64, 256)
# Steps this far from the mean begin to weigh as much as a whole step's error of colour, and luminance this far from
# the circle's.
_STEP_OFF, _LEVEL_OFF = 0.1, 0.05
_ROUNDS = 6  # corrections of the even spacing; the longest step settles within 1 % after three

# General flash and red flash thresholds: WCAG 2.2 (W3C Recommendation 2023), success criterion 2.3.1 and the
# definitions of "general flash and red flash thresholds" and "relative luminance".
FLASHES_PER_SECOND = 3.0
_FLASH_CHANGE, _FLASH_DARKER = 0.10, 0.80
_RED_SHARE, _RED_MOVE_UV = 0.8, 0.2


def hue_circle(part: Emitters, steps: int) -> tuple[NDArray[np.float64], float]:
    """Return colours (steps, 3) of one luminance, Y = 1, evenly spaced in CIEDE2000, and their intensity [cd].

    The intensity is the largest the part can keep up all round; CIEDE2000 is taken against the part's own
    brightest white.

    Parameters
    ----------
    part : Emitters
        Seen under the sign's white.
    steps : int
        Length of the table.
    """
    angles = np.linspace(0, 2 * np.pi, _FINE, endpoint=False)
    circle = _circle(angles, part)
    least_cd = float(brightest(circle, part).min())
    white_cd = float(brightest(D65_XYZ[None], part)[0])
    places = _even(circle * (least_cd / white_cd), steps)
    turned = np.interp(places, np.arange(_FINE + 1), np.append(angles, 2 * np.pi))
    chosen = _circle(turned, part)
    return chosen, float(brightest(chosen, part).min())


def cycle_codes(
    circle: NDArray[np.float64],
    intensity_cd: float,
    white_cd: float,
    part: Emitters,
    response: NDArray[np.float64],
) -> NDArray[np.int64]:
    """Return the codes (steps, n) that meet the circle at an intensity [cd] against a white's.

    Each step's nearest codes would make uneven steps, one error added to the next one's, so of the few nearest
    the row is taken whose steps are most alike.
    """
    light = circle * intensity_cd
    wanted = Wanted(
        lab=xyz_to_lab(light / white_cd, D65_XYZ),
        scale_cd=np.full(len(circle), white_cd),
        drive=least_current(light, part),
    )
    few, all_beside = _NEAR
    codes, uneven = _most_even(wanted, intensity_cd, part, response, few)
    if uneven > EVEN_WITHIN:
        codes, _ = _most_even(wanted, intensity_cd, part, response, all_beside)
    return codes


def _most_even(
    wanted: Wanted,
    intensity_cd: float,
    part: Emitters,
    response: NDArray[np.float64],
    count: int,
) -> tuple[NDArray[np.int64], float]:
    """Return the codes (steps, n), of the `count` nearest for each step, and how far a step is off the mean."""
    white_cd = wanted.scale_cd[0]
    tries = near_codes(wanted, part, response, count)
    shown = light_of_code(tries, response) @ part.columns
    labs = xyz_to_lab(shown / white_cd, D65_XYZ)
    # steps[i, j, k]: from step i's choice j to step i + 1's choice k.
    steps = delta_e_2000(labs[:, :, None], np.roll(labs, -1, axis=0)[:, None])
    mean = max(float(delta_e_2000(wanted.lab, np.roll(wanted.lab, -1, axis=0)).mean()), 1e-9)
    uneven = ((steps / mean - 1) / _STEP_OFF) ** 4
    off = (delta_e_2000(wanted.lab[:, None], labs) / mean) ** 2
    off += ((shown[..., 1] / intensity_cd - 1) / _LEVEL_OFF) ** 2
    row = np.array(_closed_path(uneven, off))
    at = np.arange(len(tries))
    taken = steps[at, row, np.roll(row, -1)]
    # So dim that all steps have the same codes: none is like the mean.
    uneven_by = float(np.abs(taken / max(float(taken.mean()), 1e-9) - 1).max())
    return np.asarray(tries[at, row], np.int64), uneven_by


def solve_cycle(
    seen: Seen, white_cd: float, settings: ColourSettings
) -> tuple[HueCycle, NDArray[np.float64]]:
    """Return the hue cycle at the sign's brightness, and its steps (steps, 3) relative to white under D65.

    Parameters
    ----------
    seen : Seen
        The part under the sign's white.
    white_cd : float
        Intensity of the sign's white [cd]; the cycle gets no brighter.
    settings : ColourSettings
        Brightness, length and period of the cycle.

    Raises
    ------
    QuantityError
        The period would make it flash.
    """
    circle, most_cd = hue_circle(seen.emitters, settings.cycle_steps)
    intensity_cd = min(most_cd * settings.brightness, white_cd)
    # The cycle runs at the full global current: the setting cannot step evenly along with the codes.
    codes = cycle_codes(circle, intensity_cd, white_cd, seen.emitters, seen.response)
    light = light_of_code(codes, seen.response)
    look = light @ seen.emitters.columns / white_cd
    check_period(settings.cycle_period_s, look, "colour.cycle_period_s")
    emitted = light @ np.array(seen.emission.xyz_cd)
    cycle = HueCycle(
        codes=tuple(tuple(int(c) for c in row) for row in codes),
        xyz_cd=tuple(triple(row) for row in emitted),
        period_s=settings.cycle_period_s,
    )
    return cycle, look


def check_period(period_s: float, xyz: NDArray[np.float64], where: str) -> None:
    """Refuse a period in which the table's lights (steps, 3) would flash.

    Parameters
    ----------
    period_s : float
        One turn of the table [s].
    xyz : (steps, 3)
        What is shown, relative to the sign's white, seen under D65.
    where : str
        The option or field, for the message.

    Raises
    ------
    QuantityError
        More than three flashes in a second: WCAG 2.2, success criterion 2.3.1.
    """
    flashes = max(1, count_flashes(xyz))
    if flashes / period_s > FLASHES_PER_SECOND * (1 + 1e-9):
        raise QuantityError(
            where,
            f"{period_s:g} s makes {flashes / period_s:.3g} flashes a second, and flashing above "
            f"{FLASHES_PER_SECOND:g} a second can bring on seizures (WCAG 2.2, 2.3.1)",
            f"give {flashes / FLASHES_PER_SECOND:.2g} s or more; 5 s and up is calm",
        )


def count_flashes(xyz: NDArray[np.float64]) -> int:
    """Return how many general or red flashes one turn of lights (steps, 3), relative to white, holds.

    A general flash is a pair of opposing changes in relative luminance of 10 % or more of the maximum where
    the darker is below 0.80; a red flash a pair of opposing changes to and from saturated red.
    """
    # Relative luminance ends at 1, the brightest there is; a cycle dimmer than white never reaches it.
    luminance = xyz[:, 1] / max(float(xyz[:, 1].max()), 1.0)
    return max(_opposing_pairs(luminance), _red_pairs(xyz))


def _opposing_pairs(luminance: NDArray[np.float64]) -> int:
    turns, direction, extreme = 0, 0, float(luminance[0])
    for value in (float(v) for v in np.concatenate([luminance[1:], luminance])):
        darker = min(value, extreme)
        if direction >= 0 and extreme - value >= _FLASH_CHANGE and darker < _FLASH_DARKER:
            turns, direction, extreme = turns + 1, -1, value
        elif direction <= 0 and value - extreme >= _FLASH_CHANGE and darker < _FLASH_DARKER:
            turns, direction, extreme = turns + 1, 1, value
        elif (direction > 0 and value > extreme) or (direction < 0 and value < extreme):
            extreme = value
    # Two turns of the table were walked, two opposing changes make a flash.
    return -(-turns // 4)


def _red_pairs(xyz: NDArray[np.float64]) -> int:
    linear = np.maximum(xyz @ XYZ_TO_SRGB.T, 0.0)
    red = linear[:, 0] >= _RED_SHARE * np.maximum(linear.sum(axis=1), 1e-12)
    if red.all() or not red.any():
        return 0
    uv = xyz_to_uv_prime(xyz)
    reach = np.linalg.norm(uv[red][:, None] - uv[~red][None], axis=-1).max()
    entries = int((red & ~np.roll(red, 1)).sum())
    return entries if reach > _RED_MOVE_UV else 0


def _circle(angles: NDArray[np.float64], part: Emitters) -> NDArray[np.float64]:
    """Return colours (n, 3), Y = 1, in directions of the u′v′ diagram at `_PURITY` of the way to the gamut's edge.

    What a part can mix is convex in u′v′, so that the circle has no jumps wherever white lies in it.
    """
    white = xyz_to_uv_prime(D65_XYZ)
    direction = np.stack([np.cos(angles), np.sin(angles)], axis=-1)

    def light(reach: NDArray[np.float64]) -> NDArray[np.float64]:
        uv = white + reach[:, None] * direction
        u, v = uv[:, 0], np.maximum(uv[:, 1], 1e-6)
        # CIE 15:2018, 8.1, solved for X and Z at Y = 1.
        return np.stack([9 * u / (4 * v), np.ones_like(u), (12 - 3 * u - 20 * v) / (4 * v)], -1)

    low, high = np.zeros(len(angles)), np.ones(len(angles))
    for _ in range(40):
        middle = (low + high) / 2
        inside = can_make(light(middle), part, any_brightness=True)
        inside &= (white + middle[:, None] * direction)[:, 1] > 1e-6
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    return light(_PURITY * low)


def _even(circle: NDArray[np.float64], steps: int) -> NDArray[np.float64]:
    """Return places along a closed, finely sampled circle between which CIEDE2000 is the same."""
    labs = xyz_to_lab(circle, D65_XYZ)
    closed = np.vstack([labs, labs[:1]])
    along = np.concatenate([[0.0], np.cumsum(delta_e_2000(closed[:-1], closed[1:]))])
    index = np.arange(len(along))
    goal = np.linspace(0, along[-1], steps, endpoint=False)
    for _ in range(_ROUNDS):
        # A step's difference is not quite the sum of its parts: shorten the long ones.
        places = np.interp(goal, along, index)
        ends = np.stack([np.interp(places, index, closed[:, c]) for c in range(3)], axis=-1)
        lengths = delta_e_2000(ends, np.roll(ends, -1, axis=0))
        total = np.concatenate([[0.0], np.cumsum(lengths)])
        knots = np.append(goal, along[-1])
        even = np.linspace(0, total[-1], steps, endpoint=False)
        goal = np.interp(even, total, knots)
    return np.asarray(np.interp(goal, along, index), float)


def _closed_path(
    between: NDArray[np.float64], at: NDArray[np.float64], starts: int = 4
) -> list[int]:
    """Return the choice per step of least total cost round a closed row (Viterbi, 1967).

    `between` (s, k, k) from one step's choice to the next one's, `at` (s, k). The row is closed by trying the
    cheapest few choices of its first step.
    """
    count = len(at)
    best_cost, best = np.inf, [0] * count
    for start in np.argsort(at[0], kind="stable")[:starts]:
        cost = np.full(at.shape[1], np.inf)
        cost[start] = at[0, start]
        back = np.zeros(at.shape, int)
        for step in range(1, count):
            total = cost[:, None] + between[step - 1]
            back[step] = total.argmin(axis=0)
            cost = total.min(axis=0) + at[step]
        cost = cost + between[count - 1][:, start]
        if cost.min() < best_cost:
            best_cost, last = float(cost.min()), int(cost.argmin())
            best = [last]
            for step in range(count - 1, 0, -1):
                best.append(int(back[step, best[-1]]))
            best.reverse()
    return best
