"""SVG artwork: areas against svgelements and shapely, sizes as CSS states them, and nothing that reaches outside."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest
import svgelements
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from marquee.artwork import svg
from marquee.artwork.read import read_artwork
from marquee.artwork.zones import find_zones
from marquee.cli.app import run
from marquee.errors import InputError
from marquee.project import ArtworkSettings, ZoneSettings, make_project
from marquee.values import Artwork, ZoneMap

NS = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
SIZE = 'width="300mm" height="100mm" viewBox="0 0 300 100"'
SHAPES = """
  <rect x="10.37" y="10" width="40.25" height="30" fill="#ff9a1e"/>
  <circle cx="100" cy="50" r="30" fill="#18b8d8"/>
  <path d="M150 20 C 180 -10, 200 40, 230 60 L 180 90 Z" fill="#1fa64a"/>
  <g transform="translate(250 50) rotate(30) scale(1.5 1)"><path d="M0 -25 C 16 -25 16 25 0 25 S -16 -25 0 -25" fill="#d81e2c"/></g>
  <path d="M20 60 h50 v30 h-50 z M30 65 v20 h30 v-20 z" fill="#ffffff"/>
"""


def drawing(body: str, size: str = SIZE, before: str = "") -> str:
    return f"{before}<svg {NS} {size}>{body}</svg>"


def read(tmp_path: Path, text: str | bytes, width: str | None = None) -> Artwork:
    path = tmp_path / "sign.svg"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    stated = {"file": str(path), **({"width": width} if width else {})}
    return read_artwork(path, ArtworkSettings.model_validate(stated))


def zones_of(tmp_path: Path, text: str, width: str | None = None) -> ZoneMap:
    return find_zones(read(tmp_path, text, width), ZoneSettings(), (), 3.0)


def areas_by_svgelements(text: str, path: Path) -> dict[str, float]:
    """Return the area of each fill, in user units, from another reading of the same file."""
    path.write_text(text)
    found: dict[str, float] = {}
    for element in svgelements.SVG.parse(str(path), reify=True, ppi=25.4).elements():
        if not isinstance(element, svgelements.Shape):
            continue
        rings = []
        for sub in svgelements.Path(element).as_subpaths():
            points = [svgelements.Path(sub).point(t) for t in np.linspace(0, 1, 4001)]
            rings.append(Polygon([(p.x, p.y) for p in points]).buffer(0))
        shape: BaseGeometry = rings[0]
        for ring in rings[1:]:
            shape = shape.symmetric_difference(ring)
        colour = element.fill.hex
        found[colour] = found.get(colour, 0.0) + unary_union(shape).area
    return found


def test_areas_are_those_svgelements_and_shapely_find(tmp_path: Path) -> None:
    text = drawing(SHAPES)
    wanted = areas_by_svgelements(text, tmp_path / "other.svg")
    zones = zones_of(tmp_path, text)
    assert len(wanted) == 5  # one of them with a hole
    found = {c.srgb: c.area_mm2 for c in zones.colours}
    assert set(found) == set(wanted)
    for colour, area in wanted.items():
        # A tenth of a percent of 1,000 mm² is a hundredth of a millimetre all round.
        assert found[colour] == pytest.approx(area, rel=0.002)


@pytest.mark.parametrize(
    ("size", "width_mm"),
    [
        ('width="30cm" height="10cm" viewBox="0 0 300 100"', 300.0),
        ('width="12in" viewBox="0 0 300 100"', 304.8),
        ('height="72pt" viewBox="0 0 300 100"', 76.2),
        ('width="300mm" height="100mm" viewBox="-20 5 300 100"', 300.0),
        ('width="1200Q" height="10cm"', 300.0),
    ],
)
def test_real_units_give_the_width(tmp_path: Path, size: str, width_mm: float) -> None:
    art = read(tmp_path, drawing('<rect width="50%" height="50%" fill="red"/>', size))
    assert art.width_mm == pytest.approx(width_mm, abs=0.01)
    assert art.height_mm == pytest.approx(width_mm / 3, abs=0.1)


def test_a_box_stands_where_the_view_box_puts_it(tmp_path: Path) -> None:
    body = '<rect x="-10" y="15" width="100" height="50" fill="#ff9a1e"/>'
    size = 'width="300mm" height="100mm" viewBox="-20 5 300 100"'
    (zone,) = zones_of(tmp_path, drawing(body, size)).zones
    assert zone.bbox_mm == pytest.approx((10, 10, 110, 60), abs=0.05)


@pytest.mark.parametrize("size", ['viewBox="0 0 300 100"', 'width="300" height="100px"'])
def test_pixels_alone_need_a_stated_width(tmp_path: Path, size: str) -> None:
    text = drawing('<rect x="30" y="10" width="100" height="50" fill="#ff9a1e"/>', size)
    with pytest.raises(InputError, match="does not say how wide"):
        read(tmp_path, text)
    (zone,) = zones_of(tmp_path, text, "600mm").zones
    assert zone.area_mm2 == pytest.approx(4 * 5000, rel=0.002)


def test_a_stated_width_goes_before_the_drawing_s_own(tmp_path: Path) -> None:
    assert read(tmp_path, drawing(SHAPES), "450mm").width_mm == pytest.approx(450)


def test_only_drawings_may_leave_the_width_out() -> None:
    with pytest.raises(InputError, match=r"'artwork\.width' is missing"):
        make_project({"artwork": {"file": "sign.png"}}, "options")
    assert make_project({"artwork": {"file": "sign.SVG"}}, "options").artwork.width_mm is None


def test_the_command_takes_a_drawing_s_own_width(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "sign.svg"
    path.write_text(drawing(SHAPES))
    assert run(["zones", str(path)]) == 0
    assert "300.0 × 100.0 mm" in capsys.readouterr().out


def test_drawing_twice_gives_the_same_pixels(tmp_path: Path) -> None:
    first, second = (read(tmp_path, drawing(SHAPES)) for _ in range(2))
    assert (first.srgb_8bit == second.srgb_8bit).all()
    assert first.alpha_8bit is not None
    assert second.alpha_8bit is not None
    assert (first.alpha_8bit == second.alpha_8bit).all()


def test_gzipped_and_utf_16_drawings_are_the_same(tmp_path: Path) -> None:
    plain = read(tmp_path, drawing(SHAPES))
    for data in (gzip.compress(drawing(SHAPES).encode()), drawing(SHAPES).encode("utf-16")):
        assert (read(tmp_path, data).srgb_8bit == plain.srgb_8bit).all()


def test_text_is_remarked_on(tmp_path: Path) -> None:
    art = read(tmp_path, drawing(SHAPES + '<text x="9" y="9">Hall</text><text> </text>'))
    (remark,) = [f for f in art.findings if f.code == "artwork.svg-text"]
    assert remark.message.startswith("1 text elements")
    assert not read(tmp_path, drawing(SHAPES)).findings


def test_a_drawing_of_text_alone_that_shows_nothing_names_the_text(tmp_path: Path) -> None:
    # Black on black stands for a font that is missing: nothing of it shows.
    dark = '<rect width="100%" height="100%"/><text x="9" y="9" fill="#000">Hall</text>'
    with pytest.raises(InputError, match=r"text was not drawn.*convert text to paths"):
        find_zones(read(tmp_path, drawing(dark)), ZoneSettings(), (), 3.0)


@pytest.mark.parametrize("tag", ["image", "use", "feImage"])
def test_references_to_other_files_are_left_out_and_said(tmp_path: Path, tag: str) -> None:
    other = tmp_path / "red.png"
    Image.new("RGB", (9, 9), "#d81e2c").save(other)
    for href in (str(other), other.as_uri(), "red.png", "HTTPS://example.org/red.png"):
        for key in ("href", "xlink:href"):
            body = f'{SHAPES}<{tag} {key}="{href}" width="300" height="100"/>'
            art = read(tmp_path, drawing(body))
            assert [f.code for f in art.findings] == ["artwork.svg-left-out"]
            plain = read(tmp_path, drawing(SHAPES))
            assert (art.srgb_8bit == plain.srgb_8bit).all()
        if tag != "image":
            break


def test_embedded_pictures_are_drawn(tmp_path: Path) -> None:
    import base64
    import io

    to = io.BytesIO()
    Image.new("RGB", (9, 9), "#d81e2c").save(to, "PNG")
    href = "data:image/png;base64," + base64.b64encode(to.getvalue()).decode()
    zones = zones_of(tmp_path, drawing(f'<image href="{href}" x="10" width="50" height="50"/>'))
    assert [c.srgb for c in zones.colours] == ["#d81e2c"]
    assert zones.zones[0].area_mm2 == pytest.approx(2500, rel=0.002)


def test_external_entities_are_not_opened(tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_text("<rect width='300' height='100' fill='red'/>")
    before = f'<!DOCTYPE svg [<!ENTITY x SYSTEM "{secret.as_uri()}">]>'
    with pytest.raises(InputError, match="not an SVG that can be read"):
        read(tmp_path, drawing(SHAPES + "&x;", before=before))


def test_namespaces_declared_as_entities_are_read(tmp_path: Path) -> None:
    """Some drawing programs write their namespaces that way."""
    text = '<!DOCTYPE svg [<!ENTITY ns "http://www.w3.org/2000/svg">]>'
    text += f'<svg xmlns="&ns;" {SIZE}>{SHAPES}</svg>'
    assert (read(tmp_path, text).srgb_8bit == read(tmp_path, drawing(SHAPES)).srgb_8bit).all()


def entity_bomb() -> str:
    levels = "".join(f'<!ENTITY a{k} "{f"&a{k - 1};" * 10}">' for k in range(1, 10))
    return drawing(
        "<desc>&a9;</desc>", before=f'<!DOCTYPE svg [<!ENTITY a0 "aaaaaaaaaa">{levels}]>'
    )


def use_bomb() -> str:
    groups = "".join(
        f'<g id="a{k}">{f"""<use href="#a{k - 1}"/>""" * 10}</g>' for k in range(1, 9)
    )
    return drawing(f'<rect id="a0" width="1" height="1"/>{groups}')


BAD = {
    "entities": (entity_bomb(), "not an SVG that can be read"),
    "uses": (use_bomb(), "elements once its references are followed"),
    "circle": (
        drawing('<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>'),
        "cannot be drawn",
    ),
    "depth": (drawing("<g>" * 100_000 + "</g>" * 100_000), "nests more than"),
    "cut short": (drawing(SHAPES)[:-20], "not an SVG that can be read"),
    "page": ("<!DOCTYPE html><html>svg</html>", "not an SVG drawing"),
    "no size": (drawing(SHAPES, ""), "neither a viewBox nor width"),
    "sliver": (drawing(SHAPES, 'width="10mm" height="1e6mm"'), "too narrow"),
    "huge": (drawing(SHAPES, 'width="900km" viewBox="0 0 300 100"'), "does not say how wide"),
    "absurd": (drawing(SHAPES, 'width="1e6mm" viewBox="0 0 300 100"'), "says that it is"),
    "encoding": (f'<?xml version="1.0" encoding="none"?>{drawing(SHAPES)}', "not an SVG that"),
}


@pytest.mark.parametrize("kind", BAD)
def test_what_cannot_be_drawn_is_refused_in_one_line(tmp_path: Path, kind: str) -> None:
    text, match = BAD[kind]
    with pytest.raises(InputError, match=match) as caught:
        read(tmp_path, text)
    assert "\n" not in str(caught.value)
    assert str(caught.value).isprintable()


def test_a_filter_without_end_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(svg, "_SECONDS", 1)
    filtered = '<filter id="f"><feTurbulence numOctaves="1000000" baseFrequency="0.1"/></filter>'
    body = f'{filtered}<rect width="300" height="100" filter="url(#f)"/>'
    with pytest.raises(InputError, match="to draw"):
        read(tmp_path, drawing(body))


def test_a_drawing_larger_than_memory_is_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(svg, "_MEMORY_BYTES", 80_000_000)
    with pytest.raises(InputError, match="to draw"):
        read(tmp_path, drawing(f'<g opacity="0.5">{SHAPES}</g>'), "3m")


PIECES = (
    '<use href="#a"/>',
    '<g id="a">',
    "</g>",
    'fill="url(#a)"',
    "1e308",
    "-1",
    "NaN",
    "&#0;",
    "<!--",
    "<![CDATA[",
    '<pattern id="a" width="1e-9" height="1">',
    '<mask id="a">',
    'stroke="red" stroke-width="1e9"',
    'transform="matrix(1e9 0 0 1e-9 0 0)"',
    '<image href="data:image/png;base64,AAAA"/>',
    "\u2028",
    "\x01",
)


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25, deadline=None
)
@given(data=st.data())
def test_damaged_drawings_are_refused_or_drawn_and_never_crash(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, data: st.DataObject
) -> None:
    monkeypatch.setattr(svg, "_PX_MM", 1.0)
    monkeypatch.setattr(svg, "_LEAST_WIDE_PX", 100)
    text = drawing(SHAPES)
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(0, len(text)))
        end = min(len(text), start + data.draw(st.integers(0, 20)))
        text = text[:start] + data.draw(st.sampled_from(PIECES) | st.text(max_size=3)) + text[end:]
    said = ""
    try:
        assert read(tmp_path, text.encode("utf-8", "replace")).srgb_8bit.shape[2] == 3
    except InputError as error:
        said = str(error)
    assert said == "" or said.isprintable()
