"""Time and memory of finding zones in 24-megapixel artwork, against the time Pillow takes to decode it.

Run it as a script; it prints one line a picture. Processor seconds, so that other work on the machine does not
count. Aim: read and zones within three decodes, under 1 GB.
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


def measure(path: Path) -> None:
    from marquee.artwork.read import read_artwork
    from marquee.artwork.zones import find_zones
    from marquee.project import ArtworkSettings, ZoneSettings

    settings = ArtworkSettings.model_validate({"file": str(path), "width": "600mm"})
    decode, whole, wall = [], [], []
    found = None
    for _ in range(5):
        start = time.process_time()
        with Image.open(path) as image:
            image.load()
        decode.append(time.process_time() - start)
        start, clock = time.process_time(), time.perf_counter()
        found = find_zones(read_artwork(path, settings), ZoneSettings(), (), 3.0)
        whole.append(time.process_time() - start)
        wall.append(time.perf_counter() - clock)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    assert found is not None
    print(
        f"decode {min(decode):.2f} s, read and zones {min(whole):.2f} s, ratio {min(whole) / min(decode):.1f}, "
        f"{min(wall):.2f} s by the clock, "
        f"peak {peak_mb:.0f} MB, {len(found.apertures)} apertures, {len(found.zones)} zones"
    )


def main() -> None:
    if len(sys.argv) == 3:
        draw(sys.argv[1], Path(sys.argv[2]))
        return
    if len(sys.argv) == 2:
        measure(Path(sys.argv[1]))
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
            # Processes of their own, so that the peak is that of finding zones alone.
            subprocess.run([sys.executable, __file__, kind, str(path)], check=True)
            result = subprocess.run(
                [sys.executable, __file__, str(path)], check=True, capture_output=True, text=True
            )
            print(f"{kind} {form}: {result.stdout.strip()}")


if __name__ == "__main__":
    main()
