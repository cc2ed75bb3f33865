"""Wire as a maker types it, and the sizes a feed may have."""

from __future__ import annotations

import pytest

from marquee.errors import QuantityError
from marquee.power.tables import power_table
from marquee.power.wire import feed_sizes, pair_drop_v, wire_named, wire_sizes


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("18AWG", "18 AWG"),
        ("18 awg", "18 AWG"),
        ("AWG18", "18 AWG"),
        ("awg 18", "18 AWG"),
        (" 1.5mm2 ", "1.5 mm²"),
        ("1,5 mm²", "1.5 mm²"),
        ("1.5MM2", "1.5 mm²"),
        ("0.75 Mm²", "0.75 mm²"),
    ],
)
def test_a_size_is_known_however_it_is_written(text: str, name: str) -> None:
    assert wire_named(text, "power.wire_size").name == name


@pytest.mark.parametrize("system", ["awg", "metric"])
def test_every_size_is_found_by_its_own_name(system: str) -> None:
    sizes = wire_sizes("awg") if system == "awg" else wire_sizes("metric")
    assert len(sizes) >= 6
    for wire in sizes:
        assert wire_named(wire.name, "power.wire_size") == wire
        assert (wire.awg is None) == (system == "metric")
        assert wire.name.endswith("AWG" if system == "awg" else "mm²")
        assert wire.cite.startswith(f"wire {wire.name}, {wire.current_a:g} A: {wire.source}")
        assert wire.status in wire.cite
        assert "NEC" in wire.source or "IEC" in wire.source or "NFPA" in wire.source


@pytest.mark.parametrize("text", ["17AWG", "3mm2", "1;5mm2", "18", "AWG", "mm2"])
def test_a_size_without_a_row_lists_those_there_are(text: str) -> None:
    with pytest.raises(QuantityError) as caught:
        wire_named(text, "power.wire_size")
    assert caught.value.where == "power.wire_size"
    assert text in caught.value.what
    names = [wire.name for wire in (*wire_sizes("awg"), *wire_sizes("metric"))]
    assert caught.value.mend == f"write one of: {', '.join(names)}"


@pytest.mark.parametrize("system", ["awg", "metric"])
def test_feeds_are_of_the_sizes_from_the_thinnest_to_the_thickest_the_rules_name(
    system: str,
) -> None:
    rules = power_table("wire.toml")["rules"]
    low, high = rules["thinnest_feed_mm2"]["value"], rules["thickest_feed_mm2"]["value"]
    every = wire_sizes("awg") if system == "awg" else wire_sizes("metric")
    chosen = feed_sizes("awg") if system == "awg" else feed_sizes("metric")
    assert set(chosen) <= set(every)
    assert [wire.mm2 for wire in chosen] == sorted(wire.mm2 for wire in chosen)
    left_out = set(every) - set(chosen)
    assert all(wire.mm2 < low or wire.mm2 > high for wire in left_out)
    assert all(low <= wire.mm2 <= high for wire in chosen)


def test_a_metre_of_pair_loses_twice_its_resistance_times_the_current() -> None:
    # Ohm's law: 1 A through 2 × 1 m of 1 Ω/m is exactly 2 V.
    assert pair_drop_v(1.0, 1000.0, 1.0) == 2.0
