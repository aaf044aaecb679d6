"""Hypothesis profiles: "ci" (few examples, always the same, no deadline) and "long" (by hand: HYPOTHESIS_PROFILE=long)."""

from __future__ import annotations

import gc
import os
import tempfile

from hypothesis import HealthCheck, settings

SLOW = (HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much)
settings.register_profile("ci", derandomize=True, max_examples=14, deadline=None, suppress_health_check=SLOW, database=None)
settings.register_profile("long", max_examples=1000, deadline=None, suppress_health_check=SLOW)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))

os.environ.setdefault("FIRSTCRANK_OUTBOX", tempfile.mkdtemp(prefix="fc-outbox-"))  # never that of whoever runs the tests


def pytest_collection_finish() -> None:
    """The firmware collects its garbage often, as a board must: on this Python that need not walk every collected test each time."""
    gc.collect()
    gc.freeze()
