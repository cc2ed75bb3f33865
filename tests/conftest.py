"""Hypothesis profiles and where the tests' data lie."""

from __future__ import annotations

import os

from hypothesis import settings

# Tests compute: nothing is taken from, or left in, the cache of whoever runs them (tests/workflow has its own).
os.environ["MARQUEE_CACHE"] = "off"

settings.register_profile("dev", max_examples=50, deadline=None)
settings.register_profile("ci", max_examples=150, deadline=None, derandomize=True, print_blob=True)
settings.register_profile("deep", max_examples=5000, deadline=None)
settings.load_profile(
    os.environ.get("HYPOTHESIS_PROFILE", "ci" if os.environ.get("CI") else "dev")
)
