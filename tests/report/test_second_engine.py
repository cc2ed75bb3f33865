"""report.html in Firefox, whose engine shares nothing with Chromium's: layers, back view, copying, paper, a phone's width."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from marquee.outputs.header import header_text
from marquee.outputs.report.face import draw_face
from tests.report.browser import LAYERS
from tests.report.firefox import Firefox, firefox
from tests.report.made import demo_plan
from tests.report.printed import HEADINGS, last_lines, words_of

pytestmark = pytest.mark.native

_SHOWN = "return getComputedStyle(document.querySelector(arguments[0])).display !== 'none'"
_MIDDLES = (
    "return Object.fromEntries(['.led', '.wall-number:not(.tight)', '.chip.main text', '.led-number'].map(s => {"
    "const r = document.querySelector('#face ' + s).getBoundingClientRect();"
    "return [s, [r.x + r.width / 2, r.y + r.height / 2]]}))"
)


@pytest.fixture(scope="module", name="fox")
def _fox(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Firefox]:
    with firefox(tmp_path_factory.mktemp("firefox")) as fox:
        yield fox


@pytest.fixture(name="demo")
def _demo(fox: Firefox, files: dict[str, Path]) -> Iterator[Firefox]:
    fox.open(files["demo"])
    yield fox
    assert fox.complaints(files["demo"]) == []


def test_layers_come_and_go(demo: Firefox) -> None:
    for layer, at_first in LAYERS.items():
        assert demo.run(_SHOWN, f"#face .layer-{layer}") == at_first
        before = demo.pixels()
        demo.click(f"[data-layer={layer}]")
        assert demo.run(_SHOWN, f"#face .layer-{layer}") != at_first
        share = (np.abs(before - demo.pixels()).max(axis=-1) > 40).mean()
        assert share > 0.002
        demo.click(f"[data-layer={layer}]")


def test_light_maps_come_one_at_a_time(demo: Firefox) -> None:
    for light in ("luminance", "bleed"):
        demo.click(f"[name=light][value='{light}']")
        for layer in ("luminance", "bleed"):
            assert demo.run(_SHOWN, f"#face .layer-{layer}") == (layer == light)


def test_the_back_view_is_mirrored_and_its_text_is_not(demo: Firefox) -> None:
    for _ in range(4):  # until numbers of LEDs show
        demo.click("#closer")
    front = demo.run(_MIDDLES)
    left, right = demo.run(
        "const r = document.querySelector('.opaque').getBoundingClientRect(); return [r.left, r.right]"
    )
    demo.click("[name=side][value=back]")
    for name, (x, y) in demo.run(_MIDDLES).items():
        assert x == pytest.approx(left + right - front[name][0], abs=1.0), name
        assert y == pytest.approx(front[name][1], abs=1.0), name
    turned = demo.run(
        "return [...document.querySelectorAll('#face text')].filter(t => t.getClientRects().length)"
        ".filter(t => t.getScreenCTM().a <= 0).length"
    )
    assert turned == 0


def test_a_chosen_zone_is_told(demo: Firefox) -> None:
    demo.click("#choose option[value='2']")
    told = demo.run("return document.getElementById('panel').textContent")
    assert demo_plan().zone_map.zones[2].name in told


def test_the_constants_are_copied_whole(demo: Firefox) -> None:
    demo.click("#copy")
    demo.run(
        "return new Promise(done => { const look = () => document.getElementById('copied').textContent"
        " ? done() : setTimeout(look, 20); look(); })"
    )
    assert demo.clipboard() == header_text(demo_plan())


def test_the_page_follows_the_device_to_dark(demo: Firefox) -> None:
    colours = []
    for scheme in ("light", "dark"):
        demo.wish(scheme)
        demo.run(
            "return new Promise(done => { const wanted = matchMedia(`(prefers-color-scheme: ${arguments[0]})`);"
            " const look = () => wanted.matches ? done() : setTimeout(look, 20); look(); })",
            scheme,
        )
        colours.append(demo.run("return getComputedStyle(document.body).backgroundColor"))
    demo.wish("light")
    light, dark = (sum(int(v) for v in re.findall(r"\d+", text)[:3]) for text in colours)
    assert light > 600
    assert dark < 120


def off(one: NDArray[np.int16], other: NDArray[np.int16]) -> float:
    """Return how far two crops differ, at best within two pixels of each other."""
    core = other[2:-2, 2:-2]
    rows, columns = core.shape
    return min(
        float(np.abs(one[y : y + rows, x : x + columns] - core).mean())
        for y in range(5)
        for x in range(5)
    )


def face_on_page(pdf: Path, page: int, folder: Path) -> NDArray[np.int16]:
    """Return the part of a page, in greys, that the face's own colour spans."""
    name = folder / f"page{page}"
    # The face is in the upper half of the page.
    part = ["-x", "0", "-y", "0", "-W", "1654", "-H", "1100"]
    wanted = ["-r", "200", "-f", f"{page}", "-singlefile", "-png", *part]
    subprocess.run(["pdftoppm", *wanted, str(pdf), str(name)], check=True)
    with Image.open(name.with_suffix(".png")) as image:
        rgb = np.asarray(image.convert("RGB"), np.int16)
    opaque = (np.abs(rgb - (0x7A, 0x7E, 0x84)).max(axis=-1) <= 1).astype(np.uint8)
    rows, columns = (np.flatnonzero(opaque.sum(axis=axis) > 40) for axis in (1, 0))
    grey: NDArray[np.int16] = rgb[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1].min(
        axis=-1
    )
    return grey


