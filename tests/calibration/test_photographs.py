"""Photographs made up from the light model, with a lens, a curve and noise of their own, read back.

Truth is the homography OpenCV laid the face down with, the made-up sign's own light and the camera's own curve.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from marquee.errors import InputError
from marquee.photo.check import Pending, check_photos
from marquee.photo.look import ground_of
from marquee.photo.predict import expected_picture, raster_of
from marquee.photo.register import mapped, register
from marquee.photo.values import Checked, PairBleed, Registration, State
from marquee.plan import Plan
from tests.calibration.photographed import (
    Array,
    Camera,
    Sitting,
    alike,
    built,
    demo_plan,
    other_plan,
    pending,
    planned_codes,
    srgb_coded,
)

PLANS = {"demo": demo_plan, "other": other_plan}
# Of the other sign, which is 3 : 2.
UPRIGHT = ((420, 180), (1630, 240), (1590, 1060), (460, 980))
VIEWS = {
    "demo straight": ("demo", Camera(seed=1)),
    "demo far and aslant": (
        "demo",
        Camera(seed=2, corners=((400, 500), (1700, 420), (1650, 820), (430, 800))),
    ),
    "demo upside down": (
        "demo",
        Camera(seed=3, corners=((1500, 900), (500, 950), (450, 650), (1550, 560))),
    ),
    "other": ("other", Camera(seed=4, corners=UPRIGHT)),
    "other on its side": (
        "other",
        Camera(
            seed=5,
            size_px=(1400, 1800),
            corners=((1100, 250), (1060, 1500), (300, 1440), (260, 330)),
        ),
    ),
}
ALL = ("white", "black", "red", "green", "blue", "ramp-64", "ramp-128", "planned")


@cache
def _healthy(name: str) -> Checked:
    plan = PLANS[name]()
    camera = Camera(seed=11) if name == "demo" else Camera(seed=12, corners=UPRIGHT)
    alone = tuple(f"zone-{zone.id}" for zone in plan.zone_map.zones)
    return check_photos(plan, Sitting(made=built(plan), camera=camera).photos(*ALL, *alone))


def _codes(checked: Checked) -> set[str]:
    return {finding.code for finding in checked.findings}


def _places(plan: Plan) -> Array:
    x = np.linspace(0, plan.zone_map.width_mm, 15)
    y = np.linspace(0, plan.zone_map.height_mm, 7)
    return np.asarray(np.stack([one.ravel() for one in np.meshgrid(x, y)], axis=1), np.float64)


def _registered(
    plan: Plan, camera: Camera, state: str, corners: Array | None = None
) -> Registration:
    (one,) = Sitting(made=built(plan), camera=camera).photos(state)
    raster = raster_of(plan)
    grey = one.read().pixels.astype(np.float32).mean(axis=2) / 255
    expected = expected_picture(plan, one.state, raster)
    return register(grey, expected, raster, one.file, corners)


@pytest.mark.slow
@pytest.mark.parametrize("view", VIEWS, ids=str)
@pytest.mark.parametrize("state", ["white", "planned"])
def test_the_face_is_found_where_opencv_laid_it_down(view: str, state: str) -> None:
    name, camera = VIEWS[view]
    plan = PLANS[name]()
    found = _registered(plan, camera, state)
    there = mapped(found.homography, _places(plan))
    back = mapped(np.asarray(np.linalg.inv(camera.homography(plan)), float), there)
    off_mm = np.hypot(*(back - _places(plan)).T)
    # A photograph's pixel is 0.2 to 0.3 mm here, an element of light 3 mm.
    assert np.sqrt(np.mean(off_mm**2)) < 0.25
    assert off_mm.max() < 0.7


def _with_dark(plan: Plan, camera: Camera, dark: int) -> Pending:
    """Return a photograph of all LEDs white but one zone's."""
    made = built(plan)
    codes = alike(plan, 255, 255, 255) | {dark: (0, 0, 0)}
    seen = camera.exposed(made, made.emitted(codes))
    bright = 0.75 / float(np.quantile(seen.max(axis=-1), 0.999))
    return pending(State(kind="white"), camera.shot(seen, bright))


