"""Shared by all tests: the settings of hypothesis, the order of files, and the bench of claims."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hypothesis import settings

# A run loads a thousand modules in dozens of processes, and asserts are rewritten besides: bytecode
# is kept also where the environment would have none, which cost a run some minutes.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# The same examples each time, without a clock; `anew` draws others (`tests/drawn.py`).
settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("anew", derandomize=False, deadline=None, print_blob=True)
settings.load_profile("steady")

# Many refreshes each (kills, full disks, nights, selections of steps), or drafts of eighty exports.
# They are marked `long`, which `pytest` leaves out and `.ci/run` runs in a step of its own; the
# longest come first, since begun last they would run on alone.
LONG = (
    "test_daemon.py",
    "test_killed_refreshes.py",
    "test_readers_beside.py",
    "test_any_run.py",
    "test_archive.py",
    "test_bad_workspaces.py",
    "test_changed_exports.py",
    "test_decided_at_once.py",
    "test_decisions_that_stand.py",
    "test_desk_and_refresh.py",
    "test_executed_again.py",
    "test_named_right.py",
    "test_nights_and_scratch.py",
    "test_nights_that_end_badly.py",
    "test_parts_on_a_cluster.py",
    "test_published_again.py",
    "test_read_only_folders.py",
    "test_run_lines.py",
    "test_selections.py",
    "test_since_when_it_holds.py",
)

# The costliest of the others, in that order: one that began last would run on alone. The first two
# share nothing: while the one makes the sample, which many need, the other walks through a desk.
FIRST = (
    "test_desk_walk.py",
    "test_json_outputs.py",
    "test_desk_actions.py",
    "test_letter_commands.py",
    "test_desk_records.py",
    "test_doctor_command.py",
    "test_field_bad_input.py",
    "test_letters_sent.py",
    "test_pages_load.py",
    "test_counterfactuals_by_hand.py",
    "test_example_terms.py",
    "test_published_tables.py",
    "test_backup_and_restore.py",
    "test_definitions.py",
    "test_serving.py",
    "test_worked_claims_through_the_command.py",
    "test_joined_files.py",
    "test_days_at_the_desk.py",
    "test_turns_hold.py",
    "test_decisions_against_oracle.py",
    "test_figures_against_oracle.py",
    "test_exports_sheets.py",
    "test_killed_desks.py",
)

UNIT = Path(__file__).parent / "unit"
# Files of tests/unit that take a second or more: they start processes, write whole sites, work out
# all figures, train models, or decide and draft again and again.
SLOW_UNITS = (
    "test_agencies.py",
    "test_conditions_switched_off.py",
    "test_counterfactuals_by_hand.py",
    "test_decision_history.py",
    "test_deliming.py",
    "test_drafts.py",
    "test_engines.py",
    "test_exports_rows.py",
    "test_exports_sheets.py",
    "test_field_bad_input.py",
    "test_field_views.py",
    "test_files_alike.py",
    "test_fitting.py",
    "test_journeys_by_hand.py",
    "test_kept.py",
    "test_kept_cause_suggestions.py",
    "test_killed_desks.py",
    "test_known_figures.py",
    "test_letter_values.py",
    "test_merged_tables.py",
    "test_morning_page.py",
    "test_page_contents.py",
    "test_page_formats.py",
    "test_recommendations_by_hand.py",
    "test_recorded_run.py",
    "test_regions_forecast_costs.py",
    "test_register.py",
    "test_replaced_units_watched.py",
    "test_reviews_by_hand.py",
    "test_run_log.py",
    "test_searched_rows.py",
    "test_shared_day.py",
    "test_site_files.py",
    "test_slices_and_forecasts.py",
    "test_startup_and_windows.py",
    "test_steps.py",
    "test_studied_causes.py",
    "test_suggestions.py",
    "test_telling_of_failures.py",
    "test_treatment_conditions.py",
    "test_treatment_fit_of_units.py",
    "test_unit_letters.py",
    "test_upcoming_matters.py",
    "test_values_and_people.py",
    "test_water_advice.py",
    "test_water_doubts.py",
)


def pytest_configure(config: pytest.Config) -> None:
    """Where a file runs on each core, polars has one thread: on frames of a few dozen rows several
    wait for each other, a tenth of a run. The long and the drawn keep as many as at work, so that
    no order of rows hangs on there being one."""
    if config.option.markexpr in ("not long", "quick"):
        os.environ.setdefault("POLARS_MAX_THREADS", "1")


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Where only the quick or only the long are asked for, no other file is loaded."""
    kind, path = config.option.markexpr, collection_path
    if kind not in ("quick", "long") or path.name == "conftest.py":
        return None
    if path.is_dir():
        other = not (path.is_relative_to(UNIT) or UNIT.is_relative_to(path))
        return (kind == "quick" and other) or None
    is_quick = path.is_relative_to(UNIT) and path.name not in (*SLOW_UNITS, *LONG)
    return not (is_quick if kind == "quick" else path.name in LONG) or None


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Marks files and what hypothesis draws for, and puts the costly first, all others in order."""
    for item in items:
        if item.path.name in LONG:
            item.add_marker(pytest.mark.long)
        elif item.path.is_relative_to(UNIT) and item.path.name not in SLOW_UNITS:
            item.add_marker(pytest.mark.quick)
        if getattr(getattr(item, "obj", None), "is_hypothesis_test", False):
            item.add_marker(pytest.mark.drawn)
    places = {name: place for place, name in enumerate((*LONG, *FIRST))}
    items.sort(key=lambda item: places.get(item.path.name, len(places)))


def pytest_collection_finish(session: pytest.Session) -> None:
    """What is loaded by now stays: garbage is looked for among what comes, and less often than by
    default, which took a tenth of a run."""
    del session
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 10, 10)


@pytest.fixture(scope="session")
def passwords_are_quick() -> Iterator[None]:
    """Hashes of a memory that a test has; the library's own test holds its strength."""
    from argon2 import PasswordHasher

    import pipelines.actions.passwords as kept

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(kept, "_HASHER", PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
        kept._nobody.cache_clear()
        yield
    kept._nobody.cache_clear()


@pytest.fixture(scope="session")
def tools() -> ModuleType:
    """The functions of the bench on which claims are decided."""
    return import_module("tests.unit.coverage.bench")


@pytest.fixture(scope="session")
def bench(tools: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Decides the plain claim with changes."""
    return tools.Bench(tmp_path_factory.mktemp("terms"))
