"""How far the LEDs a maker gets may fall from the predicted colour: seeded sampling of the part's spread."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from marquee.colour.constants import D65_XYZ
from marquee.colour.difference import delta_e_2000
from marquee.colour.solve import Emitters
from marquee.colour.spaces import xyz_to_lab
from marquee.values import Emission, Part

_SAMPLES = 240
_SEED = 2000
_PERCENTILE = 95.0
# Channels of one reel against each other, ± this share of their intensity: common practice, no source.
_REEL_SPREAD = 0.15
# Data sheets of one package differ mostly in all channels alike, which a sign does not show; this share of the
# (logarithmic) spread is each channel's own. Computed: English and Chinese WS2812B sheets of 2013, whose ratios
# R 1.54, G 1.81, B 1.58 lie within 10 % of their mean where the stated spread is 0.85 to 1.8.
_OWN_SHARE = 0.13


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Band:
    """95 % of the sampled parts lie within this CIEDE2000 (z,) of the prediction.

    `as_bought`: bytes as planned, part unmeasured. `white_matched`: after the channel gains have been corrected
    by one white match, which leaves what the wavelengths do.
    """

    as_bought: NDArray[np.float64]
    white_matched: NDArray[np.float64]


def sample_columns(
    part: Part, emission: Emission, from_d65: NDArray[np.float64]
) -> NDArray[np.float64] | None:
    """Return emitter columns (samples, n, 3) [cd], adapted to D65, of parts as they may be delivered.

    All intensities together are drawn from the part's spread between data sheets, each channel's own share of
    it and the spread within a reel on top, its dominant wavelength from its bin; evenly, intensities by their
    logarithm. Of a calibrated part they are drawn from what its bench left open instead. None where the part
    states no spread.
    """
    if part.calibrated is not None and part.calibrated.covariance:
        from marquee.colour.calibrated import posterior_samples

        left_open, _ = posterior_samples(part, emission.observer, _SAMPLES, _SEED)
        return np.asarray(left_open @ np.linalg.inv(from_d65).T, float)
    if part.intensity_spread is None:
        return None
    rng = np.random.default_rng(_SEED)
    n = len(part.channels)
    low, high = np.log(part.intensity_spread)
    own = _OWN_SHARE * (high - low)
    gain = np.exp(rng.uniform(low, high, (_SAMPLES, 1)) + rng.uniform(-own, own, (_SAMPLES, n)))
    gain *= rng.uniform(1 - _REEL_SPREAD, 1 + _REEL_SPREAD, (_SAMPLES, n))
    place = rng.uniform(-1, 1, (_SAMPLES, n, 1))
    nominal = np.array(emission.xyz_cd)
    short, long = _bin_edges(part, emission)
    columns = np.where(
        place < 0, nominal - place * (short - nominal), nominal + place * (long - nominal)
    )
    return np.asarray((gain[..., None] * columns) @ np.linalg.inv(from_d65).T, float)


def sample_exponents(part: Part, observer: str) -> NDArray[np.float64] | None:
    """Return log exponents (samples, n) on a calibrated part's response, drawn along with `sample_columns`."""
    if part.calibrated is None or not part.calibrated.covariance:
        return None
    from marquee.colour.calibrated import posterior_samples

    return posterior_samples(part, observer, _SAMPLES, _SEED)[1]


def colour_band(
    light: NDArray[np.float64],
    scale_cd: NDArray[np.float64],
    nominal: Emitters,
    samples: NDArray[np.float64] | None,
    exponents: NDArray[np.float64] | None = None,
) -> Band | None:
    """Return the band of zones showing `light` (z, n) against whites of `scale_cd` (z,).

    `exponents` (samples, n) are the logarithms of the powers each sample's light is raised to.
    Each sample is seen against its own white: a part brighter all over looks the same on a sign, so the common
    factor is taken out. What stays is the change of colour and of mutual lightness.
    """
    if samples is None:
        return None
    peak_cd = 0.1 * float(nominal.columns[:3, 1].min())
    white = D65_XYZ * peak_cd @ np.linalg.inv(nominal.columns[:3])
    before = xyz_to_lab(light @ nominal.columns / scale_cd[:, None], D65_XYZ)
    own_white = (white @ samples[:, :3])[:, 1] / peak_cd
    as_bought = samples / own_white[:, None, None]
    matched = samples * _match(white, samples, nominal, peak_cd)[..., None]
    shown = light if exponents is None else light ** np.exp(exponents)[:, None, :]
    return Band(
        as_bought=_spread(shown, scale_cd, before, as_bought),
        white_matched=_spread(shown, scale_cd, before, matched),
    )


def _match(
    white: NDArray[np.float64],
    samples: NDArray[np.float64],
    nominal: Emitters,
    peak_cd: float,
) -> NDArray[np.float64]:
    """Return the gains (samples, n) that bring each sample's red, green and blue to the true white."""
    wanted = np.broadcast_to(D65_XYZ * peak_cd, (len(samples), 1, 3))
    drive = np.matmul(wanted, np.linalg.inv(samples[:, :3]))[:, 0]
    gains = np.ones(samples.shape[:2])
    gains[:, :3] = drive / white
    # Further emitters are matched in luminance.
    gains[:, 3:] = nominal.columns[3:, 1] / samples[:, 3:, 1]
    return gains


def _spread(
    light: NDArray[np.float64],
    scale_cd: NDArray[np.float64],
    before: NDArray[np.float64],
    columns: NDArray[np.float64],
) -> NDArray[np.float64]:
    after = xyz_to_lab(np.matmul(light, columns) / scale_cd[:, None], D65_XYZ)
    errors = delta_e_2000(before, after)
    return np.asarray(np.percentile(errors, _PERCENTILE, axis=0), float)


def _bin_edges(part: Part, emission: Emission) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what the channels emit (n, 3) at the short and the long end of their wavelength bins."""
    nominal = np.array(emission.xyz_cd)
    if part.dominant_nm is None or part.dominant_range_nm is None:
        return nominal, nominal
    from marquee.colour.emission import emission as emission_of

    edges = []
    for end in (0, 1):
        nm = tuple(span[end] for span in part.dominant_range_nm)
        edges.append(
            np.array(emission_of(replace(part, dominant_nm=nm), emission.observer).xyz_cd)
        )
    return edges[0], edges[1]
