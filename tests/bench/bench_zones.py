"""Time and memory of finding zones in 24-megapixel artwork, against the time Pillow takes to decode it.

Run it as a script; it prints one line a picture. Processor seconds, so that other work on the machine does not
count, each in a process of its own, as both are run. Aim: read and zones within three decodes, under 1 GB.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from PIL import Image

SIZE = (6000, 4000)
ROUNDS = 5


def draw(kind: str, path: Path) -> None:
    root = Path(__file__).parents[2]
    if kind != "noise":
        sys.path.insert(0, str(root))
        from tests.artwork.drawing import emblem

        art = emblem(15)
        small = Image.fromarray(art.paint())
        sheet = Image.new("RGBA" if kind == "clear" else "RGB", SIZE)
        if kind == "clear":
            small.putalpha(Image.fromarray(np.rint(255 * (1 - art.cover(0))).astype(np.uint8)))
        if kind == "gradient":
            ramp = Image.linear_gradient("L").rotate(90).resize(small.size)
            small = Image.composite(
                ramp.convert("RGB"), small, small.convert("L").point(lambda v: 255 * (v > 60))
            )
        for y in (0, 1900):
            sheet.paste(small, (0, y))
        sheet.save(path)
    else:
        noise = np.random.default_rng(1).integers(0, 256, (SIZE[1], SIZE[0], 3), np.uint8)
        Image.fromarray(noise).save(path, compress_level=1)


def decode(path: Path) -> None:
    start = time.process_time()
    with Image.open(path) as image:
        image.load()
    print(time.process_time() - start)


def find(path: Path) -> None:
    from marquee.artwork.read import read_artwork
    from marquee.artwork.zones import find_zones
    from marquee.project import ArtworkSettings, ZoneSettings

    settings = ArtworkSettings.model_validate({"file": str(path), "width": "600mm"})
    for again in (False, True):
        start = time.process_time()
        found = find_zones(read_artwork(path, settings), ZoneSettings(), (), 3.0)
        print(time.process_time() - start)
        if not again:
            print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000)
            print(len(found.apertures), len(found.zones))


def least(job: str, path: Path) -> list[float]:
    """Return the least of what several processes of their own print, number by number."""
    shown = []
    for _ in range(ROUNDS):
        result = subprocess.run(
            [sys.executable, __file__, job, str(path)], check=True, capture_output=True, text=True
        )
        shown.append([float(word) for word in result.stdout.split()])
    return [min(values) for values in zip(*shown, strict=True)]


def main() -> None:
    jobs = {"decode": decode, "find": find}
    if len(sys.argv) == 3:
        job, path = sys.argv[1], Path(sys.argv[2])
        if job in jobs:
            jobs[job](path)
        else:
            draw(job, path)
        return
    with tempfile.TemporaryDirectory() as folder:
        for kind, form in (
            ("flat", "png"),
            ("gradient", "png"),
            ("clear", "png"),
            ("flat", "jpg"),
            ("noise", "png"),
        ):
            path = Path(folder) / f"{kind}.{form}"
            subprocess.run([sys.executable, __file__, kind, str(path)], check=True)
            (decode_s,) = least("decode", path)
            first_s, peak_mb, apertures, zones, second_s = least("find", path)
            print(
                f"{kind} {form}: decode {decode_s:.2f} s, read and zones {first_s:.2f} s, {first_s / decode_s:.1f} × "
                f"(a second time in the same process {second_s:.2f} s), peak {peak_mb:.0f} MB, "
                f"{apertures:.0f} apertures, {zones:.0f} zones"
            )


if __name__ == "__main__":
    main()