# Each the sign's largest zone: 37 % and 35 % of what is lit.
@pytest.mark.slow
@pytest.mark.parametrize("view", ["demo upside down", "other"])
def test_the_face_is_found_with_its_largest_zone_dark(view: str) -> None:
    name, camera = VIEWS[view]
    plan = PLANS[name]()
    checked = check_photos(plan, (_with_dark(plan, camera, 1),))
    off = np.hypot(*(np.array(checked.registration.corners_px) - np.array(camera.corners)).T)
    # 1 % of the face's width on the photograph: corners that only the dark zone lies at are carried on to.
    assert off.max() < 0.01 * np.hypot(*np.subtract(camera.corners[1], camera.corners[0]))
    assert checked.registration.dark == (1,)
    assert any("zone 1" in one.where + one.message for one in checked.findings)


@pytest.mark.slow
def test_another_sign_with_a_dark_zone_is_refused() -> None:
    photo = _with_dark(other_plan(), Camera(seed=4, corners=UPRIGHT), 1)
    with pytest.raises(InputError, match="does not look like this plan's face"):
        check_photos(demo_plan(), (photo,))


@pytest.mark.slow
def test_corners_given_by_hand_are_drawn_into_line() -> None:
    plan, camera = demo_plan(), Camera(seed=6)
    by_hand = np.add(camera.corners, [(9, -6), (-7, 8), (6, 7), (-8, -9)])
    found = _registered(plan, camera, "white", by_hand)
    off = np.hypot(*(np.array(found.corners_px) - np.array(camera.corners)).T)
    assert found.by_hand
    assert off.max() < 2.0


@pytest.mark.slow
@pytest.mark.parametrize("name", PLANS)
def test_evenness_is_read_as_the_made_up_sign_has_it(name: str) -> None:
    plan = PLANS[name]()
    ground = ground_of(plan, raster_of(plan))
    truth = ground.read(built(plan).emitted(planned_codes(plan))[..., 1])
    owner = plan.transfer.zone_of_element.ravel()
    checked = _healthy(name)
    assert len(checked.zones) == len(plan.zone_map.zones)
    for zone in checked.zones:
        light = truth[(owner == zone.zone) & np.isfinite(truth)]
        # Noise, glare and JPEG leave half a per cent of an element's light, the lens's darkening about as much.
        assert zone.min_over_max == pytest.approx(light.min() / light.max(), abs=0.03)
        assert zone.min_over_mean == pytest.approx(light.min() / light.mean(), abs=0.03)


@pytest.mark.slow
@pytest.mark.parametrize("name", PLANS)
def test_bleed_of_a_zone_alone_is_read_as_the_made_up_sign_has_it(name: str) -> None:
    plan, made = PLANS[name](), built(PLANS[name]())
    ground = ground_of(plan, raster_of(plan))
    owner = plan.transfer.zone_of_element.ravel()
    codes = planned_codes(plan)
    alone = {k: ground.read(made.emitted({k: codes[k]})[..., 1]) for k in codes}
    checked = _healthy(name)
    assert len(checked.pairs) == len(codes) * (len(codes) - 1)
    for pair in checked.pairs:
        at = (owner == pair.zone) & np.isfinite(alone[pair.zone])
        total = sum(float(one[at].mean()) for one in alone.values())
        share = float(alone[pair.source][at].mean()) / total
        # LEDs differ by 3 % here, of which the plan knows nothing; a quarter of a per cent for glare.
        assert pair.measured == pytest.approx(share, rel=0.08, abs=0.0025)


@pytest.mark.slow
@pytest.mark.parametrize("name", PLANS)
def test_a_sign_built_as_planned_gives_no_remark(name: str) -> None:
    assert _healthy(name).findings == ()


@pytest.mark.slow
def test_a_stronger_channel_of_one_zone_is_measured() -> None:
    plan, made = demo_plan(), built(demo_plan(), sd=0.0)
    strength = made.strength.copy()
    strength[plan.chain.zone[made.lit] == 1, 0] = 1.25
    sitting = Sitting(made=replace(made, strength=strength), camera=Camera(seed=13))
    checked = check_photos(plan, sitting.photos("white", "red", "green", "blue", "ramp-96"))
    zone = next(zone for zone in checked.zones if zone.zone == 1)
    assert zone.balance is not None
    red, green, blue = zone.balance
    # The curve off the ramps is true to 1 or 2 %.
    assert red / np.sqrt(green * blue) == pytest.approx(1.25, rel=0.03)
    assert [f.where for f in checked.findings if f.code == "photo.balance"] == ["zone 1 Lamplight"]


