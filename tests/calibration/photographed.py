"""Photographs of a sign made up from the light model: every LED's field, a camera, and what may be wrong with a build.

The face's light is laid on a fine raster, seen through cv2.warpPerspective with a homography of our choosing,
darkened towards the corners, given flare, photon and read noise, coded with the sRGB curve (IEC 61966-2-1) in 8 bits
and written as JPEG. Camera colours are XYZ through a matrix, with what falls below nothing cut off.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field, replace
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from marquee.box.light import transfer_light
from marquee.colour.calibrated import response_tables
from marquee.colour.emission import emission
from marquee.colour.parts import load_part
from marquee.photo.check import Pending
from marquee.photo.predict import LedLight, led_light
from marquee.photo.read import state_named
from marquee.photo.values import Shot, State
from marquee.plan import Plan

Array = NDArray[np.float64]
Singles = NDArray[np.float32]
# IEC 61966-2-1:1999, XYZ (D65) to linear sRGB.
XYZ_TO_SRGB = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
)
FINE_MM = 0.35


@dataclass(frozen=True, kw_only=True, eq=False)
class Built:
    """A sign as it was really built: light of each LED (leds, ny, nx) in lux per cd, strengths (leds, channels)."""

    plan: Plan
    lux: Array
    lit: NDArray[np.intp]
    strength: Array
    channel_order: tuple[int, ...] = (0, 1, 2)

    def but(self, led: int, channels: tuple[int, ...] = (0, 1, 2), light: float = 0.0) -> Built:
        """Return the sign with an LED (numbered along the chain) dark or dim, in some channels."""
        strength = self.strength.copy()
        strength[self.lit == led, list(channels)] = light
        return replace(self, strength=strength)

    def emitted(self, codes: dict[int, tuple[int, ...]]) -> Array:
        """Return XYZ (ny, nx, 3) of the diffuser [cd/m²] for the bytes of each zone; zones left out are dark."""
        plan = self.plan
        response = response_tables(plan.part)
        xyz = np.array(emission(plan.part).xyz_cd)
        zone = plan.chain.zone[self.lit]
        cd = np.zeros((len(self.lit), 3))
        for number, sent in codes.items():
            # A byte meant for channel c lights the die that is soldered there.
            shown = [sent[self.channel_order[c]] for c in range(len(sent))]
            light = np.array([response[c][code] for c, code in enumerate(shown)])
            cd[zone == number] = (self.strength[zone == number] * light) @ xyz
        per_lux = plan.transfer.diffuser_transmittance / np.pi
        return np.asarray(np.tensordot(self.lux, cd, axes=(0, 0)) * per_lux, float)


@dataclass(frozen=True, kw_only=True, eq=False)
class Camera:
    """A phone on a stand. `corners` are the face's corners on the photograph [px], from top left clockwise."""

    size_px: tuple[int, int] = (2000, 1300)
    corners: tuple[tuple[float, float], ...] = ((240, 410), (1790, 330), (1740, 800), (290, 870))
    vignette: float = 0.35
    flare: float = 0.002
    noise: float = 0.004
    seed: int = 0
    matrix: Array = field(default_factory=lambda: XYZ_TO_SRGB)
    curve: float = 1.0  # an exponent on the sRGB curve's output: how this phone departs from it
    quality: int = 93

    def homography(self, plan: Plan) -> Array:
        """Return face mm → photograph px (pixel centres on whole numbers), by OpenCV."""
        width, height = plan.zone_map.width_mm, plan.zone_map.height_mm
        face = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
        found = cv2.getPerspectiveTransform(face, np.array(self.corners, np.float32))
        return np.asarray(found, float)

    def exposed(self, built: Built, xyz: Array) -> Singles:
        """Return linear camera RGB (h, w, 3) of a face's light before exposure: what the lens lays on the sensor."""
        plan = built.plan
        width, height = plan.zone_map.width_mm, plan.zone_map.height_mm
        nx, ny = round(width / FINE_MM), round(height / FINE_MM)
        colour = np.maximum(xyz @ self.matrix.T, 0.0).astype(np.float32)
        dx, dy = plan.transfer.x_mm[0] * 2, plan.transfer.y_mm[0] * 2
        x = ((np.arange(nx) + 0.5) * width / nx / dx - 0.5).astype(np.float32)
        y = ((np.arange(ny) + 0.5) * height / ny / dy - 0.5).astype(np.float32)
        across, down = np.meshgrid(x, y)
        edge = cv2.BORDER_REPLICATE
        fine = cv2.remap(colour, across, down, cv2.INTER_LINEAR, borderMode=edge)
        mask = (plan.zone_map.zone_of_px >= 0).astype(np.float32)
        fine = fine * cv2.resize(mask, (nx, ny), interpolation=cv2.INTER_AREA)[..., None]
        # Raster px → mm → photograph px.
        to_mm = np.array(
            [[width / nx, 0, width / nx / 2], [0, height / ny, height / ny / 2], [0, 0, 1.0]]
        )
        seen = cv2.warpPerspective(
            fine, self.homography(plan) @ to_mm, self.size_px, flags=cv2.INTER_LINEAR
        )
        seen = cv2.GaussianBlur(seen, (0, 0), 0.8)
        w, h = self.size_px
        xx, yy = np.meshgrid(np.arange(w) - (w - 1) / 2, np.arange(h) - (h - 1) / 2)
        rho2 = (xx**2 + yy**2) / ((w / 2) ** 2 + (h / 2) ** 2)
        seen = seen * (1 - self.vignette * rho2).astype(np.float32)[..., None]
        # Glare: some over all of the picture, some about the bright parts; it needs no fine pixels.
        small = cv2.GaussianBlur(
            cv2.resize(seen, (w // 10, h // 10), interpolation=cv2.INTER_AREA), (0, 0), w / 120
        )
        spread = cv2.resize(small, (w, h)) + seen.mean(axis=(0, 1))
        return np.asarray(seen + self.flare * 3 * spread, np.float32)

    def shot(self, linear: Singles, exposure: float, ambient: float = 0.001) -> bytes:
        """Return the JPEG of a face's light."""
        rng = np.random.default_rng(self.seed)
        value = np.clip(linear * exposure, 0, None) + ambient
        noise = rng.standard_normal(value.shape, np.float32)
        value += noise * self.noise * np.sqrt(value + 0.01)
        coded = srgb_coded(np.clip(value, 0, 1)) ** self.curve
        pixels = np.rint(coded * 255).astype(np.uint8)
        stream = io.BytesIO()
        Image.fromarray(pixels).save(stream, "JPEG", quality=self.quality, subsampling=0)
        return stream.getvalue()


def srgb_coded(linear: Singles) -> Singles:
    """IEC 61966-2-1: linear to coded."""
    return np.where(
        linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055
    )


def built(plan: Plan, missing_wall: int | None = None, sd: float = 0.03, seed: int = 1) -> Built:
    """Return a sign built as planned, its LEDs differing by `sd`, perhaps with a wall left out."""
    light = _fields(plan, missing_wall)
    rng = np.random.default_rng(seed)
    strength = 1 + rng.normal(0, sd, (len(light.leds), len(plan.part.channels)))
    return Built(plan=plan, lux=light.lux.astype(float), lit=light.leds, strength=strength)


def _fields(plan: Plan, missing_wall: int | None) -> LedLight:
    key = (id(plan), missing_wall)
    if key not in _CACHE:
        box = plan.box
        if missing_wall is not None:
            box = replace(box, walls=tuple(w for w in box.walls if w.id != missing_wall))
        transfer = transfer_light(plan.zone_map, box, plan.chain, plan.project.box)
        _CACHE[key] = led_light(plan, box, transfer)
    return _CACHE[key]


_CACHE: dict[tuple[int, int | None], LedLight] = {}


@cache
def demo_plan() -> Plan:
    """Return the packaged demo's plan."""
    from marquee.demo import demo_folder
    from marquee.plan import make_plan
    from marquee.project import read_project

    with demo_folder() as folder:
        return make_plan(read_project(folder / "project.toml"))


@cache
def other_plan() -> Plan:
    """Return a sign of another shape: three blocks and a ring on 240 mm × 160 mm, 30 mm deep."""
    from marquee.plan import plan_stages
    from marquee.project import make_project
    from marquee.values import Artwork

    pixels = np.zeros((480, 720, 3), np.uint8)
    cv2.rectangle(pixels, (40, 60), (300, 200), (240, 150, 30), -1)
    cv2.rectangle(pixels, (60, 280), (340, 420), (30, 170, 160), -1)
    cv2.circle(pixels, (530, 230), 130, (230, 230, 220), -1)
    cv2.circle(pixels, (530, 230), 60, (0, 0, 0), -1)
    tables = {"artwork": {"file": "made-up.png", "width": "240mm"}, "box": {"depth": "30mm"}}
    project = make_project(tables, "test")
    artwork = Artwork(
        srgb_8bit=pixels, alpha_8bit=None, mm_per_px=240 / 720, file="made-up.png", sha256="0" * 64
    )
    return plan_stages(project, artwork, (), load_part(project.leds.part))


def planned_codes(plan: Plan) -> dict[int, tuple[int, ...]]:
    """Return what each zone shows as planned, a hue cycle at one of its steps."""
    codes = {driven.zone: driven.codes for driven in plan.drive.zones}
    if plan.drive.hue_cycle is not None:
        for zone in plan.zone_map.zones:
            codes.setdefault(zone.id, plan.drive.hue_cycle.codes[5])
    return codes


def alike(plan: Plan, *codes: int) -> dict[int, tuple[int, ...]]:
    """Return the same bytes for every zone."""
    return {zone.id: codes for zone in plan.zone_map.zones}


@dataclass(frozen=True, kw_only=True, eq=False)
class Sitting:
    """Photographs of one sign from one place; each set of states has one exposure."""

    made: Built
    camera: Camera

    def photos(self, *states: str) -> tuple[Pending, ...]:
        """Return photographs of these states, as names name them."""
        plan, camera = self.made.plan, self.camera
        exposure = self._exposure(alike(plan, 255, 255, 255))
        shown: dict[str, dict[int, tuple[int, ...]]] = {
            "black": {},
            "white": alike(plan, 255, 255, 255),
            "red": alike(plan, 255, 0, 0),
            "green": alike(plan, 0, 255, 0),
            "blue": alike(plan, 0, 0, 255),
        }
        found = []
        for word in states:
            state = state_named(word, "test")
            at = exposure
            if state.kind == "ramp":
                codes = alike(plan, *(state.number,) * 3)
            elif state.kind == "zone":
                codes = {state.number: planned_codes(plan)[state.number]}
                at = self._exposure(codes)
            elif state.kind == "planned":
                codes = planned_codes(plan)
                at = self._exposure(codes)
            else:
                codes = shown[word]
            found.append(pending(state, camera.shot(self._seen(codes), at)))
        return tuple(found)

    def _seen(self, codes: dict[int, tuple[int, ...]]) -> Singles:
        return self.camera.exposed(self.made, self.made.emitted(codes))

    def _exposure(self, codes: dict[int, tuple[int, ...]]) -> float:
        return 0.75 / float(np.quantile(self._seen(codes).max(axis=-1), 0.999))


def pending(state: State, jpeg: bytes) -> Pending:
    """Return a photograph that is read from memory."""
    pixels = np.asarray(Image.open(io.BytesIO(jpeg)))
    shot = Shot(
        file=f"{state.text}.jpg",
        state=state,
        pixels=pixels,
        linear=False,
        exposure=None,
        sha256="",
    )
    return Pending(state=state, file=shot.file, read=lambda: shot)
