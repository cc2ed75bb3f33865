"""The same constants as Python and as JSON: run, imported and parsed by interpreters that know nothing of us."""

from __future__ import annotations

import importlib.util
import json
import re
import runpy
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

from marquee.firmware import Constants
from marquee.outputs import constants_json, constants_py
from marquee.outputs.constants_json import constants_json_text
from marquee.outputs.constants_py import constants_py_text
from marquee.outputs.header import header_text
from marquee.outputs.header_read import HeaderProofError
from tests.firmware.compilers import run
from tests.firmware.factory import Sign, clocked, four_channels, make_plan
from tests.firmware.simulated import wanted_leds
from tests.firmware.test_names import HOSTILE, sign_of_names

SIGNS = {
    "five-zones": Sign(),
    "spread": Sign(spread=True),
    "clocked": clocked(spread=True),
    "four-channels": four_channels(),
    "no-cycle": Sign(cycling=(), codes=((1, 2, 3),) * 5),
    "one-zone": Sign(zone_of_led=(0, 0), names=("a",), cycling=(0,), codes=((),), hues=1),
    "hostile-names": sign_of_names(HOSTILE),
}


def _expected(sign: Sign) -> dict[int, tuple[int, ...] | None]:
    """LED → its bytes, None in a hue cycle; from the chain and the drive, not from the constants."""
    codes = wanted_leds(sign, 0)
    return {
        led: None if zone in sign.cycling else codes[led]
        for led, zone in enumerate(sign.zone_of_led)
        if zone >= 0
    }


def _shared(
    codes: Sequence[int], raised: Sequence[int], start: Sequence[int], k: int, n: int
) -> tuple[int, ...]:
    """LED k's bytes by the rule in the module's comment."""
    if not raised:
        return tuple(codes)
    return tuple(
        c + ((s + (k + 1) * r) // n > (s + k * r) // n)
        for c, r, s in zip(codes, raised, start, strict=True)
    )


@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_python_module_gives_every_led_its_zones_bytes(sign: Sign, tmp_path: Path) -> None:
    plan = make_plan(sign)
    file = tmp_path / "marquee_constants.py"
    file.write_text(constants_py_text(plan), encoding="ascii")
    m = runpy.run_path(str(file))
    lit = {
        led: None
        if mode == m["HUE_CYCLE"]
        else _shared(codes, raised, start, k, sum(n for _, n in runs))
        for mode, codes, _, runs, raised, start in m["ZONES"]
        for k, led in enumerate(
            led for first, count in runs for led in range(first, first + count)
        )
    }
    assert lit == _expected(sign)
    assert tuple(m["GAMMA"]) == plan.drive.gamma_codes
    cycle = plan.drive.hue_cycle
    assert tuple(map(tuple, m["HUES"])) == (() if cycle is None else cycle.codes)
    assert [m["CHANNELS"][i] for i in m["ORDER"]] == list(sign.byte_order)


@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_json_gives_every_led_its_zones_bytes(sign: Sign) -> None:
    plan = make_plan(sign)
    text = constants_json_text(plan)
    content = json.loads(text)
    lit = {
        led: None
        if zone["mode"] == "hue-cycle"
        else _shared(
            zone["drive"], zone["raised"], zone["start"], k, sum(n for _, n in zone["runs"])
        )
        for zone in content["zones"]
        for k, led in enumerate(
            led for first, count in zone["runs"] for led in range(first, first + count)
        )
    }
    assert lit == _expected(sign)
    assert text.isascii()


@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_all_three_forms_carry_the_same_checksum(sign: Sign) -> None:
    plan = make_plan(sign)
    header = re.search(r"VALUES_CRC32 0x([0-9A-F]{8})UL", header_text(plan))
    module = re.search(r"^VALUES_CRC32 = (\d+)$", constants_py_text(plan), re.MULTILINE)
    assert header
    assert module
    assert int(header[1], 16) == int(module[1])
    assert json.loads(constants_json_text(plan))["values_crc32"] == header[1]


# The proof must notice each of these wherever it is told to write something else.
@pytest.mark.parametrize("module", [constants_py, constants_json], ids=["py", "json"])
def test_a_wrong_file_of_our_own_is_never_handed_on(
    module: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "wire_order", lambda _: (0, 1, 2))
    write = constants_py_text if module is constants_py else constants_json_text
    with pytest.raises(HeaderProofError):
        write(make_plan())


@pytest.mark.native
@pytest.mark.parametrize("sign", SIGNS.values(), ids=SIGNS)
def test_python_module_runs_under_micropython(sign: Sign, tmp_path: Path) -> None:
    if importlib.util.find_spec("micropython_unix") is None:
        pytest.skip("no MicroPython here (a package with its Unix port)")
    plan = make_plan(sign)
    (tmp_path / "marquee_constants.py").write_text(constants_py_text(plan), encoding="ascii")
    show = tmp_path / "show.py"
    show.write_text(
        f"import sys\nsys.path.insert(0, {str(tmp_path)!r})\nimport marquee_constants as m\n"
        "print(sys.implementation.name, m.LED_COUNT, m.LIMIT_MA, sum(m.GAMMA), sum(sum(h) for h in m.HUES))\n",
        encoding="utf-8",
    )
    words = run(sys.executable, "-m", "micropython_unix", show).split()
    c: Constants = plan.constants
    sums = (c.led_count, c.current_limit_ma, sum(c.gamma_codes), sum(map(sum, c.hue_cycle)))
    assert words == ["micropython", *map(str, sums)]
