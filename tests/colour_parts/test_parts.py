from __future__ import annotations

import contextlib
import math
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from marquee.colour.emission import emission
from marquee.colour.part_file import KEYS
from marquee.colour.parts import load_part, part_names
from marquee.errors import InputError, MarqueeError, TableError, UnknownNameError
from marquee.tables.load import STATUSES

SOURCE = 'status = "measured", source = "my bench"'
WHOLE = "\n".join(
    (
        'name = "bench-strip"',
        'title = "A strip measured on the bench"',
        'channels = "RGB"',
        'protocol = "one-wire"',
        f'supply_v = {{ value = 5, unit = "V", {SOURCE} }}',
        f'response = {{ value = "linear", unit = "text", {SOURCE} }}',
    )
)


def row(key: str, value: object) -> str:
    shown = f'"{value}"' if isinstance(value, str) else str(value).replace("(", "[")
    return f'{key} = {{ value = {shown}, unit = "{KEYS[key].unit}", {SOURCE} }}'


def own(folder: Path, text: str) -> str:
    path = folder / "own.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_the_packaged_parts_are_those_promised() -> None:
    assert set(part_names()) >= {
        "ws2812b",
        "ws2812b-v5",
        "ws2813",
        "sk6812",
        "sk6812-rgbw-nw",
        "ws2815",
        "apa102",
        "sk9822",
        "ws2811-12v",
    }


@pytest.mark.parametrize("name", part_names())
def test_every_figure_of_a_packaged_part_has_source_and_status(name: str) -> None:
    part = load_part(name)
    assert part.name == name
    assert len(part.figures) > 15
    for figure in part.figures.values():
        assert figure.source.strip()
        assert figure.status in STATUSES
        # The two marks of what is not published stand in both places, so that outputs can print either.
        marks = {"from memory", "common practice, no source"}
        assert figure.source == figure.status or not marks & {figure.status, figure.source}


def test_nominal_figures_are_the_middles_of_the_sheets_ranges() -> None:
    part = load_part("ws2812b")
    # Worldsemi WS2812B sheet, English, 2013: 390-420/660-720/180-200 mcd, 620-625/522-525/465-467 nm.
    assert part.intensity_cd == pytest.approx((0.405, 0.690, 0.190), abs=1e-9)
    assert part.dominant_nm == pytest.approx((622.5, 523.5, 466.0), abs=1e-9)
    # Its Chinese twin: 620-630/515-530/465-475 nm widens the range.
    assert part.dominant_range_nm == ((620.0, 630.0), (515.0, 530.0), (465.0, 475.0))
    assert part.byte_order == ("G", "R", "B")


def test_worst_case_current_is_the_larger_published_figure() -> None:
    # WS2812B: 16 to 17.5 mA measured, 20 mA in the Chinese sheet. WS2813: 16 mA, 18 mA in the reprint.
    assert load_part("ws2812b").channel_current_max_a == (0.020, 0.020, 0.020)
    assert load_part("ws2813").channel_current_max_a == (0.018, 0.018, 0.018)
    for name in part_names():
        part = load_part(name)
        assert part.channel_current_a is not None
        assert part.channel_current_max_a is not None
        pairs = zip(part.channel_current_a, part.channel_current_max_a, strict=True)
        assert all(typical <= worst for typical, worst in pairs)


def test_flux_becomes_intensity_as_a_lambertian_source_does() -> None:
    # Φ = ∫ I cos θ dΩ over the half space, summed here in 0.01° rings; the sheet's middle green is 4 lm.
    theta = np.radians(np.arange(0.005, 90, 0.01))
    per_cd = float(np.sum(np.cos(theta) * 2 * math.pi * np.sin(theta)) * np.radians(0.01))
    part = load_part("sk6812")
    assert part.intensity_cd is not None
    assert part.intensity_cd[1] * per_cd == pytest.approx(4.0, rel=1e-6)
    assert part.intensity_spread == pytest.approx((1 / 1.5, 2 / 1.5), abs=1e-9)  # 1 to 2 lm


def test_ws2815_white_draws_what_one_led_measured() -> None:
    # One LED on a meter, 2018: white 15.4 mA at 12 V, all in; single channels 15.2, 9.5, 14.8 mA.
    part = load_part("ws2815")
    assert part.current_law == "largest"
    assert part.channel_current_a is not None
    assert part.dark_current_a is not None
    single = [1000 * (part.dark_current_a + a) for a in part.channel_current_a]
    assert single == pytest.approx([15.2, 9.5, 14.8], abs=0.01)
    assert max(single) == pytest.approx(15.4, abs=0.5)  # two readings of a hand meter