@pytest.mark.parametrize("name", ["demo", "hostile", "crowd"])
def test_a_phone_scrolls_no_page_sideways(fox: Firefox, files: dict[str, Path], name: str) -> None:
    # A window without a screen is no narrower than 500 pixels: a frame is.
    frame = files[name].with_name(f"{name}-phone.html")
    frame.write_text(
        f'<!DOCTYPE html><title>x</title><iframe src="{files[name].name}" width="390" height="844"></iframe>',
        encoding="utf-8",
    )
    fox.open(frame)
    fox.frame("iframe")
    assert fox.run("return innerWidth") == 390
    assert fox.run("return document.documentElement.scrollWidth") <= 390
    lost = fox.run(
        "return [...document.querySelectorAll('body *')].filter(e => e.getClientRects().length"
        " && !e.closest('.wide, .stage, .listing') && e.getBoundingClientRect().right > innerWidth + 0.5"
        ").map(e => e.outerHTML.slice(0, 80))"
    )
    assert lost == []
    assert fox.complaints(files[name]) == []


def test_paper_shows_both_sides_and_leaves_no_heading_alone(demo: Firefox, tmp_path: Path) -> None:
    demo.click("[data-layer=wiring]")
    pdf = tmp_path / "report.pdf"
    pdf.write_bytes(demo.pdf(21.0, 29.7))
    words = words_of(pdf)
    views = [(page, word) for page, word, _ in words if word in {"FRONT", "BACK"}]
    assert views[:2] == [(1, "FRONT"), (2, "BACK")]
    # Zones' numbers stand on white discs, alone there: mirrored in place, as they were in looks.
    face = draw_face(demo_plan())
    pages = [face_on_page(pdf, page, tmp_path) for page in (1, 2)]
    assert pages[0].shape == pytest.approx(pages[1].shape, abs=2)
    px_per_mm = pages[0].shape[1] / face.width
    half = round(0.45 * face.text_mm * px_per_mm)
    for label in face.zone_labels:
        if label.kind != "main" or label.text not in "2345679":
            continue
        places = [(label.x, label.y), (face.width - label.x, label.y)]
        front, back = (
            page[round(y * px_per_mm) - half :, round(x * px_per_mm) - half :][
                : 2 * half, : 2 * half
            ]
            for page, (x, y) in zip(pages, places, strict=True)
        )
        assert (front < 90).mean() > 0.1
        assert off(front, back) < 0.5 * off(front[:, ::-1], back), label.text
    assert not HEADINGS & set(last_lines(words))
