"""All files of a finished plan as bytes, ready to be written together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from marquee.outputs.board_files import board_files
from marquee.outputs.constants_json import constants_json_text
from marquee.outputs.constants_py import constants_py_text
from marquee.outputs.drawings.files import drawing_files
from marquee.outputs.header import header_text
from marquee.outputs.parts_list import parts_csv
from marquee.outputs.pictures.barriers import barriers_picture
from marquee.outputs.pictures.bleed import bleed_picture
from marquee.outputs.pictures.chromaticity import chromaticity_picture
from marquee.outputs.pictures.leds import leds_picture
from marquee.outputs.pictures.light import light_picture
from marquee.outputs.pictures.lit import lit_picture
from marquee.outputs.pictures.overview import overview_picture
from marquee.outputs.pictures.voltage import voltage_picture
from marquee.outputs.pictures.wiring import wiring_files
from marquee.outputs.pictures.zones import zones_picture
from marquee.outputs.plan_json import plan_json
from marquee.outputs.power_text import plan_power_text
from marquee.outputs.report import report_html
from marquee.outputs.summary import summary_text
from marquee.parallel import run_all
from marquee.plan import Plan

Files = dict[str, bytes]
Maker = Callable[[Plan], Files]
Jobs = Sequence[Callable[[], Any]]
Remembered = Callable[[Sequence[Maker], Plan, Callable[[Jobs], list[Any]]], list[Files]]

# File → what makes it. Order is the order in which the maker will want them.
_TEXTS = {
    "summary.txt": summary_text,
    "report.html": report_html,
    "plan.json": plan_json,
    "marquee_constants.h": header_text,
    "marquee_constants.py": constants_py_text,
    "marquee_constants.json": constants_json_text,
    "power.txt": plan_power_text,
    "parts.csv": parts_csv,
}
_PICTURES = {
    "overview.png": overview_picture,
    "zones.png": zones_picture,
    "barriers.png": barriers_picture,
    "leds.png": leds_picture,
    "lit.png": lit_picture,
    "light.png": light_picture,
    "bleed.png": bleed_picture,
    "chromaticity.png": chromaticity_picture,
    "voltage.png": voltage_picture,
}


def plan_files(
    plan: Plan, workers: int | None = None, remembered: Remembered | None = None
) -> dict[str, bytes]:
    """Return file name → content of everything a plan writes.

    Parameters
    ----------
    plan : Plan
        The finished plan.
    workers : int, optional
        Processes that share the work, where that is safe; the files are the same whatever their number.
    remembered : function, optional
        Gives what each maker makes, handing on only those jobs whose result it does not know yet.
    """
    # The longest first, the many short ones last: then all processes end at about the same time.
    makers: tuple[Maker, ...] = (
        drawing_files,
        *(partial(_text, name) for name in _TEXTS),
        wiring_files,
        *(partial(_picture, name) for name in _PICTURES),
        board_files,
    )
    share = partial(run_all, workers=workers)
    if remembered is None:
        made = share([partial(make, plan) for make in makers])
    else:
        made = remembered(makers, plan, share)
    files = {name: content for part in made for name, content in part.items()}
    named = [*_TEXTS, "wiring.svg", *_PICTURES]
    named.insert(named.index("voltage.png"), "wiring.png")
    return {name: files.pop(name) for name in named} | files


def _text(name: str, plan: Plan) -> Files:
    return {name: _TEXTS[name](plan).encode("utf-8")}


def _picture(name: str, plan: Plan) -> Files:
    return {name: _PICTURES[name](plan)}
