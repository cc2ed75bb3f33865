"""What a phone saw of single channels, beside a sign whose channels are known: their balance.

A phone's colours cannot be known, so its red, green and blue of one sign say nothing of gains. Those of two signs, by
the same phone with the same white balance, do: what the phone makes of each channel cancels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from marquee.bench.measurements import Source
from marquee.bench.table import Problems, measured_lines, number_in, read_table
from marquee.bench.values import ChannelBalance, Posterior
from marquee.errors import InputError
from marquee.values import Part

Array = NDArray[np.float64]
COLUMNS = ("part", "code", "file", "r", "g", "b")
# How well two photographs' ratios of single channels agree with the light's: coded files (facts of phones' curves and
# the shift of peaks between reels), raw ones. No source.
_SD = {"coded": 0.10, "raw": 0.05}
# Directions in which three channels differ from their mean.
_APART = np.array([[1, -1, 0], [1, 1, -2]]) / np.sqrt([[2], [6]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Signals:
    """Light of red, green and blue at a code as one phone saw it, over the light model's; and how it was stored."""

    rgb: tuple[float, float, float]
    code: int
    stored: str
    place: str


def read_signals(path: Path, part: Part) -> tuple[Signals, Source]:
    """Return the signals `marquee bench photo --signals` wrote.

    Raises
    ------
    InputError
        The file cannot be used, or is another part's.
    """
    table = read_table(path, COLUMNS, COLUMNS)
    problems = Problems()
    lines = measured_lines(table, ("r", "g", "b"))
    if len(lines) != 1:
        raise InputError(
            path.name, f"has {len(lines)} rows, not one", "write it again: bench photo"
        )
    line = lines[0]
    values = [number_in(line, name, table, problems, 1e-12, 1e12) for name in ("r", "g", "b")]
    code = number_in(line, "code", table, problems, 1, 255)
    problems.raise_any()
    stored = line.fields.get("file", "")
    if stored not in _SD or math.isnan(code):
        raise InputError(line.place, f"file is '{stored}'", f"write one of {', '.join(_SD)}")
    if line.fields.get("part") != part.name:
        raise InputError(
            line.place,
            f"was photographed with {line.fields.get('part')}, this is {part.name}",
            f"give --part {line.fields.get('part')}, or that sign's own photographs",
        )
    signals = Signals(
        rgb=(values[0], values[1], values[2]), code=int(code), stored=stored, place=line.place
    )
    return signals, Source(name=table.name, sha256=table.sha256, rows=1, dates=())


def balance_against(
    new: Signals, known: Signals, posterior: Posterior, meter_xyz: Array | None
) -> ChannelBalance:
    """Return the channels' balance of a sign against one that is calibrated.

    Parameters
    ----------
    new, known : Signals
        Of the two signs, by the same phone with the same white balance.
    posterior : Posterior
        What is known of the calibrated sign's part.
    meter_xyz : (n, 3) or None
        A colorimeter's factors on it, whose Y counts as gain.

    Raises
    ------
    InputError
        The two were photographed at different codes.
    """
    if new.code != known.code:
        raise InputError(
            new.place,
            f"shows code {new.code}, the known sign code {known.code}",
            "photograph both at the same code",
        )
    gain = posterior.mean[:3].copy()
    if meter_xyz is not None:
        gain += np.log(np.maximum(meter_xyz[:3, 1], 1e-9))
    log = np.log(new.rgb) - np.log(known.rgb) + gain
    sd = max(_SD[new.stored], _SD[known.stored])
    covariance = posterior.covariance[:3, :3] + sd**2 * np.eye(3)
    return ChannelBalance(
        log_gain=tuple(float(v) for v in log - log.mean()),
        covariance=tuple(tuple(float(v) for v in row) for row in covariance),
        place=new.place,
    )


def with_balance(prior: Posterior, balance: ChannelBalance) -> Posterior:
    """Return what is known of a part once its channels' balance is: the prior conditioned on it."""
    size = len(prior.mean)
    pick = np.zeros((2, size))
    pick[:, :3] = _APART
    noise = _APART @ np.array(balance.covariance) @ _APART.T
    spread = pick @ prior.covariance @ pick.T + noise
    gain = np.linalg.solve(spread, pick @ prior.covariance).T
    mean = prior.mean + gain @ (_APART @ np.array(balance.log_gain) - pick @ prior.mean)
    covariance = prior.covariance - gain @ pick @ prior.covariance
    return Posterior(mean=mean, covariance=(covariance + covariance.T) / 2)
