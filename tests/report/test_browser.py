"""report.html in a real browser, opened from its file: layers, views, zones, sizes, copying, and no way out."""

from __future__ import annotations

import io
import json
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from playwright.sync_api import Browser, Locator, Page
from typing_extensions import override

from marquee.outputs.header import header_text
from marquee.outputs.plan_json import plan_json
from tests.report.browser import LAYERS, PHONE, opened
from tests.report.made import demo_plan

pytestmark = pytest.mark.native


def zones_of_plan() -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(plan_json(demo_plan()))["zones"]
    return found


def panel(page: Page) -> dict[str, str]:
    pairs: dict[str, str] = page.evaluate(
        "Object.fromEntries([...document.querySelectorAll('#panel dl div')].map("
        "pair => [pair.children[0].textContent.trim(), pair.children[1].textContent.trim()]))"
    )
    return pairs


def check_panel(shown: dict[str, str], zone: dict[str, Any]) -> None:
    """Compare the panel with plan.json to half of its last digit."""
    assert shown["name"] == zone["name"]
    assert int(shown["LEDs"]) == len(zone["leds"])
    pairs = [
        ("luminance, cd/m²", zone["luminance_cd_m2"], 0.05),
        ("evenness, darkest ÷ mean", zone["evenness"]["min_over_mean"], 0.005),
        ("evenness, darkest ÷ brightest", zone["evenness"]["min_over_max"], 0.005),
        ("bleed, %", 100 * zone["bleed"], 0.05),
        ("area, cm²", zone["area_mm2"] / 100, 0.05),
        ("current, mA", 1000 * zone["planned_a"], 0.55),
    ]
    if zone["drive"] is not None:
        assert shown["RGB bytes"] == ", ".join(str(code) for code in zone["drive"])
        assert shown["on a screen"] == zone["srgb"]
        lab = [float(v) for v in shown["L*a*b* made"].replace("−", "-").split(", ")]
        assert lab == pytest.approx(zone["spread"]["predicted_lab_d65"], abs=0.0501)
        pairs += [
            ("error, ΔE00", zone["delta_e_2000"], 0.005),
            ("error shared out, ΔE00", zone["spread"]["delta_e_2000"], 0.005),
            ("band, ΔE00", zone["band_delta_e_2000"], 0.05),
            ("band, white matched, ΔE00", zone["band_matched_delta_e_2000"], 0.05),
        ]
    for key, value, half in pairs:
        # plan.json itself keeps four decimals.
        assert float(shown[key]) == pytest.approx(value, abs=half + 1e-3), key
    numbers = [
        k
        for span in shown["chain numbers"].split(", ")
        for k in range(int(span.split("–")[0]), int(span.split("–")[-1]) + 1)
    ]
    assert numbers == zone["leds"]


def pixels(part: Locator) -> NDArray[np.int16]:
    with Image.open(io.BytesIO(part.screenshot())) as image:
        return np.asarray(image.convert("RGB"), np.int16)


def changed(before: NDArray[np.int16], after: NDArray[np.int16]) -> float:
    """Return the share of pixels that plainly differ."""
    return float((np.abs(before - after).max(axis=-1) > 40).mean())


def test_layers_come_and_go(browser: Browser, files: dict[str, Path]) -> None:
    with opened(browser, files["demo"]) as seen:
        stage = seen.page.locator("#stage")
        for layer, at_first in LAYERS.items():
            box = seen.page.locator(f"[data-layer={layer}]")
            drawn = seen.page.locator(f"#face .layer-{layer}").first
            assert box.is_checked() == at_first
            assert drawn.is_visible() == at_first
            before = pixels(stage)
            box.set_checked(not at_first)
            assert drawn.is_visible() != at_first
            assert changed(before, pixels(stage)) > 0.002
            box.set_checked(at_first)
            assert changed(before, pixels(stage)) < 0.0005


def test_one_light_map_is_shown_at_a_time_with_its_legend(
    browser: Browser, files: dict[str, Path]
) -> None:
    with opened(browser, files["demo"]) as seen:
        for light in ("luminance", "bleed", ""):
            seen.page.check(f"[name=light][value='{light}']")
            for layer in ("luminance", "bleed"):
                wanted = layer == light
                assert seen.page.locator(f"#face .layer-{layer}").first.is_visible() == wanted
                assert seen.page.locator(f".legend-{layer}").is_visible() == wanted


