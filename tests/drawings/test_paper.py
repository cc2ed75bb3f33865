from __future__ import annotations

import io
import os
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from marquee.outputs.drawings.files import cut_files
from marquee.outputs.drawings.tiles import EDGE_MM, HEAD_MM, PAPERS_MM, tile_drawing
from tests.drawings.made import blank, box, planned, rows

DPI = 254  # ten pixels a millimetre
PER_MM = DPI / 25.4


def _poppler(tool: str) -> str:
    found = shutil.which(tool)
    if found is None:
        if os.environ.get("CI"):
            pytest.fail(f"{tool} (Debian package poppler-utils) is missing")
        pytest.skip(f"{tool} (Debian package poppler-utils) is missing")
    return found


def _template(size: tuple[float, float], page: str) -> bytes:
    made = box(((0, 0.5 * size[1]), (0.3 * size[0], 0)), size=size)
    cut = planned(made, rows(width=size[0]), blank(size), page=page)
    return cut_files(cut, (("0 lamp", (0.6 * size[0], 0.6 * size[1]), 20.0),), "sign.png")[
        "barriers.pdf"
    ]


def _pages(data: bytes, folder: Path) -> list[NDArray[np.uint8]]:
    (folder / "t.pdf").write_bytes(data)
    subprocess.run(
        [_poppler("pdftoppm"), "-r", f"{DPI}", "-gray", "t.pdf", "p"], cwd=folder, check=True
    )
    drawn = sorted(folder.glob("p-*.pgm"))
    assert len(drawn) > 1
    return [np.asarray(Image.open(f)) for f in drawn]


def _text(data: bytes, folder: Path) -> list[str]:
    (folder / "t.pdf").write_bytes(data)
    done = subprocess.run(
        [_poppler("pdftotext"), "-layout", "t.pdf", "-"],
        cwd=folder,
        check=True,
        capture_output=True,
    )
    return done.stdout.decode("utf-8").split("\f")[:-1]


def _longest_dark(row: NDArray[np.uint8]) -> int:
    runs = re.findall(r"1+", "".join("1" if v < 128 else "0" for v in row.tolist()))
    return max((len(r) for r in runs), default=0)


@pytest.mark.native
@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_the_check_bar_of_every_page_is_a_hundred_millimetres(page: str, tmp_path: Path) -> None:
    for picture in _pages(_template((200.0, 90.0), page), tmp_path):
        foot = picture[-round(20 * PER_MM) :]
        longest = max(_longest_dark(row) for row in foot)
        # One pixel at each end for its shading.
        assert longest == pytest.approx(100 * PER_MM, abs=2)


@pytest.mark.native
@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_pages_have_the_papers_size(page: str, tmp_path: Path) -> None:
    for picture in _pages(_template((200.0, 90.0), page), tmp_path):
        sides = sorted(n / PER_MM for n in picture.shape)
        assert sides == pytest.approx(PAPERS_MM[page], abs=0.2)


@pytest.mark.native
def test_the_back_view_is_printed_mirrored_and_at_scale(tmp_path: Path) -> None:
    _, front, back = _pages(_template((200.0, 90.0), "A4"), tmp_path)
    x0, y0 = round(EDGE_MM * PER_MM), round((EDGE_MM + HEAD_MM) * PER_MM)
    work = [p[y0 : y0 + 900, x0 : x0 + 2000] for p in (front, back)]
    # The slanting wall runs from (0, 45) to (60, 0) mm: its outline crosses the line y = 20 mm at about 33 mm,
    # 1.5 mm to either side square to it; mirrored, it does so from the other end.
    places = []
    for picture, flipped in zip(work, (False, True), strict=True):
        line = picture[200][::-1] if flipped else picture[200]
        places.append(np.flatnonzero(line[50:900] < 128) + 50)
    wall = shapely.LineString([(0, 45), (60, 0)]).buffer(1.5)
    cut = wall.intersection(shapely.LineString([(0, 20), (200, 20)])).bounds
    for found in places:
        # Half the line's 0.15 mm seen at the wall's slant, and a pixel either way.
        assert found.min() / PER_MM == pytest.approx(cut[0], abs=0.3)
        assert found.max() / PER_MM == pytest.approx(cut[2], abs=0.3)


@pytest.mark.native
def test_each_page_says_its_view_and_its_place(tmp_path: Path) -> None:
    texts = _text(_template((380.0, 320.0), "A4"), tmp_path)
    tiling = tile_drawing(380, 320, "A4", 10)
    names = [t.name for t in tiling.tiles]
    assert len(names) > 2
    pages = texts[1:]
    assert len(pages) == 2 * len(names)
    for k, text in enumerate(pages):
        view = "FRONT VIEW" if k < len(names) else "BACK VIEW"
        assert view in text
        assert f"page {names[k % len(names)]}" in text
        assert "100 mm" in text
    assert "PVC" in texts[0]
    assert "unattended" in texts[0]


@pytest.mark.native
@pytest.mark.parametrize("name", ["(a) \\) Tj ET", "</svg>&", "a\nb\x00\u202e", "火花 🎆"])
def test_hostile_names_stay_text_in_the_pdf(name: str, tmp_path: Path) -> None:
    made = box(((0, 45), (60, 0)), size=(200.0, 90.0))
    cut = planned(made, rows(width=200.0), blank((200.0, 90.0)))
    data = cut_files(cut, ((name, (120.0, 60.0), 20.0),), name)["barriers.pdf"]
    assert len(_text(data, tmp_path)) == 3


@given(
    width=st.floats(20, 1500),
    height=st.floats(20, 900),
    page=st.sampled_from(["A4", "Letter"]),
    overlap=st.floats(0.5, 50),
)
def test_pages_cover_the_drawing_and_neighbours_share_the_overlap(
    width: float, height: float, page: str, overlap: float
) -> None:
    tiling = tile_drawing(width, height, page, overlap)  # type: ignore[arg-type]
    boxes = [
        shapely.box(t.x_mm, t.y_mm, t.x_mm + t.width_mm, t.y_mm + t.height_mm)
        for t in tiling.tiles
    ]
    whole = shapely.box(0, 0, width, height)
    assert shapely.union_all(boxes).symmetric_difference(whole).area < 1e-3
    for tile in tiling.tiles:
        assert tile.width_mm <= tiling.page_mm[0] - 2 * EDGE_MM + 1e-9
    for k in range(len(boxes) - 1):
        if (k + 1) % tiling.columns:
            shared = boxes[k].intersection(boxes[k + 1]).bounds
            assert shared[2] - shared[0] == pytest.approx(overlap, abs=1e-6)


def test_a_whole_page_of_picture_is_made_without_dates() -> None:
    data = _template((200.0, 90.0), "A4")
    dates = set(re.findall(rb"D:(\d{14})", data))
    assert dates <= {b"20000101000000"}
    assert io.BytesIO(data).read(5) == b"%PDF-"


def test_a_sign_too_large_for_its_pages_says_so_on_the_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("marquee.outputs.drawings.pdf._MOST_PAGES", 3)
    assert len(tile_drawing(900.0, 500.0, "A4", 10.0).tiles) > 3
    pages = _text(_template((900.0, 500.0), "A4"), tmp_path)
    assert len(pages) == 1 + 2 * 3
    assert "Only the first 3 pages of each view are here" in pages[0]
