"""report.html as text: valid, inert, complete, and the same every time."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import os
import re
import subprocess
import sys
from collections import Counter
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element

import html5lib
import numpy as np
import pytest
import shapely
import svgelements
from coloraide.everything import ColorAll as Color
from hypothesis import example, given
from hypothesis import strategies as st
from numpy.typing import NDArray

from marquee.box.cut_face import find_openings
from marquee.errors import printable
from marquee.outputs.header import header_text
from marquee.outputs.parts_list import parts_csv
from marquee.outputs.plan_files import plan_files
from marquee.outputs.report import report_html
from marquee.outputs.report.page import _environment
from marquee.outputs.report.shapes import zone_paths
from marquee.outputs.report.tables import Column, Row, Table
from marquee.plan import Plan
from tests.report.made import HOSTILE, crowd, demo_plan, hostile_plan, touching_map

ROOT = Path(__file__).parents[2]
TEMPLATES = ROOT / "marquee" / "outputs" / "report" / "templates"
PLANS = {"demo": demo_plan, "hostile": hostile_plan, "crowd": crowd}
H = "{http://www.w3.org/1999/xhtml}"
SVG = "{http://www.w3.org/2000/svg}"


@lru_cache(maxsize=4)
def page(name: str) -> str:
    return report_html(PLANS[name]())


@lru_cache(maxsize=4)
def tree(name: str) -> Element:
    """Parse by html5lib, which follows the WHATWG standard; strict: its first parse error is raised."""
    root: Element = html5lib.HTMLParser(strict=True).parse(page(name))
    return root


def text_of(node: Element) -> str:
    return " ".join("".join(node.itertext()).split())


def by_id(name: str, wanted: str) -> Element:
    (found,) = (node for node in tree(name).iter() if node.get("id") == wanted)
    return found


def rows(name: str, table: str) -> list[list[str]]:
    return [
        [text_of(cell) for cell in row] for row in by_id(name, f"{table}-table").iter(f"{H}tr")
    ]


@pytest.mark.parametrize("name", PLANS)
def test_the_page_parses_by_the_html_standard_without_an_error(name: str) -> None:
    body = tree(name).find(f"{H}body")
    assert body is not None
    assert tree(name).get("lang") == "en-GB"


@pytest.mark.parametrize("name", PLANS)
def test_every_id_is_there_once_and_every_reference_has_its_target(name: str) -> None:
    ids = Counter(node.get("id") for node in tree(name).iter() if node.get("id"))
    assert {k: n for k, n in ids.items() if n > 1} == {}
    for node in tree(name).iter():
        for key in ("href", "for", "aria-labelledby"):
            for target in (node.get(key) or "").split():
                if key != "href" or target.startswith("#"):
                    assert target.lstrip("#") in ids, (node.tag, key, target)
    for target in re.findall(r"url\(#([^)]+)\)", page(name)):
        assert target in ids


@pytest.mark.parametrize("name", PLANS)
def test_headings_descend_one_level_at_a_time(name: str) -> None:
    levels = [
        int(node.tag[-1])
        for node in tree(name).iter()
        if re.fullmatch(rf"{re.escape(H)}h[1-6]", node.tag)
    ]
    assert levels[0] == 1
    assert levels.count(1) == 1
    for before, after in pairwise(levels):
        assert after <= before + 1


@pytest.mark.parametrize("name", PLANS)
def test_every_table_has_a_caption_and_every_header_a_scope(name: str) -> None:
    tables = list(tree(name).iter(f"{H}table"))
    assert len(tables) >= 7
    for table in tables:
        caption = table.find(f"{H}caption")
        assert caption is not None
        assert text_of(caption)
        heads = list(table.iter(f"{H}th"))
        assert heads
        assert all(head.get("scope") in {"col", "row"} for head in heads)


@pytest.mark.parametrize("name", PLANS)
def test_nothing_in_the_page_points_outside_it(name: str) -> None:
    for node in tree(name).iter():
        for key, value in node.attrib.items():
            local = str(key).rsplit("}", 1)[-1]
            if local in {"src", "href"}:
                assert value.startswith(("#", "data:")), (node.tag, value[:80])
            assert not local.startswith("on")
            assert local != "style"
    style = "".join(text_of(node) for node in tree(name).iter(f"{H}style"))
    assert "@import" not in style
    assert "url(" not in style


@pytest.mark.parametrize("name", PLANS)
def test_the_policy_names_the_digests_of_what_the_page_carries(name: str) -> None:
    """Content Security Policy Level 3, section 2.3.1: hash-source is the base64 of the text's digest."""
    (policy,) = (
        str(node.get("content"))
        for node in tree(name).iter(f"{H}meta")
        if node.get("http-equiv") == "Content-Security-Policy"
    )
    rules = {rule.split()[0]: rule.split()[1:] for rule in policy.split("; ")}
    assert rules["default-src"] == ["'none'"]
    assert rules["img-src"] == ["data:"]
    for tag, rule in (("style", "style-src"), ("script", "script-src")):
        texts = ["".join(node.itertext()) for node in tree(name).iter(f"{H}{tag}")]
        digests = [
            f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
            for text in texts
        ]
        assert sorted(rules[rule]) == sorted(digests)


