"""Measurements to a calibration, and a calibration laid on a part."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from marquee.bench.fit import prior_of
from marquee.bench.load import LoadFit, fit_currents
from marquee.bench.matches import fit_pairs
from marquee.bench.measurements import Source
from marquee.bench.meter import MeterFit, fit_readings
from marquee.bench.model import Bench, bench_of
from marquee.bench.signals import with_balance
from marquee.bench.values import (
    ChannelBalance,
    CurrentReading,
    MatchedPair,
    PairFit,
    Posterior,
    Reading,
)
from marquee.colour.calibrated import response_tables
from marquee.colour.response import response_table
from marquee.colour.spaces import triple
from marquee.errors import Finding, InputError
from marquee.values import Calibrated, Part

Kind = Literal["cabinet", "reel"]
Points = tuple[tuple[int, float], ...]
# How lengths of one reel differ: gains, peaks [nm], exponents, about a fifth of what parts of one name do. Common
# practice, no source.
_WITHIN_REEL = np.array([0.05, 0.5, 0.01])
_WHAT = {
    "pairs": ("matched colour", "matched colours"),
    "readings": ("colorimeter reading", "colorimeter readings"),
    "currents": ("current reading", "current readings"),
    "signals": ("photographed balance", "photographed balances"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Used:
    """A file the calibration was fitted to, and what kind it was: pairs, readings or currents."""

    kind: str
    source: Source


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Calibration:
    """What a bench told about one cabinet's or reel's LEDs.

    `figures_sha256` is the digest of the part's figures it sets out from; `observer` and `white` are those the
    pairs were matched under. `meter_xyz` (n, 3), `tables`, currents [A] are None where not measured.
    """

    name: str
    kind: Kind
    part: str
    channels: tuple[str, ...]
    figures_sha256: str
    observer: str
    white: str
    made_by: str
    posterior: Posterior
    meter_xyz: NDArray[np.float64] | None
    tables: tuple[Points | None, ...]
    response_measured: bool
    channel_current_a: tuple[float, ...] | None
    dark_current_a: float | None
    used: tuple[Used, ...]

    @property
    def summary(self) -> str:
        """What was measured, in words."""
        counts = {kind: sum(u.source.rows for u in self.used if u.kind == kind) for kind in _WHAT}
        return ", ".join(
            f"{count} {_WHAT[kind][count != 1]}" for kind, count in counts.items() if count
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurements:
    """All that was read for one calibration, with where it came from."""

    pairs: tuple[MatchedPair, ...] = ()
    readings: tuple[Reading, ...] = ()
    currents: tuple[CurrentReading, ...] = ()
    balance: ChannelBalance | None = None
    used: tuple[Used, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Labels:
    """What a calibration is called and under what it was matched."""

    name: str
    kind: Kind = "cabinet"
    observer: str = "cie-1931-2"
    white: str = "D65"
    made_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome:
    """A calibration with the fits behind it, the bench the pairs were fitted on, and remarks."""

    calibration: Calibration
    bench: Bench
    pairs: PairFit | None
    meter: MeterFit | None
    load: LoadFit | None
    findings: tuple[Finding, ...]


def calibrate(part: Part, measured: Measurements, labels: Labels) -> Outcome:
    """Return the calibration that measurements of a part make.

    Parameters
    ----------
    part : Part
        As its file describes it, not calibrated yet.
    measured : Measurements
        Pairs, readings and currents; at least one of them.
    labels : Labels
        Name of the cabinet or reel; observer and white the pairs were matched under.

    Raises
    ------
    MarqueeError
        Nothing was measured, columns are swapped, or the part lacks figures.
    """
    if not (measured.pairs or measured.readings or measured.currents or measured.balance):
        raise InputError("bench", "nothing was measured", "give pairs, readings or currents")
    meter = fit_readings(measured.readings, part) if measured.readings else None
    base = part if meter is None else _with_meter(part, meter)
    bench = bench_of(base, labels.observer, labels.white)
    prior = prior_of(bench) if meter is None else meter.posterior
    if meter is None and measured.balance is not None:
        prior = with_balance(prior, measured.balance)
    pairs = fit_pairs(measured.pairs, bench, prior) if measured.pairs else None
    load = fit_currents(measured.currents, part) if measured.currents else None
    calibration = Calibration(
        name=labels.name,
        kind=labels.kind,
        part=part.name,
        channels=part.channels,
        figures_sha256=figures_digest(part),
        observer=labels.observer,
        white=labels.white,
        made_by=labels.made_by,
        posterior=prior if pairs is None else pairs.posterior,
        meter_xyz=None if meter is None else meter.meter_xyz,
        tables=(None,) * len(part.channels) if meter is None else meter.tables,
        response_measured=meter is not None and meter.response_measured,
        channel_current_a=None if load is None else load.channel_current_a,
        dark_current_a=None if load is None else load.dark_current_a,
        used=measured.used,
    )
    fits = (meter, pairs, load)
    findings = tuple(f for fit in fits if fit is not None for f in fit.findings)
    return Outcome(
        calibration=calibration,
        bench=bench,
        pairs=pairs,
        meter=meter,
        load=load,
        findings=findings,
    )


def calibrated_part(part: Part, calibration: Calibration, file: str = "") -> Part:
    """Return the part with its emission, response, spread and currents as the bench found them.

    Worst-case currents are raised to the measured ones where those are higher, never lowered.

    Raises
    ------
    InputError
        The calibration is of another part, or of other figures than the part has now.
    """
    where = file or "calibration"
    if calibration.part != part.name or calibration.channels != part.channels:
        raise InputError(
            where,
            f"'{calibration.name}' was measured on {calibration.part}, this plan has {part.name}",
            "take that cabinet's own calibration, or the part it was measured on",
        )
    if calibration.figures_sha256 != figures_digest(part):
        raise InputError(
            where,
            f"the figures of {part.name} have changed since '{calibration.name}' was fitted",
            "fit it again from its measurements: marquee bench fit",
        )
    n = len(part.channels)
    mean = calibration.posterior.mean
    light = _measured_light(part, calibration.tables) ** np.exp(mean[2 * n :, None])
    known = _known(
        _of_others(calibration), calibration.meter_xyz, calibration.name, file, calibration.summary
    )
    if not any(use.kind != "currents" for use in calibration.used):
        # Of colours nothing was learnt: the part's own spread stays.
        known = replace(known, covariance=())
    typical, most = calibration.channel_current_a, part.channel_current_max_a
    raised = most
    if typical is not None and most is not None:
        raised = tuple(max(pair) for pair in zip(typical, most, strict=True))
    dark = calibration.dark_current_a
    return replace(
        part,
        response=tuple(float(v) for v in light[:3].mean(axis=0)),
        channel_response=tuple(tuple(float(v) for v in row) for row in light),
        response_measured=part.response_measured or calibration.response_measured,
        calibrated=known,
        channel_current_a=part.channel_current_a if typical is None else typical,
        channel_current_max_a=raised,
        dark_current_a=part.dark_current_a if dark is None else dark,
    )


def _of_others(calibration: Calibration) -> Posterior:
    """Return what is known of the LEDs planned with: those measured, or, of a reel, others cut from it."""
    posterior = calibration.posterior
    if calibration.kind == "cabinet":
        return posterior
    n = len(calibration.channels)
    within = np.repeat(_WITHIN_REEL, n)
    return replace(posterior, covariance=posterior.covariance + np.diag(within**2))


def figures_digest(part: Part) -> str:
    """Return the SHA-256 of the figures a calibration sets out from."""
    figures = [
        part.channels,
        part.intensity_cd,
        part.dominant_nm,
        part.fwhm_nm,
        part.white_xy,
        [round(value, 9) for value in part.response],
    ]
    return hashlib.sha256(json.dumps(figures).encode()).hexdigest()


def _with_meter(part: Part, meter: MeterFit) -> Part:
    """Return the part pairs are fitted on after a meter: its factors and measured tables, gains still at zero."""
    n = len(part.channels)
    light = _measured_light(part, meter.tables)
    nothing = Posterior(mean=np.zeros(3 * n), covariance=meter.posterior.covariance)
    return replace(
        part,
        channel_response=tuple(tuple(float(v) for v in row) for row in light),
        calibrated=_known(nothing, meter.meter_xyz, "", "", ""),
    )


def _measured_light(part: Part, tables: tuple[Points | None, ...]) -> NDArray[np.float64]:
    """Return the light (n, 256) of each code: as measured, or by the part's own response where it was not."""
    return np.stack(
        [
            base if points is None else np.array(response_table("table", points))
            for base, points in zip(response_tables(part), tables, strict=True)
        ]
    )


def _known(
    posterior: Posterior,
    meter_xyz: NDArray[np.float64] | None,
    name: str,
    file: str,
    summary: str,
) -> Calibrated:
    n = len(posterior.mean) // 3
    gain, peak, exponent = (
        tuple(float(v) for v in posterior.mean[k * n : (k + 1) * n]) for k in range(3)
    )
    factors = None
    if meter_xyz is not None:
        factors = tuple(triple(row) for row in meter_xyz)
    return Calibrated(
        name=name,
        file=file,
        summary=summary,
        log_gain=gain,
        peak_shift_nm=peak,
        log_exponent=exponent,
        covariance=tuple(tuple(float(v) for v in row) for row in posterior.covariance),
        meter_xyz=factors,
    )