@pytest.mark.slow
@pytest.mark.parametrize(("name", "led"), [("demo", 120), ("demo", 31), ("other", 40)])
def test_a_dark_led_is_named(name: str, led: int) -> None:
    plan = PLANS[name]()
    camera = Camera(seed=led) if name == "demo" else Camera(seed=led, corners=UPRIGHT)
    assert plan.chain.zone[led] >= 0
    sitting = Sitting(made=built(plan, seed=led).but(led), camera=camera)
    checked = check_photos(plan, sitting.photos("white", "black"))
    found = [f for f in checked.findings if f.code == "photo.led-dark"]
    assert len(found) == 1
    # A box 2 to 3 pitches deep blurs LEDs into each other: the LED itself, or said to be one of those named.
    assert any(led in doubt.leds for doubt in checked.leds)
    assert f"LED {led}" in f"{found[0].where} {found[0].message}"


@pytest.mark.slow
def test_an_led_without_red_is_told_from_a_dark_one() -> None:
    sitting = Sitting(made=built(demo_plan()).but(60, (0,)), camera=Camera(seed=14))
    checked = check_photos(demo_plan(), sitting.photos("white", "red", "green", "blue"))
    found = [f for f in checked.findings if f.code == "photo.led-dark"]
    assert [f.where for f in found] == ["LED 60"]
    assert "gives no red" in found[0].message


@pytest.mark.slow
def test_swapped_wires_are_named() -> None:
    made = replace(built(demo_plan()), channel_order=(1, 0, 2))
    sitting = Sitting(made=made, camera=Camera(seed=15))
    checked = check_photos(demo_plan(), sitting.photos("white", "red", "green", "blue"))
    found = next(f for f in checked.findings if f.code == "photo.wires-swapped")
    assert found.where == "whole sign"
    assert "red shows green, green shows red" in found.message


def _strayed(wall: int, *states: str) -> tuple[Checked, list[PairBleed]]:
    sitting = Sitting(made=built(demo_plan(), missing_wall=wall), camera=Camera(seed=16))
    checked = check_photos(demo_plan(), sitting.photos(*states))
    return checked, [pair for pair in checked.pairs if pair.wall == wall]


@pytest.mark.slow
@pytest.mark.parametrize("wall", [1, 5])
def test_a_missing_wall_is_named_from_photographs_of_zones_alone(wall: int) -> None:
    zones = next(w.zones for w in demo_plan().box.walls if w.id == wall)
    checked, _ = _strayed(wall, "white", *(f"zone-{zone}" for zone in zones))
    told = [f.message for f in checked.findings if f.code == "photo.bleed"]
    assert any(f"look at wall {wall} at" in message for message in told)
    assert not any("wall" in m and f"wall {wall} " not in m for m in told)


@pytest.mark.slow
@pytest.mark.parametrize("wall", [3])
def test_a_missing_wall_is_named_from_one_photograph_of_the_sign_as_it_runs(wall: int) -> None:
    checked, pairs = _strayed(wall, "planned")
    assert any(pair.measured > 4 * pair.predicted for pair in pairs)
    told = [f.message for f in checked.findings if f.code == "photo.bleed"]
    assert any(f"look at wall {wall} at" in message for message in told)


@pytest.mark.slow
def test_a_zone_that_stays_dark_is_named() -> None:
    plan, made = demo_plan(), built(demo_plan())
    strength = made.strength.copy()
    strength[plan.chain.zone[made.lit] == 0] = 0
    sitting = Sitting(made=replace(made, strength=strength), camera=Camera(seed=17))
    # So much of the face is dark that its shape alone no longer tells where it lies.
    corners = np.array(sitting.camera.corners, float)
    checked = check_photos(plan, sitting.photos("white"), corners)
    assert "zone 0 Orb amber" in {f.where for f in checked.findings if f.code == "photo.zone-dark"}


