"""A part as it looks under a sign's white."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.colour.adapt import adaptation_matrix, observed_white_xyz
from marquee.colour.constants import D65_XYZ
from marquee.colour.solve import Emitters, brightest, emitters
from marquee.errors import InputError
from marquee.project import ColourSettings
from marquee.values import Emission, Part


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """A part under a sign's white: its emitters adapted to D65, and the way back.

    `from_d65` (3, 3) turns a colour under D65 into the one that looks alike under the sign's white. `white_cd`
    is the largest intensity [cd] at which that white can be made. `response` is the light of each code, (256,), or
    (n, 256) where a bench told the channels apart.
    """

    part: Part
    emission: Emission
    emitters: Emitters
    from_d65: NDArray[np.float64]
    response: NDArray[np.float64]
    white_cd: float


def seen_part(part: Part, emission: Emission, settings: ColourSettings) -> Seen:
    """Return the part as it looks under the sign's white.

    Raises
    ------
    MarqueeError
        The white is unknown or outside what the part can make, or the part cannot mix colours.
    """
    white = observed_white_xyz(settings.white, settings.observer, "colour.white")
    from_d65 = adaptation_matrix(D65_XYZ, white, settings.adaptation)
    columns = np.array(emission.xyz_cd) @ np.linalg.inv(from_d65).T
    current = np.array(part.channel_current_a or [1.0] * len(part.channels))
    lit = emitters(
        columns, current, largest=part.current_law == "largest", where=f"part {part.name}"
    )
    white_cd = float(brightest(D65_XYZ[None], lit)[0])
    if white_cd == 0:
        raise InputError(
            "colour.white",
            f"{settings.white} lies outside what {part.name} can mix",
            "choose a white such as D65, or a part with other channels",
        )
    return Seen(
        part=part,
        emission=emission,
        emitters=lit,
        from_d65=from_d65,
        response=np.array(part.channel_response or part.response, float),
        white_cd=white_cd,
    )
