from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from marquee.errors import InputError
from marquee.project import Project, make_project, read_project
from marquee.project_template import project_template

GOOD = {"artwork": {"file": "a.png", "width": "380mm"}}


@pytest.mark.parametrize(
    ("text", "length_mm"),
    [("380mm", 380.0), ("38 cm", 380.0), ("0.38m", 380.0), ("15in", 381.0), ("3,5mm", 3.5)],
)
def test_lengths_carry_their_unit(text: str, length_mm: float) -> None:
    project = make_project({"artwork": {"file": "a.png", "width": text}}, "t")
    assert project.artwork.width_mm == pytest.approx(length_mm, rel=1e-12)


def test_a_bare_number_is_refused_with_both_likely_readings() -> None:
    with pytest.raises(InputError, match=r"380mm \(15in\) or 380in \(9652mm\)"):
        make_project({"artwork": {"file": "a.png", "width": "380"}}, "t")


@pytest.mark.parametrize(
    "width", ["0mm", "-5mm", "nan", "inf mm", "1e9mm", "", "mm", "5 furlongs", True]
)
def test_a_width_that_is_no_positive_length_is_refused(width: object) -> None:
    with pytest.raises(InputError, match=r"artwork\.width"):
        make_project({"artwork": {"file": "a.png", "width": width}}, "t")


@pytest.mark.parametrize(
    ("text", "area_mm2"), [("2mm2", 2), ("0.5 cm²", 50), ("0,5cm2", 50), (".5mm2", 0.5)]
)
def test_areas_carry_their_unit(text: str, area_mm2: float) -> None:
    project = make_project({**GOOD, "zones": {"min_area": text}}, "t")
    assert project.zones.min_area_mm2 == pytest.approx(area_mm2, rel=1e-12)


@pytest.mark.parametrize("area", ["2", "1.2.3mm2", ".mm2", "-1mm2", "2mm", 7])
def test_what_is_no_area_is_refused_with_the_form_to_write(area: object) -> None:
    with pytest.raises(InputError, match=r'is not an area.*"2mm2" or "0.1cm2"'):
        make_project({**GOOD, "zones": {"min_area": area}}, "t")


@pytest.mark.parametrize(
    ("table", "nearest"),
    [
        ({"box": {"dept": "40mm"}}, "'depth'"),
        ({"led": {}}, "'leds'"),
        ({"colour": {"polcy": "keep"}}, "'policy'"),
        ({"zones": {"override": [{"at": ["1mm", "1mm"], "nam": "x"}]}}, "'name'"),
    ],
)
def test_an_unknown_key_names_the_nearest_valid_one(
    table: dict[str, object], nearest: str
) -> None:
    with pytest.raises(InputError, match=f"did you mean {nearest}"):
        make_project({**GOOD, **table}, "t")


def test_all_problems_of_a_project_are_told_at_once() -> None:
    with pytest.raises(InputError, match=r"artwork\.width.*box\.depth"):
        make_project({"artwork": {"file": "a", "width": "1"}, "box": {"depth": "2"}}, "t")


def test_the_template_validates_with_every_setting_switched_on() -> None:
    text = project_template('odd "name".png', "15in")
    make_project(tomllib.loads(text), "t")
    switched_on = re.sub(r"^# ([a-z_0-9]+ = )", r"\1", text, flags=re.MULTILINE)
    switched_on = switched_on.replace("# [[zones.override]]", "[[zones.override]]")
    project = make_project(tomllib.loads(switched_on), "t")
    assert project.box == make_project(GOOD, "t").box.model_copy(
        update={"transmittance": 0.55, "reflectance": 0.8}
    )
    assert project.zones.override[0].name == "lamp room"


def test_the_template_shows_every_setting_there_is() -> None:
    text = project_template("a.png", "1m")
    for section in Project.model_fields.values():
        for name, info in getattr(section.annotation, "model_fields", {}).items():
            assert (info.alias or name) in text


def test_files_of_a_project_lie_beside_it_and_those_of_flags_do_not(tmp_path: Path) -> None:
    folder = tmp_path / "cabinet"
    folder.mkdir()
    (folder / "project.toml").write_text(
        '[artwork]\nfile = "a.png"\nwidth = "10mm"\n[zones]\npalette = "p.toml"\n',
        encoding="utf-8",
    )
    project = read_project(folder / "project.toml", {"zones": {"palette": "mine.toml"}})
    assert project.artwork.file == str(folder / "a.png")
    assert project.zones.palette == "mine.toml"


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"\xff\xfe", "UTF-8"), (b"a = ", "TOML"), (b"[artwork]\nwidth='1mm'", "file")],
)
def test_a_broken_project_file_is_told_in_one_line(
    tmp_path: Path, content: bytes, said: str
) -> None:
    path = tmp_path / "project.toml"
    path.write_bytes(content)
    with pytest.raises(InputError, match=said) as caught:
        read_project(path)
    assert "\n" not in str(caught.value)
