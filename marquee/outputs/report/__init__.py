"""report.html: the whole plan on one page that needs no network."""

from __future__ import annotations

from marquee.outputs.report.page import report_html

__all__ = ["report_html"]
