"""Moves in lightness, chroma and hue, and the line to the sign."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from coloraide import Color
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from marquee.bench import trim_link
from marquee.bench.trim import TrimState, TrimZone, moved, stepped, trim_zones, turned_to, undone
from marquee.bench.trim_link import Hello, TrimLink
from marquee.colour.drive import solve_drive
from marquee.colour.emission import emission
from marquee.colour.parts import load_part
from marquee.colour.seen import Seen, seen_part
from marquee.colour.spaces import xyz_to_uv_prime
from marquee.colour.target import target_from_text
from marquee.errors import InputError
from marquee.project import ColourSettings
from tests.colour.made import targets_of, transfer_of, zone_map_of

PARTS = ("ws2812b", "sk6812-rgbw-nw", "ws2815")
SETTINGS = ColourSettings(brightness=0.5)


def _seen(name: str) -> Seen:
    part = load_part(name)
    return seen_part(part, emission(part), SETTINGS)


def _zone(text: str, seen: Seen, level: float = 1.0) -> TrimZone:
    target = target_from_text(text, text, "test")
    zone = TrimZone(
        zone=0,
        name=text,
        target=target,
        xyz=tuple(level * v for v in target.xyz),  # type: ignore[arg-type]
        codes=(1,) * len(seen.part.channels),
        global_code=None,
        brightness=1.0,
        shown=(1,) * len(seen.part.channels),
    )
    return moved(moved(zone, "lightness", 1, True, seen, 0.4), "lightness", -1, True, seen, 0.4)


def _oklch(xyz: tuple[float, float, float]) -> NDArray[np.float64]:
    """Oklab's lightness, chroma and hue [degrees] by another library."""
    return np.array(Color("xyz-d65", xyz).convert("oklch", norm=False).coords())


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize("text", ["#a06050", "#4080a0", "#808060"])
def test_each_key_moves_its_own_attribute_only(name: str, text: str) -> None:
    seen = _seen(name)
    zone = _zone(text, seen)
    before = _oklch(zone.xyz)
    # Another library's Oklab matrices have a few digits more: 1e-4 of the attribute, hue in degrees.
    stronger = _oklch(moved(zone, "chroma", 1, False, seen, 0.4).xyz)
    assert stronger[1] - before[1] == pytest.approx(0.012, abs=2e-4)
    np.testing.assert_allclose(stronger[[0, 2]], before[[0, 2]], rtol=2e-3)
    turned = _oklch(moved(zone, "hue", 1, False, seen, 0.4).xyz)
    np.testing.assert_allclose(turned[:2], before[:2], rtol=2e-3)
    arc = np.radians((turned[2] - before[2]) % 360) * before[1]
    assert arc == pytest.approx(min(0.012, before[1] * np.pi / 6), rel=0.05)
    lighter = moved(zone, "lightness", 1, False, seen, 0.4)
    np.testing.assert_allclose(
        xyz_to_uv_prime(np.array(lighter.xyz)), xyz_to_uv_prime(np.array(zone.xyz)), atol=1e-9
    )
    assert lighter.xyz[1] / zone.xyz[1] == pytest.approx(1.08)


@given(
    keys=st.lists(
        st.tuples(st.sampled_from(["lightness", "chroma", "hue"]), st.sampled_from([1, -1])),
        max_size=30,
    )
)
def test_undo_takes_every_step_back_and_bytes_stay_bytes(keys: list[tuple[str, int]]) -> None:
    seen = _seen("ws2812b")
    start = state = TrimState(zones=(_zone("#a06050", seen), _zone("#4080a0", seen)))
    for axis, sign in keys:
        state = stepped(state, axis, sign, seen, 0.4)  # type: ignore[arg-type]
        assert all(0 <= code <= 255 for code in state.zone.codes)
        state = turned_to(state, 1)
    for _ in keys:
        state = undone(state)
    assert state.zones == start.zones
    assert undone(state).past == ()


