"""One browser and one file of each report for all tests that look at them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from marquee.outputs.report import report_html
from tests.report.made import crowd, demo_plan, hostile_plan

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture(scope="session", name="browser")
def _browser() -> Iterator[Browser]:
    from tests.report.browser import chromium

    with chromium() as browser:
        yield browser


@pytest.fixture(scope="session", name="files")
def _files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("reports")
    plans = {"demo": demo_plan, "hostile": hostile_plan, "crowd": crowd}
    for name, make in plans.items():
        (folder / f"{name}.html").write_text(report_html(make()), encoding="utf-8")
    return {name: folder / f"{name}.html" for name in plans}
