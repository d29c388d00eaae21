"""Shared by all tests: the settings of hypothesis, the order of files, and the bench of claims."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hypothesis import settings

# The same examples each time, without a clock; `anew` draws others (`tests/drawn.py`).
settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("anew", derandomize=False, deadline=None, print_blob=True)
settings.load_profile("steady")

# Many refreshes each: kills, full disks, nights, selections of steps. They are marked `long`, which
# `pytest` leaves out and `.ci/run` runs in a step of its own; the longest come first, since begun
# last they would run on alone.
LONG = (
    "test_daemon.py",
    "test_killed_refreshes.py",
    "test_readers_beside.py",
    "test_any_run.py",
    "test_bad_workspaces.py",
    "test_decided_at_once.py",
    "test_decisions_that_stand.py",
    "test_executed_again.py",
    "test_nights_and_scratch.py",
    "test_nights_that_end_badly.py",
    "test_parts_on_a_cluster.py",
    "test_published_again.py",
    "test_read_only_folders.py",
    "test_run_lines.py",
    "test_selections.py",
)


UNIT = Path(__file__).parent / "unit"
# Files of tests/unit that start processes, write whole sites, work out all figures or train models.
SLOW_UNITS = (
    "test_drafts.py",
    "test_exports_sheets.py",
    "test_field_bad_input.py",
    "test_kept.py",
    "test_killed_desks.py",
    "test_named_right.py",
    "test_run_log.py",
    "test_site_files.py",
    "test_studied_causes.py",
    "test_telling_of_failures.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Marks files and what hypothesis draws for, and puts the long first, all others in order."""
    for item in items:
        if item.path.name in LONG:
            item.add_marker(pytest.mark.long)
        elif item.path.is_relative_to(UNIT) and item.path.name not in SLOW_UNITS:
            item.add_marker(pytest.mark.quick)
        if getattr(getattr(item, "obj", None), "is_hypothesis_test", False):
            item.add_marker(pytest.mark.drawn)
    places = {name: place for place, name in enumerate(LONG)}
    items.sort(key=lambda item: places.get(item.path.name, len(LONG)))


@pytest.fixture(scope="session")
def tools() -> ModuleType:
    """The functions of the bench on which claims are decided."""
    return import_module("tests.unit.coverage.bench")


@pytest.fixture(scope="session")
def bench(tools: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Decides the plain claim with changes."""
    return tools.Bench(tmp_path_factory.mktemp("terms"))