def test_colours_beyond_the_part_stop_at_its_limit() -> None:
    seen = _seen("ws2812b")
    zone = _zone("#ff2010", seen)
    for _ in range(60):
        zone = moved(zone, "chroma", 1, False, seen, 0.4)
    for _ in range(60):
        zone = moved(zone, "lightness", 1, False, seen, 0.4)
    # The nearest colour may lie a code or two below the top.
    assert max(zone.codes) >= 253
    # The key the other way works at once, by its 8 %: what cannot be shown is not remembered.
    assert max(moved(zone, "lightness", -1, False, seen, 0.4).codes) < 240


def test_zones_start_at_the_plans_bytes_and_know_their_cells_share() -> None:
    part = load_part("ws2812b")
    zone_map = zone_map_of(targets_of(["#a06050", "#4080a0"]))
    drive = solve_drive(zone_map, part, transfer_of([1000.0, 500.0]), SETTINGS)
    zones = trim_zones(drive, zone_map, seen_part(part, emission(part), SETTINGS))
    assert [zone.codes for zone in zones] == [one.codes for one in drive.zones]
    # Half the light per candela asks for twice the intensity; rounding to bytes moves it by a few per cent.
    assert zones[1].brightness / zones[0].brightness == pytest.approx(2.0, rel=0.06)


class FakePort:
    """A sign that answers by a rule."""

    def __init__(self, rule: Callable[[str], str]) -> None:
        self._rule, self._out, self._line = rule, b"", ""
        self.asked: list[str] = []

    def write(self, data: bytes, /) -> int:
        for byte in data.decode():
            if byte in {"!", "\n"}:
                request = "!" if byte == "!" else self._line
                self._line = ""
                self.asked.append(request)
                self._out += self._rule(request).encode("latin-1")
            else:
                self._line += byte
        return len(data)

    def read(self, size: int = 1, /) -> bytes:
        got, self._out = self._out[:size], self._out[size:]
        return got


@pytest.fixture(autouse=True)
def _short_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(trim_link, "_HELLO_WAIT_S", 0.01)
    monkeypatch.setattr(trim_link, "_ANSWER_WAIT_S", 0.02)


HELLO = "trim 1 zones 5 channels 3 global 0 crc 96424553\n"


def test_hello_is_read_as_the_protocol_states_it_even_after_noise() -> None:
    # The answer as trim.h prints it.
    port = FakePort(lambda _: "\x00\xff" + HELLO)
    assert TrimLink(port, "p").hello() == Hello(
        zones=5, channels=3, global_bits=0, crc32=0x96424553
    )


def test_hello_is_read_after_any_amount_of_noise_without_a_line_end() -> None:
    # A port at another speed hears a running sign as a stream of such bytes.
    port = FakePort(lambda _: "\x00\xfe" * 20_000 + HELLO)
    assert TrimLink(port, "p").hello().zones == 5


def test_a_call_missed_while_a_frame_was_sent_is_made_again() -> None:
    calls: list[str] = []

    def rule(request: str) -> str:
        calls.append(request)
        return HELLO if len(calls) == 3 else ""

    assert TrimLink(FakePort(rule), "p").hello().zones == 5


def test_the_bytes_really_shown_are_handed_back() -> None:
    port = FakePort(lambda request: "3=127,9,3\n" if request == "3=255,9,3" else "")
    assert TrimLink(port, "p").show(3, (255, 9, 3), None) == ((127, 9, 3), None)
    port = FakePort(lambda _: "3=127,9,3,16\n")
    assert TrimLink(port, "p").show(3, (255, 9, 3), 31) == ((127, 9, 3), 16)
    assert port.asked == ["3=255,9,3,31"]


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        ("", "did not answer '3=1,2,3'"),
        ("error\n", "answered 'error'"),
        ("3=1,2\n", "answered '3=1,2'"),
        ("\x07\n", "answered"),
        (HELLO * 30, "too many lines"),
    ],
)
def test_an_odd_answer_is_told(answer: str, told: str) -> None:
    with pytest.raises(InputError, match=told):
        TrimLink(FakePort(lambda _: answer), "p").show(3, (1, 2, 3), None)


def test_a_silent_port_is_told() -> None:
    with pytest.raises(InputError, match="no sign answered"):
        TrimLink(FakePort(lambda _: ""), "p").hello()
