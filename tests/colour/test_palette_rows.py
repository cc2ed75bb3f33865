"""A palette file's rows: one paint in every form a guide or an instrument gives, and what is refused."""

from pathlib import Path

import pytest

from marquee.artwork.palette import read_palette
from marquee.colour.difference import delta_e_2000
from marquee.errors import InputError

# BabelColor's published averages of 30 ColorChecker charts under D50: xyY, and separately the spectra.
PATCHES = ("dark skin", "blue", "green", "red", "yellow", "white 9.5 (.05 D)")


def write(folder: Path, *rows: str) -> str:
    path = folder / "palette.toml"
    path.write_text("schema = 1\n" + "".join(f"[[colour]]\n{row}\n" for row in rows), "utf-8")
    return str(path)


@pytest.mark.parametrize("patch", PATCHES)
def test_one_paint_in_every_form_is_one_colour(tmp_path: Path, patch: str) -> None:
    colour = pytest.importorskip("colour")
    xyy = colour.CCS_COLOURCHECKERS["BabelColor Average"].data[patch]
    xyz = colour.xyY_to_XYZ(xyy)
    # The ICC profile connection space's white, which print guides mean by D50.
    lab = colour.XYZ_to_Lab(xyz, illuminant=colour.XYZ_to_xy([0.9642, 1.0, 0.8249]))
    spectrum = colour.SDS_COLOURCHECKERS["babel_average"][patch]
    path = write(
        tmp_path,
        f'name = "as xyY"\nxyY = {list(map(float, xyy))}\nwhite = "D50"',
        f'name = "as xyz"\nxyz = {list(map(float, xyz))}\nwhite = "D50"',
        f'name = "as lab"\nlab = {list(map(float, lab))}\nwhite = "D50"',
        f'name = "as css"\nvalue = "color(xyz-d50 {xyz[0]} {xyz[1]} {xyz[2]})"',
        f'name = "as spectrum"\nwavelengths_nm = {list(map(float, spectrum.wavelengths))}\n'
        f"reflectance = {list(map(float, spectrum.values))}",
    )
    first, *others = read_palette(path)
    # CSS takes its D50 from x,y in four digits, 2e-4 off in Z. The spectra are held linear over 10 nm, and
    # xyY carries four digits.
    limits = {"as xyz": 1e-6, "as lab": 1e-6, "as css": 0.04, "as spectrum": 0.3}
    for other in others:
        error = float(delta_e_2000(first.lab_d65, other.lab_d65))
        assert error < limits[other.name], other.name


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("xyz = [0.2, 0.2, 0.2]", 'add white = "D50"'),
        ('xyz = [20.1, 21.3, 9.5]\nwhite = "D50"', "[0.201, 0.213, 0.095]"),
        ('xyz = [0.2, 0.2]\nwhite = "D50"', "three numbers"),
        ('xyz = [0.2, 0.2, 0.2]\nwhite = "D51"', "did you mean D"),
        ('lab = [148, 62, 43]\nwhite = "D50"', "lab(100% 62 43)"),
        ('lab = [48, 162, -243]\nwhite = "D50"', "lab(48% 127 -128)"),
        ("xyY = [0.3, 0.3, 25]", "such as 0.25"),
        ("reflectance = [0.1, 0.2]", "belong together"),
        ('value = "#fff"\nwavelengths_nm = [400, 700]', "belong together"),
        ("wavelengths_nm = [400, 700]", "states no colour"),
        ("wavelengths_nm = [400, 420]\nreflectance = [0.1, 0.2]", "leaves out visible light"),
        ('wavelengths_nm = [400, 420]\nreflectance = ["a", 0.2]', "not a row of numbers"),
        ("wavelengths_nm = [400, 420]\nreflectance = 0.2", "one reflectance for each"),
        ("wavelengths_nm = [400]\nreflectance = [0.1]\nvalue = 'red'", "exactly one of"),
    ],
)
def test_row_that_cannot_be_read_names_itself_and_the_nearest_form(
    tmp_path: Path, row: str, said: str
) -> None:
    with pytest.raises(InputError) as refused:
        read_palette(write(tmp_path, f'name = "Fen blue"\n{row}'))
    assert said in str(refused.value)
    assert "row 1 (Fen blue)" in str(refused.value)
    assert "\n" not in str(refused.value)
