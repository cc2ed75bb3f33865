"""Debian's Chromium without a window, and pages that remember every complaint and every request they made."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from tests.firmware.compilers import need

DESK, PHONE = (1280, 900), (360, 740)
# Layers of the drawing, and whether they are shown at first.
LAYERS = {
    "artwork": False,
    "zones": True,
    "cells": False,
    "walls": True,
    "leds": True,
    "wiring": False,
}


@dataclass
class Seen:
    """A page, its context, and what it was heard to say, ask for and be refused."""

    page: Page
    context: BrowserContext
    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)


@contextmanager
def chromium() -> Iterator[Browser]:
    """Start Chromium; skip where it is missing, fail where CI must have it."""
    need("chromium", "pdftotext", "pdfinfo")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=shutil.which("chromium"))
        yield browser
        browser.close()


@contextmanager
def opened(
    browser: Browser, file: Path, size: tuple[int, int] = DESK, **wishes: Any
) -> Iterator[Seen]:
    """Open a report from its file; afterwards it must have complained of nothing and asked for nothing else."""
    width, height = size
    touch = size == PHONE
    context = browser.new_context(
        viewport={"width": width, "height": height}, has_touch=touch, is_mobile=touch, **wishes
    )
    page = context.new_page()
    seen = Seen(page=page, context=context)
    page.on("console", lambda said: seen.complaints.append(said.text))
    page.on("pageerror", lambda error: seen.complaints.append(str(error)))
    page.on("request", lambda asked: seen.requests.append(asked.url))
    page.on("dialog", lambda dialog: seen.complaints.append(dialog.message))
    page.goto(file.as_uri())
    try:
        yield seen
        assert seen.complaints == []
        outside = [url for url in seen.requests if not url.startswith("data:")]
        assert set(outside) == {file.as_uri()}
    finally:
        context.close()