def test_pixel_of_three_leds_shines_three_times_one() -> None:
    part = load_part("ws2811-12v")
    assert part.leds_per_pixel == 3
    # American Bright 8PIN 943, middles 850/1500/375 mcd an LED.
    assert part.intensity_cd == pytest.approx((2.55, 4.5, 1.125), abs=1e-9)
    # Sheet: 3 × 18.5 mA and 2.6 mA of the driver give 58.1 mA a segment.
    assert part.channel_current_a is not None
    assert part.dark_current_a is not None
    assert sum(part.channel_current_a) + part.dark_current_a == pytest.approx(0.0581, abs=1e-9)


@pytest.mark.parametrize("name", [n for n in part_names() if load_part(n).protocol == "one-wire"])
def test_bit_times_lie_in_what_the_one_wire_sheets_allow(name: str) -> None:
    # WS2812B sheet 2013: 1.25 µs ± 0.6 µs a bit, high time of a 0 shorter than of a 1.
    bit_ns, latch_us = load_part(name).bit_ns, load_part(name).latch_us
    assert bit_ns is not None
    t0h, t0l, t1h, t1l = bit_ns
    assert t0h < t1h
    assert 650 <= t0h + t0l <= 1850
    assert 650 <= t1h + t1l <= 1850
    assert latch_us == 300  # covers every revision read (50 µs to 300 µs)


def test_what_no_source_gives_stays_missing() -> None:
    part = load_part("apa102")
    assert part.intensity_cd is None
    assert part.dominant_nm is None
    assert part.intensity_spread is None
    assert part.bit_ns is None
    assert load_part("ws2811-12v").supply_max_v is None


def test_a_makers_figures_complete_a_packaged_part(tmp_path: Path) -> None:
    figures = [row(f"intensity_{c}_mcd", v) for c, v in zip("rgb", (400, 800, 200), strict=True)]
    figures += [row(f"dominant_{c}_nm", v) for c, v in zip("rgb", (622, 523, 466), strict=True)]
    text = "\n".join(['name = "my-apa102"', 'based_on = "apa102"', *figures])
    part = load_part(own(tmp_path, text))
    assert (part.name, part.protocol, part.global_bits) == ("my-apa102", "clocked", 5)
    assert [y for _, y, _ in emission(part).xyz_cd] == pytest.approx([0.4, 0.8, 0.2], rel=1e-12)
    assert part.intensity_spread is None  # single values give no range
    assert part.figures["intensity_g_mcd"].source == "my bench"


def test_a_makers_own_response_table_is_used(tmp_path: Path) -> None:
    text = WHOLE.replace('"linear"', '"table"')
    table = row("response_table", [[0, 0], [64, 0.1], [255, 2]])
    part = load_part(own(tmp_path, f"{text}\n{table}"))
    assert part.response[64] == pytest.approx(0.05, abs=1e-12)
    assert part.response_measured


def test_a_part_is_found_by_its_name_as_the_reel_prints_it() -> None:
    for name in part_names():
        assert load_part(name.upper()) == load_part(name)


