"""report.html for everyone: on a phone, in the dark, by keyboard, without a script, and as axe-core judges it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from tests.report.browser import DESK, LAYERS, PHONE, opened

pytestmark = pytest.mark.native

# What axe-core calls the success criteria of WCAG 2.2, levels A and AA, and its own good practice.
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
NAMES = ("demo", "hostile", "crowd")


@pytest.mark.parametrize(
    ("name", "scheme", "size"),
    [("demo", "light", DESK), ("demo", "dark", PHONE), ("hostile", "dark", DESK)],
)
def test_axe_finds_no_fault(
    browser: Browser, files: dict[str, Path], name: str, scheme: str, size: tuple[int, int]
) -> None:
    """axe-core's rules for WCAG 2.2 A and AA; contrast it cannot judge is that of text over the drawing only."""
    wishes = {"color_scheme": scheme, "bypass_csp": True, "reduced_motion": "reduce"}
    with opened(browser, files[name], size, **wishes) as seen:
        page = seen.page
        page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true })")
        page.select_option("#choose", "1")
        page.check("[name=light][value=bleed]")
        found = Axe().run(page, options={"runOnly": RULES}).response
        assert [(fault["id"], fault["nodes"][0]["html"]) for fault in found["violations"]] == []
        assert len(found["passes"]) > 30
        unsure = [node["target"][0] for check in found["incomplete"] for node in check["nodes"]]
        outside = page.evaluate(
            "marks => marks.filter(mark => !document.querySelector(mark).closest('svg'))", unsure
        )
        assert outside == []


@pytest.mark.parametrize("name", NAMES)
def test_a_phone_scrolls_no_page_sideways(
    browser: Browser, files: dict[str, Path], name: str
) -> None:
    with opened(browser, files[name], PHONE) as seen:
        page = seen.page
        page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true })")
        page.select_option("#choose", "1")
        for _ in range(4):
            page.click("#closer")
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
        # Nothing is cut off either: what is wider than the page lies in a frame that scrolls.
        lost = page.evaluate(
            "[...document.querySelectorAll('body *')].filter(e => e.getClientRects().length"
            " && !e.closest('.wide, .stage, .listing') && e.getBoundingClientRect().right > innerWidth + 0.5"
            ").map(e => e.outerHTML.slice(0, 80))"
        )
        assert lost == []
        for button in ("#closer", "#farther", "#whole", "#copy", "#choose", "#look"):
            box = page.locator(button).bounding_box()
            assert box is not None
            # WCAG 2.2, success criterion 2.5.8: targets of 24 by 24 pixels.
            assert min(box["width"], box["height"]) >= 24


def test_the_page_follows_the_device_and_the_switch(
    browser: Browser, files: dict[str, Path]
) -> None:
    with opened(browser, files["demo"], color_scheme="dark") as seen:
        page = seen.page

        def lightness() -> int:
            found = re.findall(
                r"\d+", page.evaluate("getComputedStyle(document.body).backgroundColor")
            )
            return sum(int(v) for v in found[:3])

        assert lightness() < 120
        page.select_option("#look", "light")
        assert lightness() > 600
        page.emulate_media(color_scheme="light")
        page.select_option("#look", "dark")
        assert lightness() < 120
        page.select_option("#look", "device")
        assert lightness() > 600
        assert (
            page.evaluate("getComputedStyle(document.documentElement).scrollBehavior") == "smooth"
        )
        page.emulate_media(reduced_motion="reduce")
        assert page.evaluate("getComputedStyle(document.documentElement).scrollBehavior") == "auto"


def test_everything_that_takes_the_focus_shows_it(
    browser: Browser, files: dict[str, Path]
) -> None:
    with opened(browser, files["demo"]) as seen:
        page = seen.page
        wanted = page.locator("a, button, select, summary, input, [tabindex='0']").count()
        reached = set()
        for _ in range(wanted + 5):
            page.keyboard.press("Tab")
            name, shown = page.evaluate(
                "(e => { const s = getComputedStyle(e.matches('.zone') ? e.querySelector('use') : e);"
                "return [e.id || e.dataset.layer || e.textContent.trim().slice(0, 30) + e.tagName,"
                " e.matches('.zone') ? s.strokeWidth !== '0px' && s.stroke !== 'none' :"
                " s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2] })(document.activeElement)"
            )
            if name.endswith("BODY"):
                break
            assert shown, name
            reached.add(name)
        assert {"look", "artwork", "wiring", "stage", "choose", "copy"} <= reached
        assert len(reached) > 25


def test_without_a_script_the_picture_and_the_tables_are_there(
    browser: Browser, files: dict[str, Path]
) -> None:
    with opened(browser, files["demo"], java_script_enabled=False) as seen:
        page = seen.page
        for layer, shown in LAYERS.items():
            assert page.locator(f"#face .layer-{layer}").first.is_visible() == shown
        assert page.locator("noscript").inner_text()
        assert page.locator("table:visible").count() >= 7
        assert page.locator("button:visible, input:visible, select:visible").count() == 0