def test_the_back_view_is_mirrored_and_its_text_is_not(
    browser: Browser, files: dict[str, Path]
) -> None:
    with opened(browser, files["demo"]) as seen:
        page = seen.page

        def middles() -> dict[str, list[float]]:
            found: dict[str, list[float]] = page.evaluate(
                "Object.fromEntries(['.led', '.wall-number:not(.tight)', '.chip.main text', '.led-number'].map(s => {"
                "const r = document.querySelector('#face ' + s).getBoundingClientRect();"
                "return [s, [r.x + r.width / 2, r.y + r.height / 2]]}))"
            )
            return found

        def sides() -> list[float]:
            found: list[float] = page.evaluate(
                "(r => [r.left, r.right])(document.querySelector('.opaque').getBoundingClientRect())"
            )
            return found

        def turned_text() -> int:
            found: int = page.evaluate(
                "[...document.querySelectorAll('#face text')].filter(t => t.getClientRects().length)"
                ".filter(t => t.getScreenCTM().a <= 0).length"
            )
            return found

        for _ in range(4):  # until numbers of LEDs show
            page.click("#closer")
        front, edges = middles(), sides()
        assert "FRONT VIEW" in page.inner_text("#view-name")
        page.check("[name=side][value=back]")
        assert "BACK VIEW" in page.inner_text("#view-name")
        assert sides() == pytest.approx(edges)
        for name, (x, y) in middles().items():
            # To a pixel: a text's box is centred on its place to that.
            assert x == pytest.approx(sum(edges) - front[name][0], abs=1.0), name
            assert y == pytest.approx(front[name][1], abs=1.0), name
        assert turned_text() == 0
        page.check("[name=side][value=front]")
        assert middles() == front


def test_a_tapped_zone_tells_the_plans_figures(browser: Browser, files: dict[str, Path]) -> None:
    with opened(browser, files["demo"], PHONE) as seen:
        for zone in zones_of_plan():
            chip = seen.page.locator("#face .chip.main", has_text=str(zone["id"])).bounding_box()
            assert chip is not None
            seen.page.locator("#stage").scroll_into_view_if_needed()
            chip = seen.page.locator("#face .chip.main", has_text=str(zone["id"])).bounding_box()
            assert chip is not None
            seen.page.touchscreen.tap(
                chip["x"] + chip["width"] / 2, chip["y"] + chip["height"] / 2
            )
            check_panel(panel(seen.page), zone)
            assert seen.page.input_value("#choose") == str(zone["id"])


def test_zones_are_reached_with_the_keyboard_alone(
    browser: Browser, files: dict[str, Path]
) -> None:
    zones = zones_of_plan()
    with opened(browser, files["demo"]) as seen:
        page = seen.page
        page.focus("#stage")
        page.keyboard.press("Tab")
        for zone in zones:
            assert page.evaluate("document.activeElement.dataset.zone") == str(zone["id"])
            assert page.evaluate("document.activeElement.getAttribute('aria-checked')") == "true"
            check_panel(panel(page), zone)
            page.keyboard.press("ArrowRight")
        assert page.evaluate("document.activeElement.dataset.zone") == "0"
        page.keyboard.press("ArrowLeft")
        assert page.evaluate("document.activeElement.dataset.zone") == str(len(zones) - 1)
        page.keyboard.press("Escape")
        assert panel(page) == {}


def test_pointing_at_a_zone_shows_it_and_the_list_chooses_one(
    browser: Browser, files: dict[str, Path]
) -> None:
    zones = zones_of_plan()
    with opened(browser, files["demo"]) as seen:
        seen.page.select_option("#choose", "2")
        check_panel(panel(seen.page), zones[2])
        seen.page.locator("#face .chip.main", has_text="0").hover(force=True)
        check_panel(panel(seen.page), zones[0])
        seen.page.mouse.move(2, 2)
        check_panel(panel(seen.page), zones[2])


def test_currents_of_zones_and_dark_leds_add_up_to_the_plans(
    browser: Browser, files: dict[str, Path]
) -> None:
    """Kirchhoff's current law: what the zones, the dark LEDs and the controller draw is what is planned."""
    plan = demo_plan()
    with opened(browser, files["demo"]) as seen:
        zones_ma = 0.0
        for zone in plan.zone_map.zones:
            seen.page.select_option("#choose", str(zone.id))
            zones_ma += float(panel(seen.page)["current, mA"])
    dark = int((plan.chain.zone < 0).sum())
    assert plan.part.dark_current_a is not None
    rest_ma = 1000 * (plan.part.dark_current_a * dark + plan.power.extra_a)
    # Half a milliampere of rounding for each zone.
    assert zones_ma + rest_ma == pytest.approx(
        1000 * plan.power.planned_a, abs=0.5 * len(plan.zone_map.zones)
    )


def test_the_constants_are_copied_whole(browser: Browser, files: dict[str, Path]) -> None:
    with opened(browser, files["demo"]) as seen:
        seen.context.grant_permissions(["clipboard-read", "clipboard-write"])
        seen.page.click("#copy")
        seen.page.wait_for_function("document.getElementById('copied').textContent")
        assert seen.page.evaluate("navigator.clipboard.readText()") == header_text(demo_plan())
        assert seen.page.inner_text("#copied").startswith("Copied")


