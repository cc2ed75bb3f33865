"""Maximum a posteriori: the data sheet as prior, matched pairs as data that may hold slips.

Unknown are each channel's log gain, peak shift and log exponent, and one overall lightness. The fit sets out with
the soft-L1 loss, then takes each pair as either an eye's normal error or, in one of ten, a slip that could have
landed anywhere: a slip then loses its pull altogether instead of keeping a constant one. Only the data go through
these losses, a whole pair at a time; the prior's rows do not, which `least_squares`' own loss would do.

Of a few pairs the most probable part is a poor summary: a single slip can be explained by some odd part, though it
would take luck to hold one. There every choice of slips is fitted and weighed by its evidence (Laplace's
approximation; MacKay, Information Theory, Inference, and Learning Algorithms, 2003, chapter 28).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from marquee.bench.model import Bench, Rows, misfit
from marquee.bench.values import Posterior

Array = NDArray[np.float64]
# Standard deviations of the prior. Gain: intensities of one package differ by 1.5 to 1.9 between sheets, mostly
# in all channels alike; peaks: about half the width of the sheets' bins; exponent: common practice, no source.
GAIN_SD, PEAK_SD_NM, EXPONENT_SD = 0.25, {"R": 1.5, "G": 3.0, "B": 1.5, "A": 1.5, "W": 0.1}, 0.05
# Share of pairs that are slips, and where those land: over an LED triangle's area in u′v′ (0.03, a third of it, as
# slips of one pot stay near) and over e² in luminance. Ours, no source; the fit changes little with them.
SLIP_SHARE, _SLIP_UV_AREA, _SLIP_LN_Y = 0.1, 0.03, 2.0
# Overall lightness is whatever the maker had set: hardly any prior.
_SCALE_SD = 2.0
_TRIES = 60
_STEP = 1e-5
# Up to so many pairs every choice of slips is weighed: 2³ fits.
_FEW = 3
# Share of a single pair's shift that is not taken, less for more pairs: parts near their data sheet, which a match can
# only spoil, then lose less. Ours, no source; on simulated benches it costs 0.2 in the mean after one pair and
# halves the benches that end more than 1 worse.
_HELD_BACK = 0.15
Loss = Callable[[Array], Array]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted:
    """The unknowns (3n + 1,) with their covariance, overall lightness last; and how surely each pair is no slip."""

    unknown: Array
    covariance: Array
    trust: Array

    @property
    def posterior(self) -> Posterior:
        """What is known of gains, peaks and exponents."""
        return Posterior(mean=self.unknown[:-1], covariance=self.covariance[:-1, :-1])

    @property
    def log_scale(self) -> float:
        """The logarithm of the intensity [cd] the matched white had."""
        return float(self.unknown[-1])


def prior_of(bench: Bench) -> Posterior:
    """Return what is known of a part's gains, peaks and exponents before anything is measured."""
    peaks = [PEAK_SD_NM[channel] for channel in bench.part.channels]
    n = bench.channels
    sd = np.array([GAIN_SD] * n + peaks + [EXPONENT_SD] * n)
    return Posterior(mean=np.zeros(3 * n), covariance=np.diag(sd**2))


def fit_rows(rows: Rows, bench: Bench, prior: Posterior, start: Fitted | None = None) -> Fitted:
    """Return the fit to matched pairs.

    Parameters
    ----------
    rows : Rows
        Matched pairs; none leave the prior.
    bench : Bench
        The part they were matched on.
    prior : Posterior
        What is known without them.
    start : Fitted or None
        A fit to nearly the same rows, to set out from.
    """
    level = _likely_scale(prior.mean, rows, bench)
    zero = np.append(prior.mean, level)
    sd = np.append(np.sqrt(np.diag(prior.covariance)), _SCALE_SD)
    task = _Task(rows=rows, bench=bench, prior=prior, level=level, sd=sd)
    if 0 < len(rows.xyz) <= _FEW:
        return _weighed(task, zero)
    slips = _slip_loss(rows)
    # A loss that lets go of slips has several minima: of those found from different starts, the lowest.
    starts = [start.unknown] if start else [_minimise(task, _soft_l1, zero)[1], zero]
    found = [_minimise(task, slips, at) for at in starts]
    unknown = min(found, key=lambda one: one[0])[1]
    trust = _trust(misfit(unknown, rows, bench), rows)
    jacobian = pair_jacobian(unknown, rows, bench)
    information = np.einsum("mki,m,mkj->ij", jacobian, trust, jacobian) + _known(prior)
    return Fitted(unknown=unknown, covariance=np.linalg.inv(information), trust=trust)


def pair_jacobian(unknown: Array, rows: Rows, bench: Bench) -> Array:
    """Return the derivatives (m, 3, 3n + 1) of the pairs' misfits by the unknowns."""
    step = _STEP * np.eye(len(unknown))
    change = misfit(unknown + step, rows, bench) - misfit(unknown - step, rows, bench)
    return np.moveaxis(change, 0, -1) / (2 * _STEP)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Task:
    rows: Rows
    bench: Bench
    prior: Posterior
    level: float
    sd: Array


