"""What the drawings say beside their lines is whole and true."""

from __future__ import annotations

import io
from xml.etree import ElementTree as ET

from ezdxf.filemanagement import read as readfile

from marquee.outputs.drawings.drawing import Drawing
from marquee.outputs.drawings.dxf import dxf_bytes
from marquee.outputs.drawings.files import cut_files
from marquee.outputs.drawings.floor import barriers_drawing, floor_notes
from marquee.outputs.drawings.walls import walls_drawing
from tests.drawings.made import blank, box, planned, rows


def _words(drawing: Drawing) -> str:
    return "\n".join(label.text for label in drawing.labels)


def test_every_notch_of_a_long_wall_is_written_in_the_table() -> None:
    # Forty rows pass under one upright wall: more than one line of the table holds.
    size = (300.0, 580.0)
    places = tuple(10.0 + 14.0 * k for k in range(40))
    cut = planned(box(((150, 0), (150, 580)), size=size), rows(*places), blank(size))
    (strip,) = cut.strips
    assert len(strip.notches) >= 30
    words = _words(walls_drawing(cut, "sign.png"))
    assert "…" not in words
    told = words.replace(";\n", "; ")
    assert "; ".join(f"{n.at_mm:.0f}, {n.width_mm:.0f}" for n in strip.notches) in told


def test_a_face_without_walls_sends_nobody_to_files_that_are_not_written() -> None:
    cut = planned(box(), rows(20.0, 60.0, 100.0))
    files = cut_files(cut, (), "sign.png")
    assert "walls.svg" not in files
    notes = " ".join(floor_notes(cut))
    assert "walls.svg" not in notes
    assert "no walls are needed" in notes
    svg = "".join(ET.fromstring(files["barriers.svg"]).itertext())  # noqa: S314 -- written above
    assert "walls.svg" not in svg


def test_samples_of_the_dxf_legend_have_the_colours_of_their_layers() -> None:
    cut = planned(box(((0, 60), (300, 60)), ((100, 0), (100, 60))), rows(20.0, 100.0))
    drawing = barriers_drawing(cut, (), "sign.png")
    text = dxf_bytes(drawing).decode("cp1252")
    document = readfile(io.StringIO(text))
    samples = [e for e in document.modelspace().query("LWPOLYLINE") if e.dxf.layer == "NOTE"]
    colour_of = {layer.dxf.name: layer.color for layer in document.layers}
    # Colour 256 is "as the layer" (DXF reference, group code 62).
    seen = {e.dxf.color if e.dxf.color != 256 else colour_of["NOTE"] for e in samples}
    wanted = {colour_of[name] for name in ("WALL", "LED-ROW", "CENTRE")}
    assert len(wanted) >= 2
    assert wanted <= seen
