"""How bright the sign's white comes out on the diffuser."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from marquee.values import Transfer


def white_cd_m2_per_cd(transfer: Transfer, steady: Iterable[int]) -> float:
    """Return the luminance of the sign's white [cd/m²] for each candela of its intensity; 0 where nothing is lit.

    L = E τ / π, a Lambertian sheet, over a cell of average light: all steady zones are driven to one white,
    whatever their cells return.

    Parameters
    ----------
    transfer : Transfer
        Gives each zone's light per candela.
    steady : iterable of int
        Ids of the zones that have colours of their own; where none of them is lit, all zones count.
    """
    lux_per_cd = transfer.self_lux_per_cd[list(steady)]
    lit = lux_per_cd[lux_per_cd > 0]
    if not len(lit):
        lit = transfer.self_lux_per_cd[transfer.self_lux_per_cd > 0]
    return float(lit.mean()) * transfer.diffuser_transmittance / np.pi if len(lit) else 0.0