def test_an_unknown_part_names_the_nearest() -> None:
    with pytest.raises(UnknownNameError, match="ws2812b"):
        load_part("WS2812")
    with pytest.raises(UnknownNameError, match="sk6812"):
        load_part("zzz")


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (WHOLE + '\nintensty_r_mcd = 3', r"unknown key 'intensty_r_mcd'; did you mean 'intensity_r_mcd'"),
        (WHOLE + "\nsupply_max = 3", r"own\.toml: unknown key 'supply_max'"),
        (WHOLE + "\nlatch_us = 80", "latch_us: is not a figure row; write latch_us = "),
        (WHOLE.replace('source = "my bench"', 'source = " "', 1), "supply_v: has no source"),
        (WHOLE.replace('"measured"', '"guessed"', 1), "status 'guessed'; use one of: data sheet"),
        (WHOLE.replace('unit = "V"', 'unit = "mV"'), r"""unit 'mV'; write unit = "V\""""),
        (WHOLE.replace("value = 5,", "value = -5,"), "value = -5; write a number from 1"),
        (WHOLE.replace("value = 5,", "value = true,"), "value = True"),
        (WHOLE.replace("value = 5,", "value = nan,"), "value = nan"),
        (WHOLE.replace("value = 5,", "value = [6, 5],"), r"value = \[6, 5\]"),
        (WHOLE.replace("value = 5,", "value = 5, sauce = 1,"), "unknown key 'sauce'; did you mean 'source'"),
        (WHOLE.replace('"linear"', '"gamma"'), "value = 'gamma'; write one of linear"),
        (WHOLE.replace('"linear"', '"table"'), "response_table: needs two or more"),
        (WHOLE + "\n" + row("response_table", [1, 2]), "write pairs of code"),
        (WHOLE + "\n" + row("white_xy", [0.7, 0.7]), "together below 1"),
        (WHOLE + "\n" + row("operating_c", 20), r"write \[low, high\]"),
        (WHOLE + "\n" + row("byte_order", "GGB"), "does not name R, G, B once each"),
        (WHOLE + "\n" + row("byte_order", "GRBW"), "does not name R, G, B once each"),
        (WHOLE + "\n" + row("intensity_spread", [2, 3]), "leaves out 1"),
        (WHOLE.replace('"RGB"', '"RGBY"'), "channels = 'RGBY'"),
        (WHOLE.replace('"one-wire"', '"radio"'), "protocol = 'radio'"),
        (WHOLE.replace('"bench-strip"', '"Bench Strip"'), "lower-case"),
        (WHOLE.replace("title", "note"), "unknown key 'note'"),
        (WHOLE.replace('name = "bench-strip"\n', ""), "name is missing"),
        ("schema = 2\n" + WHOLE, "schema = 2"),
        ("\n".join(WHOLE.split("\n")[:4] + WHOLE.split("\n")[5:]), "supply_v is missing"),
        ("\n".join(WHOLE.split("\n")[:5]), "response is missing"),
        (WHOLE + '\nbased_on = "ws2812"', "did you mean 'ws2812b'"),
        (WHOLE + "\nbackground = 3", "background is not a table"),
        (WHOLE + '\n[background]\ncolour = { value = "red" , source = "" }', "background.*no source"),
        ("name = ", "is not TOML"),
    ],
)  # fmt: skip
def test_a_faulty_part_file_is_named_with_key_and_mend(
    tmp_path: Path, text: str, match: str
) -> None:
    with pytest.raises(MarqueeError, match=match) as caught:
        load_part(own(tmp_path, text))
    assert "\n" not in str(caught.value)


def test_files_that_are_no_part_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        load_part(str(tmp_path / "none.toml"))
    folder = tmp_path / "folder.toml"
    folder.mkdir()
    with pytest.raises(InputError, match="is not a file"):
        load_part(str(folder))
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    with pytest.raises(InputError, match="is not a file"):
        load_part(str(pipe))
    latin = tmp_path / "latin.toml"
    latin.write_bytes(b'name = "caf\xe9"')
    with pytest.raises(InputError, match="UTF-8"):
        load_part(str(latin))
    large = tmp_path / "large.toml"
    large.write_bytes(b"#" * 1_000_001)
    with pytest.raises(InputError, match="1 MB"):
        load_part(str(large))
    with pytest.raises(InputError, match=r"null|does not exist|not a file"):
        load_part("a\0b.toml")


@given(data=st.binary(max_size=200))
def test_any_bytes_either_load_or_are_explained(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    path = tmp_path_factory.mktemp("fuzz") / "fuzz.toml"
    path.write_bytes(data)
    with pytest.raises(MarqueeError):
        load_part(str(path))


scalars = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8)
values = st.recursive(scalars, lambda inner: st.lists(inner, max_size=3), max_leaves=6)


@given(key=st.sampled_from(sorted(KEYS)), value=values)
def test_any_value_of_any_key_either_loads_or_is_explained(
    tmp_path_factory: pytest.TempPathFactory, key: str, value: object
) -> None:
    def toml(item: object) -> str:
        if isinstance(item, list):
            return "[" + ", ".join(toml(i) for i in item) + "]"
        if isinstance(item, bool) or item is None:
            return str(bool(item)).lower()
        if isinstance(item, str):
            return (
                '"'
                + "".join(f"\\U{ord(c):08X}" for c in item if not 0xD800 <= ord(c) < 0xE000)
                + '"'
            )
        return str(item)

    line = f'{key} = {{ value = {toml(value)}, unit = "{KEYS[key].unit}", {SOURCE} }}'
    kept = "\n".join(part for part in WHOLE.split("\n") if not part.startswith(f"{key} ="))
    path = tmp_path_factory.mktemp("fuzz") / "fuzz.toml"
    path.write_text(f"{kept}\n{line}\n", encoding="utf-8")
    with contextlib.suppress(MarqueeError):
        assert load_part(str(path)).figures[key].value is not None


def test_errors_are_table_errors_where_a_figure_is_at_fault(tmp_path: Path) -> None:
    with pytest.raises(TableError, match=r"own\.toml supply_v"):
        load_part(own(tmp_path, WHOLE.replace("value = 5,", 'value = "five",')))
