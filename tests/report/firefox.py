"""Debian's Firefox without a window, by its own remote protocol: a second engine for report.html.

The driver of the Chromium tests starts it too but asks for an emulation this Firefox does not know; Marionette is
Firefox's own, and its client is kept by those who make both.
"""

from __future__ import annotations

import base64
import gc
import io
import shutil
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.firmware.compilers import need

# What decides prefers-color-scheme: 0 dark, 1 light.
_SCHEME = "layout.css.prefers-color-scheme.content-override"


class Firefox:
    """One window; what a page complains of is read from the browser's own console."""

    def __init__(self, driver: Any) -> None:
        self._driver = driver

    def open(self, file: Path) -> None:
        """Open a report from its file."""
        self._in_browser("Services.console.reset()")
        self._driver.navigate(file.as_uri())

    def frame(self, selector: str) -> None:
        """Look into a frame of the page."""
        self._driver.switch_to_frame(self._driver.find_element("css selector", selector))

    def run(self, script: str, *values: object) -> Any:
        """Return what a script returns in the page's window."""
        return self._driver.execute_script(script, script_args=values, sandbox=None)

    def click(self, selector: str) -> None:
        """Click an element as a user would: it must be in sight and nothing in front of it."""
        self._driver.find_element("css selector", selector).click()

    def pixels(self) -> NDArray[np.int16]:
        """Return what the drawing's frame shows."""
        stage = self._driver.find_element("css selector", "#stage")
        content = base64.b64decode(self._driver.screenshot(element=stage))
        with Image.open(io.BytesIO(content)) as image:
            return np.asarray(image.convert("RGB"), np.int16)

    def pdf(self, width_cm: float, height_cm: float) -> bytes:
        """Return the page printed as its style sheet has it."""
        wanted = {"page": {"width": width_cm, "height": height_cm}, "shrinkToFit": False}
        printed = self._driver._send_message("WebDriver:Print", wanted, key="value")
        return base64.b64decode(printed)

    def clipboard(self) -> str:
        """Return the text on the clipboard."""
        return str(self._in_browser("return navigator.clipboard.readText()"))

    def complaints(self, file: Path) -> list[str]:
        """Return errors and warnings the browser noted about a page: scripts, styles, what the policy refused."""
        listed = cast(
            "list[str]",
            self._in_browser(
                "return Services.console.getMessageArray().map(note => String(note.message || note))"
            ),
        )
        return [note for note in listed if file.name in note]

    def wish(self, scheme: str) -> None:
        """Make the device ask for dark or light pages."""
        self._driver.set_pref(_SCHEME, ["dark", "light"].index(scheme))

    def _in_browser(self, script: str) -> Any:
        with self._driver.using_context("chrome"):
            return self._driver.execute_script(script)


@contextmanager
def firefox(folder: Path) -> Iterator[Firefox]:
    """Start Firefox with a profile in a folder; skip where it is missing, fail where CI must have it."""
    need("firefox-esr", "pdftotext", "pdftoppm")
    with warnings.catch_warnings():
        # The client's packages import what is deprecated, and drop a socket at each try to reach the browser.
        warnings.simplefilter("ignore", DeprecationWarning)
        warnings.simplefilter("ignore", ResourceWarning)
        from marionette_driver.marionette import Marionette

        driver = Marionette(
            bin=shutil.which("firefox-esr"),
            headless=True,
            port=0,
            workspace=str(folder),
            gecko_log=str(folder / "firefox.log"),
            prefs={_SCHEME: 1},
        )
        try:
            driver.start_session()
            driver.set_window_rect(width=1280, height=1000)
            yield Firefox(driver)
        finally:
            driver.quit()
            driver.cleanup()
            # Its profile is removed once more when it is collected, which must not be at Python's very end.
            driver.instance = None
            gc.collect()
