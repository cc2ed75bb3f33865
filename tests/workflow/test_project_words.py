"""What is wrong with a project file is told by the key as typed, what stands there, and how to mend it."""

from __future__ import annotations

from pathlib import Path

import pytest

from marquee.errors import InputError, MarqueeError
from marquee.project import read_project
from marquee.units import parse_length_mm

HEAD = '[artwork]\nfile = "sign.png"\nwidth = "120mm"\n'
# Words of the validation library, of Python and of regular expressions, which no maker need know.
FOREIGN = ("input should", "string should", "tuple", "float", "dictionary", "pattern", "^[", "[]")


def _refused(tmp_path: Path, text: str) -> str:
    path = tmp_path / "project.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as refused:
        read_project(path)
    told = f"{refused.value}"
    assert "\n" not in told
    assert not [word for word in FOREIGN if word in told]
    return told


@pytest.mark.parametrize(
    ("line", "key", "mend"),
    [
        ('[firmware]\nprefix = "9x"', "firmware.prefix", "such as MY_SIGN"),
        ("[leds]\nhalf_angle_deg = 0", "leds.half_angle_deg", "give 10 or more"),
        ("[power]\nconductor_c = 400", "power.conductor_c", "give 90 or less"),
        ("[colour]\ncycle_period_s = 0", "colour.cycle_period_s", "give more than 0"),
        ('[cut]\npage = "A3"', "cut.page", "'A4' or 'Letter'"),
        ('[colour]\npolicy = "Keep"', "colour.policy", "'keep', 'fill' or 'blend'"),
        ('[power]\ntariff_per_kwh = "30 cents"', "power.tariff_per_kwh", "such as 12 or 0.3"),
        ('[colour]\nspread = "perhaps"', "colour.spread", "true or false"),
        ('[[zones.override]]\nat = "20mm 30mm"', "zones.override 1 at", '["120mm", "45mm"]'),
        (
            '[[zones.override]]\nat = ["1mm", "1mm"]\n[[zones.override]]\nat = ["1mm", "1mm"]\nmode = "blink"',
            "zones.override 2 mode",
            "'steady' or 'hue-cycle'",
        ),
        (
            "[[zones.override]]\nname = 'lamp'",
            "'zones.override 1 at' is missing",
            "add at under [zones.override]",
        ),
    ],
)
def test_a_wrong_setting_is_told_by_its_key_and_what_to_write(
    tmp_path: Path, line: str, key: str, mend: str
) -> None:
    told = _refused(tmp_path, f"{HEAD}{line}\n")
    assert key in told
    assert mend in told


@pytest.mark.parametrize("key", ["0", "7", "\u00b2", ""])
def test_a_key_of_digits_is_told_as_it_is_typed(tmp_path: Path, key: str) -> None:
    assert f"unknown key '{key}'" in _refused(tmp_path, f'{HEAD}["{key}"]\na = 1\n')
    assert f"unknown key 'box.{key}'" in _refused(tmp_path, f'{HEAD}[box]\n"{key}" = 1\n')


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "begin with [artwork]"),
        ("# nothing yet\n", 'width = "380mm"'),
        ('box = "deep"\n' + HEAD, "put its settings below a line [box]"),
        ('[artwork]\nfile = sign.png\nwidth = "120mm"\n', "in quotes"),
        ('[artwork]\nfile = "sign.png"\nwidth = 120mm\n', "in quotes"),
        (f'{HEAD}width = "100mm"\n', "stands twice"),
    ],
)
def test_a_file_without_what_it_needs_says_what_to_write(
    tmp_path: Path, text: str, words: str
) -> None:
    assert words in _refused(tmp_path, text)


@pytest.mark.parametrize(
    ("text", "what", "flag"),
    [
        (
            'schema = 1\nname = "x"\n[[colour]]\nname = "a"\nvalue = "#fff"\n',
            "palette",
            "--palette",
        ),
        ('schema = 1\nname = "x"\nbased_on = "ws2812b"\n', "an LED part", "--part"),
        (
            'schema = 1\nname = "x"\npart = "ws2812b"\n[gain]\nr = 1.0\n',
            "calibration",
            "--calibration",
        ),
    ],
)
def test_another_file_of_the_makers_is_named_for_what_it_is(
    tmp_path: Path, text: str, what: str, flag: str
) -> None:
    told = _refused(tmp_path, text)
    assert what in told
    assert "not a project file" in told
    assert flag in told


@pytest.mark.parametrize("text", ["0", "-3", "0mm", "-3mm"])
def test_nothing_and_less_are_no_lengths_whatever_their_unit(text: str) -> None:
    with pytest.raises(MarqueeError, match="is not above zero"):
        parse_length_mm(text, "--depth")
    # Zero reads one way only.
    assert parse_length_mm("0", "--wall-gap", zero_ok=True) == 0.0
