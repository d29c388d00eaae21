"""Settings shared by all tests: hypothesis draws the same examples each time, without a clock."""

from __future__ import annotations

import pytest
from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")

# Files of single long tests; begun last, they would run on alone.
FIRST = ("test_daemon.py", "test_killed_refreshes.py", "test_readers_beside.py")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files come first, all others in their order."""
    items.sort(key=lambda item: item.path.name not in FIRST)