def test_hostile_names_are_text_and_nothing_else() -> None:
    expected = {tag: len(list(tree("demo").iter(f"{H}{tag}"))) for tag in ("script", "img", "b")}
    found = {tag: len(list(tree("hostile").iter(f"{H}{tag}"))) for tag in ("script", "img", "b")}
    assert found == expected
    names = [row[1] for row in rows("hostile", "zones")[1:]]
    assert sorted(names) == sorted(" ".join(printable(name).split()) for name in HOSTILE)
    assert not re.search("[\u202a-\u202e\u2066\u2067\u0007]", page("hostile"))


@given(name=st.text(st.characters(codec="utf-8"), min_size=1, max_size=40))
@example(name="</bdi></td><script>alert(1)</script>")
@example(name="a\r\nb\x00\u2028c")
def test_any_name_comes_out_of_a_table_as_it_went_in(name: str) -> None:
    table = Table(
        id="x",
        caption=printable(name),
        columns=(Column(head="zone"), Column(head="name", kind="name", unit=printable(name))),
        rows=(Row(cells=("0", printable(name)), colours=("#ffffff",), zone=0),),
        notes=(printable(name),),
    )
    source = '{% import "table.html.j2" as t %}{{ t.show(table) }}'
    text = _environment().from_string(source).render(table=table)
    parsed = html5lib.HTMLParser(strict=True).parseFragment(text)
    (cell,) = parsed.iter(f"{H}td")
    (caption,) = parsed.iter(f"{H}caption")
    assert "".join(cell.itertext()) == printable(name)
    assert "".join(caption.itertext()) == printable(name)
    assert {node.tag.rsplit("}", 1)[-1] for node in parsed.iter() if "}" in node.tag} == {
        *("section", "table", "caption", "thead", "tbody", "tr", "th", "td", "bdi", "span", "p"),
        *("svg", "rect"),
    }


def test_the_same_plan_gives_the_same_bytes_in_another_process() -> None:
    code = (
        "import hashlib\n"
        "from marquee.outputs.report import report_html\n"
        "from tests.report.made import crowd\n"
        "print(hashlib.sha256(report_html(crowd()).encode()).hexdigest())"
    )
    seen = {hashlib.sha256(page("crowd").encode()).hexdigest()}
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONHASHSEED": "4242"},
    )
    seen.add(done.stdout.strip())
    assert len(seen) == 1


@pytest.mark.parametrize(("name", "most"), [("demo", 1_000_000), ("crowd", 3_000_000)])
def test_the_page_is_small_enough_to_send_to_a_phone(name: str, most: int) -> None:
    assert len(page(name).encode()) <= most