def test_the_constants_are_copied_where_the_clipboard_is_refused(
    browser: Browser, files: dict[str, Path]
) -> None:
    with opened(browser, files["demo"]) as seen:
        seen.page.evaluate(
            "void (navigator.clipboard.writeText = () => Promise.reject(new Error('refused')))"
        )
        seen.context.grant_permissions(["clipboard-read"])
        seen.page.click("#copy")
        seen.page.wait_for_function("document.getElementById('copied').textContent")
        assert seen.page.inner_text("#copied").startswith("Copied")
        assert seen.page.evaluate("navigator.clipboard.readText()") == header_text(demo_plan())


def test_the_text_is_selected_where_no_copying_is_allowed(
    browser: Browser, files: dict[str, Path]
) -> None:
    with opened(browser, files["demo"]) as seen:
        seen.page.evaluate(
            "Object.defineProperty(navigator, 'clipboard', {value: undefined});"
            "void (document.execCommand = () => false)"
        )
        seen.page.click("#copy")
        assert "select" in seen.page.inner_text("#copied")
        chosen = seen.page.evaluate("getSelection().toString()")
        assert chosen.split() == header_text(demo_plan()).split()


class _Counting(BaseHTTPRequestHandler):
    asked = 0

    def do_GET(self) -> None:
        type(self).asked += 1
        self.send_response(204)
        self.end_headers()

    @override
    def log_message(self, format: str, *args: object) -> None:
        pass


def test_the_page_may_not_reach_the_network(browser: Browser, files: dict[str, Path]) -> None:
    with opened(browser, files["demo"]) as seen, HTTPServer(("127.0.0.1", 0), _Counting) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        place = f"http://127.0.0.1:{server.server_port}"
        refused = seen.page.evaluate(
            "place => new Promise(done => { const seen = [];"
            "document.addEventListener('securitypolicyviolation', e => {"
            "  seen.push(e.effectiveDirective); if (seen.length === 3) done(seen.sort()); });"
            "new Image().src = place + '/a.png';"
            "fetch(place + '/b').catch(() => 0);"
            "const s = document.createElement('script'); s.textContent = 'window.hit=4'; document.body.append(s); })",
            place,
        )
        assert refused == ["connect-src", "img-src", "script-src-elem"]
        assert seen.page.evaluate("window.hit") is None
        server.shutdown()
        assert _Counting.asked == 0
        # The browser tells of these refusals, and of nothing else.
        assert len(seen.complaints) >= 3
        assert all("Content Security Policy" in text for text in seen.complaints)
        seen.complaints.clear()
        seen.requests = [url for url in seen.requests if not url.startswith(place)]


def test_hostile_names_stay_text_in_every_place_they_are_shown(
    browser: Browser, files: dict[str, Path]
) -> None:
    with opened(browser, files["hostile"]) as seen:
        for number in range(5):
            seen.page.select_option("#choose", str(number))
            shown = panel(seen.page)["name"]
            label = seen.page.get_attribute(f".zone[data-zone='{number}']", "aria-label")
            assert label == f"Zone {number}, {shown}"
            assert seen.page.locator("#panel img, #panel script").count() == 0
        assert seen.page.evaluate("window.hit") is None


def test_coming_closer_shows_every_chain_number_and_keeps_the_middle(
    browser: Browser, files: dict[str, Path]
) -> None:
    with opened(browser, files["crowd"]) as seen:
        page = seen.page

        def numbers() -> int:
            return int(
                page.evaluate(
                    "[...document.querySelectorAll('.led-number')].filter(t => t.getClientRects().length).length"
                )
            )

        def middle() -> float:
            share: float = page.evaluate(
                "(() => { const s = document.getElementById('stage').getBoundingClientRect();"
                "const f = document.getElementById('face').getBoundingClientRect();"
                "return (s.x + s.width / 2 - f.x) / f.width })()"
            )
            return share

        at_first = numbers()
        for _ in range(4):
            page.click("#closer")
        assert middle() == pytest.approx(0.5, abs=0.01)
        assert at_first < numbers() == page.locator("#face .led").count()
        page.click("#whole")
        assert numbers() == at_first


def test_two_fingers_change_the_drawings_size(browser: Browser, files: dict[str, Path]) -> None:
    with opened(browser, files["demo"], PHONE) as seen:
        page = seen.page
        page.locator("#stage").scroll_into_view_if_needed()
        stage, before = page.locator("#stage").bounding_box(), page.locator("#face").bounding_box()
        assert stage is not None
        assert before is not None
        x, y = stage["x"] + stage["width"] / 2, stage["y"] + stage["height"] / 2
        touch = seen.context.new_cdp_session(page)
        for kind, apart in (
            ("touchStart", 40),
            ("touchMove", 60),
            ("touchMove", 80),
            ("touchEnd", 0),
        ):
            points = [{"x": x - apart / 2, "y": y, "id": 0}, {"x": x + apart / 2, "y": y, "id": 1}]
            touch.send(
                "Input.dispatchTouchEvent",
                {"type": kind, "touchPoints": points if apart else []},
            )
        after = page.locator("#face").bounding_box()
        assert after is not None
        # Fingers end twice as far apart as they began.
        assert after["width"] == pytest.approx(2 * before["width"], rel=0.05)
