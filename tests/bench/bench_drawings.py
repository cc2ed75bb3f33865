"""CPU time of the cut drawings by artwork size, and how near face edges come. Run: python -m tests.bench.bench_drawings."""

import resource
import time
from pathlib import Path

import numpy as np
import shapely
from PIL import Image
from shapely import affinity
from shapely.geometry.base import BaseGeometry

import marquee
from marquee.artwork.zones import find_zones
from marquee.box.barriers import build_box
from marquee.box.cut import plan_cut
from marquee.box.cut_face import find_openings
from marquee.box.leds import place_leds
from marquee.colour.parts import load_part
from marquee.outputs.drawings.files import cut_files, zone_names
from marquee.project import read_project
from marquee.values import Artwork
from tests.drawings.made import coverage, face

LIMIT_S, LIMIT_MM = 1.0, 0.1
DEMO = Path(marquee.__file__).parent / "demo"
WIDTHS_PX = {"1.4 Mpx": 2280, "24 Mpx": 9552}
PIXELS_MM = (0.1, 1 / 6, 0.25, 0.3)


def _times(name: str, width_px: int) -> float:
    """Return the seconds the demo's cut plan and drawings take with its artwork at a width."""
    project = read_project(DEMO / "project.toml")
    with Image.open(DEMO / "marquee.png") as picture:
        size = (width_px, round(picture.height * width_px / picture.width))
        pixels = np.asarray(picture.convert("RGB").resize(size, Image.Resampling.LANCZOS)).copy()
    artwork = Artwork(
        srgb_8bit=pixels,
        alpha_8bit=None,
        mm_per_px=380 / width_px,
        file="marquee.png",
        sha256="0" * 64,
    )
    zone_map = find_zones(artwork, project.zones, (), project.box.wall_thickness_mm)
    box = build_box(zone_map, project.box)
    chain = place_leds(zone_map, box, load_part("ws2812b"), project.leds)
    before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    start = time.process_time()
    cut = plan_cut(zone_map, box, chain, project.cut)
    planned = time.process_time()
    files = cut_files(cut, zone_names(box, zone_map), "marquee.png")
    drawn = time.process_time()
    grown_mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kb) / 1000
    print(
        f"{name}: plan {planned - start:.2f} s, files {drawn - planned:.2f} s CPU, "
        f"{sum(len(d) for d in files.values()) / 1000:.0f} kB, memory +{grown_mb:.0f} MB"
    )
    return drawn - start


def _shapes() -> dict[str, BaseGeometry]:
    turn = np.arange(10) * np.pi / 5 + 0.1
    reach = np.where(np.arange(10) % 2 == 0, 20, 9)
    star = np.stack([30 + reach * np.cos(turn), 25 + reach * np.sin(turn)], axis=1)
    return {
        "circle of 10 mm": shapely.Point(30.03, 25.07).buffer(10, quad_segs=200),
        "square at 22.5°": affinity.rotate(shapely.box(20.02, 15.05, 40.04, 35.01), 22.5),
        "star of five": shapely.Polygon(star),
    }


def _worst_mm(drawn: BaseGeometry, px: float) -> float:
    """Return the Hausdorff distance between a shape's edge and the cut lines of its picture."""
    shapely.prepare(drawn)
    lit = coverage(
        lambda x, y: shapely.contains_xy(drawn, *np.broadcast_arrays(x, y)), (60.0, 50.0), px
    )
    (opening,) = find_openings(face(lit, px))
    ring = shapely.LinearRing(opening.outline.flat_mm)
    return float(shapely.hausdorff_distance(ring, drawn.boundary, densify=0.01))


def main() -> int:
    """Print seconds and edges' misses; 1 if a limit is missed."""
    missed = False
    for name, width_px in WIDTHS_PX.items():
        missed |= _times(name, width_px) > LIMIT_S
    for name, shape in _shapes().items():
        for px in PIXELS_MM:
            worst = _worst_mm(shape, px)
            print(f"{name}, {px:.3g} mm a pixel: within {worst:.3f} mm (limit {LIMIT_MM} mm)")
            missed |= worst > LIMIT_MM
    return int(missed)


if __name__ == "__main__":
    raise SystemExit(main())
