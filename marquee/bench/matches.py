"""Matched pairs to a fit: what the part is, which pair looks like a slip, and whether columns are swapped."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from marquee.bench.fit import Fitted, fit_rows, pair_jacobian, prior_of
from marquee.bench.model import Bench, Rows, misfit, rows_of, shown_xyz
from marquee.bench.values import MatchedPair, PairFit, PairResidual, Posterior
from marquee.colour.constants import D65_XYZ
from marquee.colour.difference import delta_e_2000
from marquee.colour.spaces import xyz_to_lab, xyz_to_uv_prime
from marquee.errors import Finding, InputError

Array = NDArray[np.float64]
# A pair further than this from what the others say is named; at 4 standard deviations of three normal errors one
# good pair in 900 is (chi squared with 3 degrees of freedom).
OUTLIER_SIGMAS = 4.0
# Columns count as swapped where, fitted as they stand, fewer than half of the pairs make sense, and in another order
# at least three quarters do: an odd part or a slip or two cannot do both. Ours, no source.
_SWAP_FEWEST, _SWAP_BELOW, _SWAP_ABOVE = 3, 0.5, 0.75


def fit_pairs(
    pairs: Sequence[MatchedPair], bench: Bench, prior: Posterior | None = None
) -> PairFit:
    """Return the part's figures as matched pairs tell them.

    Parameters
    ----------
    pairs : sequence of MatchedPair
        One or more.
    bench : Bench
        The part they were matched on, under the sign's white.
    prior : Posterior or None
        What a colorimeter told already; None: the data sheet.

    Raises
    ------
    InputError
        Two columns of bytes are swapped, as all rows together show.
    """
    known = prior_of(bench) if prior is None else prior
    rows = rows_of(pairs, bench)
    whole = fit_rows(rows, bench, known)
    _refuse_swapped(pairs, rows, bench, known, whole)
    before = _differences(known.mean, _level(known.mean, rows, bench), rows, bench)
    after = _differences(whole.unknown[:-1], whole.log_scale, rows, bench)
    uv_before = xyz_to_uv_prime(shown_xyz(known.mean, rows, bench))
    uv_after = xyz_to_uv_prime(shown_xyz(whole.unknown[:-1], rows, bench))
    residuals = []
    for number, pair in enumerate(pairs):
        without = fit_rows(rows.but(number), bench, known, start=whole) if len(pairs) > 1 else None
        unknown, covariance = _expectation(without, known, number, rows, bench)
        one = rows.only(number)
        off = misfit(unknown, one, bench)[0]
        slope = pair_jacobian(unknown, one, bench)[0]
        spread = np.eye(3) + slope @ covariance @ slope.T
        residuals.append(
            PairResidual(
                place=pair.place,
                name=pair.target.name,
                before_delta_e_2000=float(before[number]),
                after_delta_e_2000=float(after[number]),
                expected_delta_e_2000=float(
                    _differences(unknown[:-1], float(unknown[-1]), one, bench)[0]
                ),
                sigmas=float(np.sqrt(off @ np.linalg.solve(spread, off))),
                wanted_uv=_pair(rows.uv[number]),
                before_uv=_pair(uv_before[number]),
                after_uv=_pair(uv_after[number]),
            )
        )
    findings = [
        _outlier(pairs[k], residuals[k], rows.only(k), bench, whole, alone=len(pairs) == 1)
        for k in range(len(pairs))
        if residuals[k].sigmas > OUTLIER_SIGMAS and whole.trust[k] < 0.5
    ]
    return PairFit(posterior=whole.posterior, residuals=tuple(residuals), findings=tuple(findings))


def _expectation(
    without: Fitted | None, known: Posterior, number: int, rows: Rows, bench: Bench
) -> tuple[Array, Array]:
    """Return unknowns and covariance from all other pairs; of a single pair from the data sheet, lightness free."""
    if without is not None:
        return without.unknown, without.covariance
    one = rows.only(number)
    unknown = np.append(known.mean, _level(known.mean, one, bench))
    covariance = np.zeros((len(unknown), len(unknown)))
    covariance[:-1, :-1] = known.covariance
    covariance[-1, -1] = 1.0
    return unknown, covariance


def _pair(row: Array) -> tuple[float, float]:
    return float(row[0]), float(row[1])


def _level(theta: Array, rows: Rows, bench: Bench) -> float:
    shown = shown_xyz(theta, rows, bench)[:, 1]
    return float(np.median(np.log(np.maximum(shown, 1e-12) / rows.xyz[:, 1])))


def _differences(theta: Array, log_scale: float, rows: Rows, bench: Bench) -> Array:
    shown = shown_xyz(theta, rows, bench) / np.exp(log_scale)
    return delta_e_2000(xyz_to_lab(rows.xyz, D65_XYZ), xyz_to_lab(shown, D65_XYZ))


def _outlier(
    pair: MatchedPair,
    residual: PairResidual,
    row: Rows,
    bench: Bench,
    whole: Fitted,
    *,
    alone: bool,
) -> Finding:
    others = "the data sheet" if alone else "the others"
    advice = "measured twice? Match it again, or take the row out"
    for order in _orders(bench.channels)[1:]:
        turned = row.reordered(order)
        off = misfit(whole.unknown, turned, bench)
        if np.square(off).sum() < OUTLIER_SIGMAS**2:
            advice = f"its bytes fit in the order {_names(bench, order)}: correct the row"
            break
    return Finding(
        code="bench.outlier",
        where=pair.place,
        message=f"{pair.target.name} disagrees with {others} by ΔE {residual.expected_delta_e_2000:.0f} "
        f"(CIEDE2000) and hardly counts; {advice}",
    )


def _orders(channels: int) -> list[tuple[int, ...]]:
    rest = tuple(range(3, channels))
    return [(*order, *rest) for order in permutations(range(3))]


def _names(bench: Bench, order: Sequence[int]) -> str:
    return ",".join(bench.part.channels[number].lower() for number in order)


def _refuse_swapped(
    pairs: Sequence[MatchedPair], rows: Rows, bench: Bench, known: Posterior, whole: Fitted
) -> None:
    """Refuse bytes whose columns make sense in another order only; one or two pairs, or greys, cannot tell."""
    if len(pairs) < _SWAP_FEWEST or _sense(whole) >= _SWAP_BELOW:
        return
    tries = [
        (order, fit_rows(rows.reordered(order), bench, known))
        for order in _orders(bench.channels)[1:]
    ]
    order, fitted = max(tries, key=lambda one: _sense(one[1]))
    if _sense(fitted) < _SWAP_ABOVE:
        return
    here = _names(bench, range(bench.channels))
    # Channel c fits the bytes of column order[c]: that column's heading should be c's.
    headed = {order[c]: bench.part.channels[c].lower() for c in range(bench.channels)}
    mended = ",".join(headed[number] for number in range(bench.channels))
    count = len(pairs)
    raise InputError(
        f"{pairs[0].place} to {pairs[-1].place.rsplit(':', 1)[-1]}",
        f"the columns {here} look swapped: as they stand {round(_sense(whole) * count)} of {count} rows agree, "
        f"headed {mended} {round(_sense(fitted) * count)} do",
        f"head them {mended}, if that is what they hold",
    )


def _sense(fitted: Fitted) -> float:
    """Return the share of pairs that are no slips."""
    return float((fitted.trust > 0.5).mean())