def test_the_plan_writes_the_report() -> None:
    assert plan_files(demo_plan())["report.html"].decode("utf-8") == page("demo")


def test_the_constants_on_the_page_are_the_header() -> None:
    shown = "".join(by_id("demo", "constants").itertext())
    assert shown == header_text(demo_plan())


@pytest.mark.parametrize("name", ["demo", "hostile"])
def test_the_parts_are_those_of_the_parts_list(name: str) -> None:
    listed = list(csv.reader(io.StringIO(parts_csv(PLANS[name]()))))
    shown = rows(name, "parts")
    assert len(shown) == len(listed)
    for row, wanted in zip(shown[1:], listed[1:], strict=True):
        cells = [" ".join(printable(text).split()) for text in wanted]
        last = wanted[0] == "sum"
        assert row == (
            cells
            if last
            else [text or "–" if 3 <= i <= 4 else text for i, text in enumerate(cells)]
        )


@pytest.mark.parametrize("name", ["demo", "hostile"])
def test_every_warning_and_caution_is_there_with_its_code(name: str) -> None:
    plan = PLANS[name]()
    warnings, cautions = text_of(by_id(name, "warnings")), text_of(by_id(name, "cautions"))
    for finding in plan.findings:
        for text in (finding.code, finding.message):
            assert " ".join(printable(text).split()) in warnings
    assert len(plan.power.cautions) >= 5
    for caution in plan.power.cautions:
        assert " ".join(caution.split()) in cautions


def test_the_inputs_are_told_by_their_digest_and_no_date_is_told() -> None:
    about = text_of(by_id("demo", "about"))
    assert demo_plan().artwork.sha256 in about
    assert not re.search(r"\b20\d\d-\d\d-\d\d\b", about)


def _rings_mm(path: str) -> list[NDArray[np.float64]]:
    """Return the closed lines of path data, curves at 16 places each, read by svgelements."""
    steps = np.linspace(0, 1, 17)[1:]
    rings = []
    for ring in svgelements.Path(path).as_subpaths():
        points = [
            part.point(step)
            for part in ring
            if not isinstance(part, svgelements.Move)
            for step in (steps if isinstance(part, svgelements.CubicBezier) else [1.0])
        ]
        rings.append(np.array([(point.x, point.y) for point in points]))
    return rings


def _area_mm2(path: str) -> float:
    """Return the area a path encloses: rings turn one way, holes the other (shoelace formula)."""
    total = 0.0
    for ring in _rings_mm(path):
        x, y = ring.T
        total += float(x @ np.roll(y, -1) - y @ np.roll(x, -1))
    return abs(total) / 2


@pytest.mark.parametrize("name", PLANS)
def test_each_zones_outline_encloses_the_zones_area(name: str) -> None:
    """Within 0.6 pixels of the drawing's outline, which is as far as the outline may lie beside the pixels."""
    plan: Plan = PLANS[name]()
    shapes: dict[str, Any] = {node.get("id", ""): node for node in tree(name).iter(f"{SVG}path")}
    px_mm = max(
        plan.zone_map.mm_per_px, plan.zone_map.width_mm / 1600, plan.zone_map.height_mm / 1600
    )
    for zone in plan.zone_map.zones:
        path = shapes[f"z{zone.id}"].get("d")
        length_mm = svgelements.Path(path).length(error=1e-3)
        assert _area_mm2(path) == pytest.approx(zone.area_mm2, abs=0.6 * px_mm * length_mm)


