"""Shared by all tests: the settings of hypothesis, the order of files, and the bench of claims."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType
from typing import Any

import pytest
from hypothesis import settings

# The same examples each time, without a clock.
settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")

# Files of single long tests; begun last, they would run on alone.
FIRST = ("test_daemon.py", "test_killed_refreshes.py", "test_readers_beside.py")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files come first, all others in their order."""
    items.sort(key=lambda item: item.path.name not in FIRST)


@pytest.fixture(scope="session")
def tools() -> ModuleType:
    """The functions of the bench on which claims are decided."""
    return import_module("tests.unit.coverage.bench")


@pytest.fixture(scope="session")
def bench(tools: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Decides the plain claim with changes."""
    return tools.Bench(tmp_path_factory.mktemp("terms"))