def _known(prior: Posterior) -> Array:
    """Return the prior's information, overall lightness included."""
    size = len(prior.mean) + 1
    known = np.zeros((size, size))
    known[:-1, :-1] = np.linalg.inv(prior.covariance)
    known[-1, -1] = _SCALE_SD**-2
    return known


def _weighed(task: _Task, zero: Array) -> Fitted:
    """Return the mean and covariance over every choice of which of a few pairs are slips."""
    count = len(task.rows.xyz)
    good = np.array(list(product((True, False), repeat=count)))
    tried = [_supposed(task, zero, keep) for keep in good]
    evidence = np.array([one[0] for one in tried])
    weight = np.exp(evidence - evidence.max())
    weight /= weight.sum()
    mean = sum(w * one[1] for w, one in zip(weight, tried, strict=True))
    taken = mean - _HELD_BACK / count * np.append(mean[:-1] - task.prior.mean, 0.0)
    covariance = np.zeros_like(tried[0][2])
    for w, (_, unknown, spread) in zip(weight, tried, strict=True):
        off = unknown - taken
        covariance += w * (spread + np.outer(off, off))
    return Fitted(unknown=taken, covariance=covariance, trust=weight @ good)


def _supposed(task: _Task, zero: Array, good: NDArray[np.bool_]) -> tuple[float, Array, Array]:
    """Return log evidence, unknowns and covariance where just these pairs are no slips."""
    rows = replace(task, rows=task.rows.those(good))
    cost, unknown = _minimise(rows, _plain, zero) if good.any() else (0.0, zero)
    jacobian = pair_jacobian(unknown, rows.rows, task.bench).reshape(-1, len(zero))
    known = _known(task.prior)
    information = jacobian.T @ jacobian + known
    evidence = -cost - 0.5 * (np.linalg.slogdet(information)[1] - np.linalg.slogdet(known)[1])
    # Against all being slips: every pair that is none brings its density over a slip's.
    evidence -= np.log(_slip_density(task.rows)[good]).sum()
    return float(evidence), unknown, np.asarray(np.linalg.inv(information), float)


def _plain(squared: Array) -> Array:
    return squared


def _minimise(task: _Task, loss: Loss, start: Array) -> tuple[float, Array]:
    from scipy.optimize import least_squares

    root = np.linalg.inv(np.linalg.cholesky(task.prior.covariance))

    def residuals(unknown: Array) -> Array:
        off = misfit(unknown, task.rows, task.bench)
        squared = np.square(off).sum(axis=-1)
        # Each pair's three residuals shrink together, so that their squares sum to the loss.
        factor = np.sqrt(loss(squared) / np.maximum(squared, 1e-12))
        shrunk = (off * factor[..., None]).reshape(*unknown.shape[:-1], -1)
        before = (unknown[..., :-1] - task.prior.mean) @ root.T
        level = (unknown[..., -1:] - task.level) / _SCALE_SD
        return np.concatenate([shrunk, before, level], axis=-1)

    def slopes(unknown: Array) -> Array:
        step = _STEP * np.eye(len(unknown))
        change = residuals(unknown + step) - residuals(unknown - step)
        return np.asarray(change.T / (2 * _STEP), float)

    found = least_squares(residuals, start, slopes, x_scale=task.sd, max_nfev=_TRIES)
    return float(found.cost), np.asarray(found.x, float)


def _soft_l1(squared: Array) -> Array:
    return np.asarray(2.0 * (np.sqrt(1.0 + np.maximum(squared, 1e-12)) - 1.0), float)


def _slip_density(rows: Rows) -> Array:
    """Return the density of slips over that of the eye's errors at its peak, weighed by their shares (m,)."""
    normal = 2 * np.pi * rows.sd_uv**2 / _SLIP_UV_AREA
    luminance = np.minimum(np.sqrt(2 * np.pi) * rows.sd_ln_y / _SLIP_LN_Y, 1.0)
    return np.asarray(SLIP_SHARE / (1 - SLIP_SHARE) * normal * luminance, float)


def _slip_loss(rows: Rows) -> Loss:
    density = _slip_density(rows)

    def loss(squared: Array) -> Array:
        floored = np.maximum(squared, 1e-12)
        rho = -2.0 * np.log((np.exp(-floored / 2) + density) / (1 + density))
        return np.asarray(np.maximum(rho, 0.0), float)

    return loss


def _trust(off: Array, rows: Rows) -> Array:
    normal = np.exp(-np.square(off).sum(axis=1) / 2)
    return np.asarray(normal / (normal + _slip_density(rows)), float)


def _likely_scale(theta: Array, rows: Rows, bench: Bench) -> float:
    if not len(rows.xyz):
        return float(np.log(bench.columns(theta)[:, 1].sum()))
    off = misfit(np.append(theta, 0.0), rows, bench)[:, 2] * rows.sd_ln_y
    return float(np.median(off))
