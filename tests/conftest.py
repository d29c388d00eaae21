"""Settings shared by all tests: hypothesis draws the same examples each time, without a clock."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")