@pytest.mark.slow
@pytest.mark.parametrize("curve", [0.85, 1.2])
def test_ramps_tell_the_cameras_curve(curve: float) -> None:
    camera = Camera(seed=18, curve=curve)
    ramps = tuple(f"ramp-{code}" for code in (32, 64, 128, 192))
    checked = check_photos(
        demo_plan(),
        Sitting(made=built(demo_plan()), camera=camera).photos("white", "black", *ramps),
    )
    assert checked.curve.source == "ramps"
    light = np.linspace(0.05, 0.7, 14)
    coded = srgb_coded(light.astype(np.float32)) ** curve
    for table in checked.curve.table:
        read = np.interp(coded, np.arange(256) / 255, table)
        # Up to a factor, which no ratio depends on. The sRGB curve would be off by (1 - curve) times 2.2 times the
        # logarithm of 14, 0.9 and 1.2; the solver's stiffness leaves a sixth of that.
        assert np.ptp(np.log(read / light)) < 0.15


def _refused(photos: Sitting, *states: str) -> InputError:
    with pytest.raises(InputError) as caught:
        check_photos(photos.made.plan, photos.photos(*states))
    return caught.value


@pytest.mark.slow
def test_another_signs_photograph_is_refused() -> None:
    photos = Sitting(made=built(other_plan()), camera=Camera(corners=UPRIGHT)).photos("white")
    with pytest.raises(InputError, match="does not look like this plan's face"):
        check_photos(demo_plan(), photos)
    photos = Sitting(made=built(demo_plan()), camera=Camera()).photos("planned")
    with pytest.raises(InputError, match="does not look like this plan's face"):
        check_photos(other_plan(), photos)


@pytest.mark.slow
def test_a_burnt_dark_small_or_mirrored_photograph_is_refused_with_its_name() -> None:
    plan, camera = demo_plan(), Camera()
    seen = camera.exposed(built(plan), built(plan).emitted(alike(plan, 255, 255, 255)))
    bright = 0.75 / float(np.quantile(seen.max(axis=-1), 0.999))

    def refused(jpeg: bytes, what: str) -> None:
        with pytest.raises(InputError, match=what) as caught:
            check_photos(plan, (pending(State(kind="white"), jpeg),))
        assert caught.value.where == "white.jpg"

    refused(camera.shot(seen, 4 * bright), "is burnt out on")
    refused(camera.shot(seen, 0.005 * bright), "is too dark")
    small = cv2.resize(seen, None, fx=0.1, fy=0.1, interpolation=cv2.INTER_AREA)
    refused(camera.shot(small, bright), "is only 200 × 130 pixels large")


def test_states_are_checked_before_anything_is_read() -> None:
    plan = demo_plan()
    sitting = Sitting(made=built(plan), camera=Camera())
    assert "none shows all zones lit" in _refused(sitting, "black", "ramp-64").what
    one = sitting.photos("white")
    with pytest.raises(InputError, match="and so does white"):
        check_photos(plan, (*one, *one))
    ninth = replace(one[0].state, kind="zone", number=9)
    with pytest.raises(InputError, match="zone 9 does not exist; zones are 0, 1, 2, 3"):
        check_photos(plan, (*one, replace(one[0], state=ninth)))


@pytest.mark.slow
def test_a_burnt_photograph_of_one_zone_is_told_once() -> None:
    plan, camera = demo_plan(), Camera()
    made = built(plan)
    largest = max(plan.zone_map.zones, key=lambda zone: zone.area_mm2).id
    seen = camera.exposed(made, made.emitted({largest: planned_codes(plan)[largest]}))
    shot = camera.shot(seen, 8 * 0.75 / float(np.quantile(seen.max(axis=-1), 0.999)))
    zone = pending(State(kind="zone", number=largest), shot)
    checked = check_photos(plan, (*Sitting(made=made, camera=camera).photos("white"), zone))
    assert [f.where for f in checked.findings if f.code == "photo.burnt"] == [zone.file]


@pytest.mark.slow
def test_the_agreement_asked_for_is_the_one_that_holds() -> None:
    """Corners given by hand excuse more, and the refusal names that lower limit."""
    noise = np.random.default_rng(1).uniform(0, 0.5, (600, 900, 3)).astype(np.float32)
    photo = pending(State(kind="white"), Camera().shot(noise, 1.0))
    for corners, least in (
        (None, "0.7"),
        (np.array(((90, 90), (800, 95), (790, 500), (100, 490)), float), "0.4"),
    ):
        with pytest.raises(InputError, match=f"agreement [0-9.]+ of 1, {least} needed"):
            check_photos(demo_plan(), (photo,), corners)
