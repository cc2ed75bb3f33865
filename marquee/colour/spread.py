"""Past eight bits without flicker: neighbouring codes shared out over a zone's LEDs, which mix in the box."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from marquee.colour.quantise import (
    TIE_DECIMALS,
    Choice,
    Wanted,
    code_of_light,
    error_of,
    light_between,
    light_of_code,
    nearest_code,
    offsets,
)
from marquee.colour.solve import Emitters
from marquee.colour.spaces import triple, xyz_to_lab
from marquee.values import Spread

# Where each channel's count starts, in turns: multiples of the golden section's remainder lie furthest apart, so
# that the raised LEDs of red, green, blue and white fall in different places.
_GOLDEN = 0.6180339887498949
# With four emitters the codes chosen may sit far from the exact drives, at more current, and land nearer by this
# much; the spread, at least current, is still taken.
_GIVEN_UP = 0.25


def spread_codes(
    wanted: Wanted,
    choice: Choice,
    part: Emitters,
    response: NDArray[np.float64],
    led_counts: NDArray[np.int64],
    global_top: int = 0,
) -> tuple[Spread | None, ...]:
    """Return, per zone, how neighbouring codes are shared out over its LEDs; None where that gains nothing.

    Parameters
    ----------
    wanted, choice, part, response
        As in `choose_codes`, and what it chose: each channel's spread stays within one step of its exact drive.
    led_counts : (z,)
        LEDs of each zone; a single one has nobody to share with.
    global_top : int
        Largest global current setting, 0 where the part has none; the setting chosen is kept.
    """
    share = np.ones(len(led_counts))
    if choice.global_code is not None:
        share = choice.global_code / global_top
    scaled = Wanted(
        lab=wanted.lab,
        scale_cd=wanted.scale_cd / share,
        drive=np.minimum(wanted.drive / share[:, None], 1.0),
    )
    counts = np.maximum(led_counts, 1)[:, None, None]
    top = response.shape[-1] - 1
    # In steps of 1/n of a code, n LEDs give every sum of codes: the search is the same as for whole codes.
    exact = code_of_light(scaled.drive, response)[:, None, :] * counts
    tries = np.clip(np.floor(exact + 1e-9).astype(np.int64) + offsets(part.count, 0, 1), 0, None)
    tries = np.minimum(tries, top * counts)
    light = light_between(tries / counts, response)
    errors = np.round(error_of(light, scaled, part), TIE_DECIMALS)
    best = np.argmin(errors, axis=1)
    rows = np.arange(len(best))
    plain = error_of(light_of_code(nearest_code(scaled.drive, response), response), scaled, part)
    worst_allowed = np.minimum(plain, choice.delta_e_2000 + _GIVEN_UP)
    made = light[rows, best] @ part.columns / scaled.scale_cd[:, None]
    found: list[Spread | None] = []
    for row, total in enumerate(tries[rows, best]):
        of = int(led_counts[row])
        error = float(errors[row, best[row]])
        if of < 2 or error > worst_allowed[row] or not (total % of).any():
            found.append(None)
            continue
        found.append(
            Spread(
                codes=tuple(int(c) // of for c in total),
                raised=tuple(int(c) % of for c in total),
                start=tuple(int(of * (c * _GOLDEN % 1)) for c in range(part.count)),
                of=of,
                delta_e_2000=error,
                predicted_lab_d65=triple(xyz_to_lab(made[row])),
                mean_light=tuple(float(v) for v in light[row, best[row]] * share[row]),
            )
        )
    return tuple(found)


def led_codes(spread: Spread) -> NDArray[np.int64]:
    """Return the codes (of, n) of a zone's LEDs in chain order: each channel's raised ones as even as can be.

    LED k is raised where start + (k + 1)·raised passes a multiple of the count that start + k·raised has not:
    the even spacing of Bresenham, IBM Systems Journal 4(1), 1965, 25–30. In firmware: add `raised`, subtract the
    count on reaching it, and then send one code more.
    """
    led = np.arange(spread.of)[:, None]
    start, raised = np.array(spread.start), np.array(spread.raised)
    passed = (start + (led + 1) * raised) // spread.of - (start + led * raised) // spread.of
    return np.asarray(np.array(spread.codes) + passed, np.int64)