def test_a_zones_outline_is_that_of_the_face_as_it_is_cut() -> None:
    """The page's hundredths of a millimetre, and lines instead of curves flatter than half of one."""
    plan = demo_plan()
    zone_of = {aperture.id: aperture.zone for aperture in plan.zone_map.apertures}
    shapes: dict[str, Any] = {node.get("id", ""): node for node in tree("demo").iter(f"{SVG}path")}
    drawn = {zone.id: _rings_mm(shapes[f"z{zone.id}"].get("d")) for zone in plan.zone_map.zones}
    cut: dict[int, list[NDArray[np.float64]]] = {zone: [] for zone in drawn}
    for opening in plan.cut.openings:
        rings = [np.array(ring.flat_mm) for ring in (opening.outline, *opening.holes)]
        cut[zone_of[opening.apertures[0]]] += rings
    for zone, rings in drawn.items():
        assert len(rings) == len(cut[zone])
        for mine, theirs in zip(rings, cut[zone], strict=True):
            lines = [shapely.LinearRing(ring) for ring in (mine, theirs)]
            # Rounding to 0.01 mm moves a point by at most 7 µm; both are flattened, each by a few µm more.
            assert shapely.hausdorff_distance(lines[0], lines[1], densify=0.05) < 0.025


def test_zones_that_touch_have_outlines_without_the_pixels_steps() -> None:
    """Two half discs side by side are cut as one opening: along the round edge no corner turns by 45 degrees."""
    y, x = np.mgrid[:240, :400]
    disc = np.hypot(x - 199.5, y - 119.5) < 100
    zone_of_px = np.where(disc, np.where(x < 200, 0, 1), -1).astype(np.int16)
    zone_map = touching_map(zone_of_px)
    paths = zone_paths(zone_map, find_openings(zone_map))
    for zone, path in paths.items():
        (ring,) = _rings_mm(path)
        assert _area_mm2(path) == pytest.approx(float((zone_of_px == zone).sum()), rel=0.01)
        # A point's distance from the disc's middle, but for the straight side and a pixel's blur at its ends.
        ring = ring[np.abs(ring[:, 0] - 200) > 6]
        assert np.hypot(*(ring - (200, 120)).T) == pytest.approx(100, abs=0.6)
        turns = np.diff(np.unwrap(np.arctan2(*np.diff(ring, axis=0).T)))
        assert np.abs(turns).max() < np.pi / 4


def _tokens(style: str) -> dict[str, str]:
    return dict(
        re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6})", (TEMPLATES / style).read_text("utf-8"))
    )


@pytest.mark.parametrize("style", ["page.css", "dark.css"])
def test_contrast_of_text_is_4_5_and_of_controls_3(style: str) -> None:
    """WCAG 2.2, success criteria 1.4.3 and 1.4.11; contrast by coloraide."""
    colours = {key: Color(value) for key, value in _tokens(style).items()}
    grounds = ("ground", "card", "stripe")
    pairs = [(ink, ground, 4.5) for ink in ("ink", "quiet", "accent") for ground in grounds]
    pairs += [("edge", ground, 3.0) for ground in grounds]
    pairs += [("ink", "alert-ground", 4.5), ("alert", "alert-ground", 4.5)]
    pairs += [("on-accent", "accent", 4.5)]
    for first, second, least in pairs:
        contrast = colours[first].contrast(colours[second], method="wcag21")
        assert contrast >= least, (first, second, contrast)


def test_neighbouring_bands_of_a_legend_differ_in_lightness() -> None:
    """So that they are told apart without hue; 5 of CIE L* is plain beside each other."""
    lists = [
        [str(rect.get("fill")) for rect in legend.iter(f"{SVG}rect")]
        for legend in tree("demo").iter(f"{H}div")
        if str(legend.get("class")).startswith("legend")
    ]
    assert len(lists) == 2
    for colours in lists:
        lightness = [Color(c).convert("lab-d65")["lightness"] for c in colours]
        assert len(colours) >= 4
        for low, high in pairwise(lightness):
            assert high >= low + 5


@pytest.mark.parametrize("file", sorted(TEMPLATES.iterdir()), ids=lambda p: str(p.name))
def test_a_template_stays_below_400_lines(file: Path) -> None:
    assert len(file.read_text(encoding="utf-8").splitlines()) <= 400
