"""Write observers.json, the compact tables `colour.emission` integrates with: python -m marquee.tables.generate_observers.

Needs colour-science, which takes a second to import and is therefore not used at run time. A test derives
the file again and fails when it is stale.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

FIRST_NM, LAST_NM = 360, 830
# Our name → colour-science's, and where the table is published.
OBSERVERS = {
    "cie-1931-2": (
        "CIE 1931 2 Degree Standard Observer",
        "ISO/CIE 11664-1:2019 (CIE 1931), 1 nm",
    ),
    "cie-2015-2": (
        "CIE 2015 2 Degree Standard Observer",
        "CIE 170-2:2015, 2°, 1 nm, as published by CVRL",
    ),
    "cie-2015-10": (
        "CIE 2015 10 Degree Standard Observer",
        "CIE 170-2:2015, 10°, 1 nm, as published by CVRL",
    ),
}
# Blue-pumped phosphor whites of CIE 15:2018 (LED illuminants), with their correlated colour temperatures [K].
PHOSPHORS = {"LED-B1": 2733, "LED-B2": 2998, "LED-B3": 4103, "LED-B4": 5109, "LED-B5": 6598}


def observer_tables() -> dict[str, Any]:
    """Return what observers.json holds, derived from colour-science."""
    os.environ.setdefault("COLOUR_SCIENCE__FILTER_USAGE_WARNINGS", "1")
    import colour
    import numpy as np

    wavelengths = np.arange(FIRST_NM, LAST_NM + 1)
    cmfs: dict[str, Any] = {}
    for name, (title, _) in OBSERVERS.items():
        table = colour.MSDS_CMFS[title]
        full = np.zeros((len(wavelengths), 3))
        full[table.wavelengths.astype(int) - FIRST_NM] = table.values
        cmfs[name] = full

    def integrate(kind: str, observer: str) -> Any:  # noqa: ANN401 -- an array, numpy imported late
        source = colour.SDS_ILLUMINANTS[kind]
        power = np.interp(wavelengths, source.wavelengths, source.values, left=0.0, right=0.0)
        return power @ cmfs[observer]

    phosphor: dict[str, list[list[float]]] = {name: [] for name in OBSERVERS}
    for kind in PHOSPHORS:
        base = integrate(kind, "cie-1931-2")
        for name in OBSERVERS:
            phosphor[name].append([float(f"{v:.6g}") for v in integrate(kind, name) / base])
    return {
        "source": "colour-science 0.4.7 (tables as published, see each observer)",
        "first_nm": FIRST_NM,
        "observers": {
            name: {
                "source": source,
                "xyz_bar": [[float(f"{v:.8g}") for v in row] for row in cmfs[name].T],
            }
            for name, (_, source) in OBSERVERS.items()
        },
        "phosphor": {
            "source": "CIE 15:2018, LED illuminants B1 to B5: X, Y, Z over those of cie-1931-2",
            "cct_k": list(PHOSPHORS.values()),
            "ratio": phosphor,
        },
    }


def observer_text() -> str:
    """Return the text of observers.json."""
    return (
        json.dumps(observer_tables(), ensure_ascii=False, separators=(",", ":")).replace(
            "]],", "]],\n"
        )
        + "\n"
    )


def main() -> None:
    """Write the table beside this file."""
    Path(__file__).with_name("observers.json").write_text(observer_text(), encoding="utf-8")


if __name__ == "__main__":
    main()
