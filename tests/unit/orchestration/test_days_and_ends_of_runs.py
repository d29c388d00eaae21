"""The as-of day of a run, who asked for it, how it ended and what is told of it."""

from __future__ import annotations

import dataclasses
import datetime as dt
from contextlib import ExitStack
from pathlib import Path
from types import SimpleNamespace

import duckdb
import pytest
from dagster import AssetKey, DagsterEventType

from pipelines.errors import RefusedError, UsageError, WorkspaceError
from pipelines.orchestration import resources, run_day, run_lines, summary
from pipelines.orchestration.run_lines import AS_OF_TAG
from pipelines.orchestration.telling import _cell
from pipelines.steps.all_steps import STEPS

DAY = "2026-03-31"
ASSETS = frozenset(name for step in STEPS for name in step.tables)
PUBLISHED = next(name for step in STEPS if step.publishes for name in step.tables)
KEPT = "decisions"


def run(**more: object) -> SimpleNamespace:
    """A run of Dagster, as far as it is asked."""
    plain = {"run_id": "R2", "parent_run_id": None, "tags": {}, "asset_selection": None,
             "step_keys_to_execute": None}  # fmt: skip
    return SimpleNamespace(**plain | more)


@pytest.mark.parametrize(
    ("config", "tags", "parent", "day"),
    [
        ({}, {AS_OF_TAG: DAY}, None, DAY),
        ({"as_of": None}, {AS_OF_TAG: DAY}, None, DAY),
        ({"as_of": "2026-04-01"}, {AS_OF_TAG: DAY}, None, "2026-04-01"),
        ({}, {AS_OF_TAG: "2026-04-01"}, {AS_OF_TAG: DAY}, DAY),
        ({}, {AS_OF_TAG: DAY}, {}, DAY),
        ({"as_of": DAY}, {}, {AS_OF_TAG: DAY}, DAY),
        ({}, {}, None, "2026-05-05"),
        ({"as_of": "2026-04-01"}, {}, {AS_OF_TAG: DAY}, "is executed again as of 2026-04-01, but"),
        ({"as_of": 20260331}, {}, None, "as_of is 20260331; write a day"),
        ({"day": DAY}, {}, None, 'has no key "day"'),
        ({"as_of": "2026-W14-2"}, {}, None, 'config.as_of "2026-W14-2" is no date'),
        ({}, {AS_OF_TAG: "20260331"}, None, 'tag limeledger/as_of "20260331" is no date'),
    ],
)
def test_the_day_is_that_of_the_configuration_the_parent_or_the_tag(
    monkeypatch: pytest.MonkeyPatch, config: dict, tags: dict, parent: dict | None, day: str
) -> None:
    """In that order, else today; a parent's day cannot be changed, and a fault is told."""
    monkeypatch.setattr(run_day, "_today", lambda *_: "2026-05-05")
    runs = {} if parent is None else {"R1": run(run_id="R1", tags=parent)}
    context = SimpleNamespace(
        run=run(tags=tags, parent_run_id=None if parent is None else "R1"),
        instance=SimpleNamespace(get_run_by_id=runs.__getitem__),
    )
    found, fault = run_day.day_or_fault(context, config, SimpleNamespace())
    if fault is None:
        assert found == day
    else:
        assert found is None
        assert day in str(fault)
        assert isinstance(fault, RefusedError if parent else UsageError)


@pytest.mark.parametrize(
    ("more", "by"),
    [
        ({}, "dagster"),
        ({"tags": {"dagster/schedule_name": "nightly"}}, "schedule"),
        ({"tags": {"dagster/sensor_name": "exports"}}, "sensor"),
        ({"tags": {"dagster/schedule_name": "nightly"}, "parent_run_id": "R1"}, "dagster"),
    ],
)
def test_who_asked_for_a_run_is_read_from_its_tags(more: dict, by: str) -> None:
    """Whoever executes a night's run again is a person at Dagster's page, not the schedule."""
    told = run_lines.run_of(run(**more), DAY)
    assert (told.by, told.as_of, told.selection) == (by, DAY, "all")


def test_a_selection_is_told_unless_it_is_all_or_the_rest_of_all() -> None:
    """Some assets stand in their order; the rest of a whole run up to the pages is a whole one."""
    two = {AssetKey(name) for name in ("findings", KEPT)}
    assert run_lines.run_of(run(asset_selection=two), DAY).selection == [KEPT, "findings"]
    rest = [step.name for step in STEPS if step.publishes or KEPT in step.tables]
    assert run_lines.run_of(run(step_keys_to_execute=rest), DAY).selection == "all"
    some = [step.name for step in STEPS if KEPT in step.tables]
    tables = sorted(name for step in STEPS if KEPT in step.tables for name in step.tables)
    assert run_lines.run_of(run(step_keys_to_execute=some), DAY).selection == tables


def made(name: str, *, now: bool) -> SimpleNamespace:
    """The event of a table that was made now, or was there already."""
    told = {"already_current": SimpleNamespace(value=not now)}
    return SimpleNamespace(
        is_step_failure=False, step_key="step", event_type=DagsterEventType.ASSET_MATERIALIZATION,
        is_step_materialization=True, asset_key=AssetKey(name),
        step_materialization_data=SimpleNamespace(materialization=SimpleNamespace(metadata=told)),
    )  # fmt: skip


OVER = SimpleNamespace(
    is_step_failure=False, step_key="step", event_type=DagsterEventType.STEP_SUCCESS,
    is_step_materialization=False, asset_key=AssetKey("of no table"),
)  # fmt: skip
NAMELESS = SimpleNamespace(**vars(made(KEPT, now=True)) | {"asset_key": None})
ALREADY = f"All that was selected was there already, as of {DAY}."
NOT_PUBLISHED = f"Made what was selected, as of {DAY}; nothing was published."


@pytest.mark.parametrize(
    ("events", "whole", "is_published", "outcome", "code", "sentence"),
    [
        ([made(PUBLISHED, now=True)], False, True, "done", 1, f"Published as of {DAY}."),
        ([made(PUBLISHED, now=True)], True, False, "done", 0, f"Published as of {DAY}."),
        ([made(KEPT, now=True)], False, True, "done", 0, NOT_PUBLISHED),
        ([made(KEPT, now=True)], True, True, "done", 1, NOT_PUBLISHED),
        ([made(KEPT, now=True), made(PUBLISHED, now=False)], False, True, "done", 1, NOT_PUBLISHED),
        ([made(PUBLISHED, now=False)], False, True, "already_current", 1, ALREADY),
        ([made(KEPT, now=False)], False, True, "already_current", 0, ALREADY),
        ([NAMELESS], False, True, "already_current", 0, ALREADY),
        ([], True, True, "already_current", 1, ALREADY),
    ],
)
def test_how_a_run_ended_is_told_by_what_it_made(
    monkeypatch: pytest.MonkeyPatch,
    events: list,
    whole: bool,
    is_published: bool,
    outcome: str,
    code: int,
    sentence: str,
) -> None:
    """Exit code 1 (a person is needed) only of a run that whole pages belong to."""
    monkeypatch.setattr(run_lines, "_steps_of", lambda _: frozenset({"step"}))
    monkeypatch.setattr(run_lines, "summarize", lambda *_: SimpleNamespace(exit_code=1))
    logged = [
        SimpleNamespace(is_dagster_event=True, get_dagster_event=lambda one=one: one)
        for one in (*events, OVER)
    ]
    context = SimpleNamespace(run=run(), instance=SimpleNamespace(all_logs=lambda *_, **__: logged))
    inputs = SimpleNamespace(as_of=dt.date.fromisoformat(DAY), workspace=None)
    session = SimpleNamespace(failure=None, inputs=inputs, is_published=is_published)
    ended = run_lines.end_of(context, session, whole)
    assert ended is not None
    assert (ended.outcome, ended.exit_code, ended.sentence) == (outcome, code, sentence)


def test_a_session_that_cannot_be_closed_ends_its_run_as_failed(tmp_path: Path) -> None:
    """Dagster would pass over the error, so the log of runs has it; then it is raised."""

    class Session:
        inputs = SimpleNamespace(workspace=SimpleNamespace(root=tmp_path))

        def close_view(self) -> None:
            raise WorkspaceError("The store is gone.")

    opener = resources.Opener("", {}, None, None, 0.0, False)
    ends: list = []
    opener._session, opener._context = Session(), SimpleNamespace()
    opener._recorded = SimpleNamespace(ends=ends.append)
    closed: list[str] = []
    opener._stack = ExitStack()
    opener._stack.callback(closed.append, "closed")
    with pytest.raises(WorkspaceError, match="The store is gone"):
        opener.close()
    assert [(one.outcome, one.sentence) for one in ends] == [("failed", "The store is gone.")]
    assert closed == ["closed"]


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("x" * 120, "x" * 120),
        ("x" * 121, "x" * 120),
        ("a \n  b", "a b"),
        ("a|b<i>&`c`", "a&#124;b&lt;i>&amp;&#96;c&#96;"),
        (None, ""),
    ],
)
def test_a_cell_of_the_preview_is_cut_and_ends_in_itself(value: str | None, shown: str) -> None:
    """After 120 signs, on one line, without markup of its own."""
    assert _cell(value) == shown


def a_store(path: Path) -> None:
    """The tables that a summary reads: two files, one set aside whole; one feed of two is stale."""
    con = duckdb.connect(str(path))
    con.execute("create table row_accounts as select * from (values "
                "('a.csv', 10, 0, 5, 1, 2, 1, 1, 0), ('b.csv', 4, 1, 0, 0, 0, 4, 0, 0)) t(file, "
                "rows_read, rows_split, records, superseded, duplicates, set_aside, left_out, "
                "joined)")  # fmt: skip
    con.execute("create table export_files as select * from (values "
                "('a.csv', false), ('b.csv', true)) t(file, is_whole)")  # fmt: skip
    con.execute("create table feed_states as select * from (values "
                "('units', date '2026-03-01', true, false), ('startups', date '2026-03-30', false, "
                "true), ('credits', null, true, false)) "
                "t(feed, through_date, stale, beyond_tolerance)")  # fmt: skip
    con.execute("create table set_aside as select * from (values "
                "('b.csv', 'number', 'a row'), ('b.csv', 'missing_column', 'It has no serial.')) "
                "t(file, rule, reason)")  # fmt: skip
    con.execute("create table night_checks as select * from (values "
                "('claim_count', false, 'Many claims.'), ('claim_count', true, 'As usual.'), "
                "('freshness', false, 'Old.')) t(\"check\", passed, sentence)")  # fmt: skip
    con.close()


def test_a_summary_says_what_needs_a_person(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Sums over the files, and a sentence for each matter; what is unusual calls for nobody."""
    a_store(tmp_path / "store.duckdb")
    inputs = SimpleNamespace(
        as_of=dt.date.fromisoformat(DAY),
        workspace=SimpleNamespace(database=tmp_path / "store.duckdb", published=tmp_path / "pages"),
    )
    verdicts = {"covered": 1200, "needs_review": 1}
    monkeypatch.setattr(summary, "attention_of", lambda *_: ["Look at the joins."])
    monkeypatch.setattr(summary, "archive_faults", lambda _: [("A part is gone.", "Restore it.")])
    monkeypatch.setattr(summary, "verdict_counts", lambda _: verdicts)
    monkeypatch.setattr(summary, "latest_changes", lambda _: 3)
    told = summary.summarize(inputs, 1.26)
    attention = [
        "The file b.csv was set aside: It has no serial.",
        "More rows of startups were set aside than the settings allow.",
        "The feed units is stale: complete to 2026-03-01.",
        "The feed credits is stale: complete to no day.",
        "A part is gone. Restore it.",
        "Look at the joins.",
    ]
    assert told.attention == attention
    assert (told.exit_code, told.claims, told.changed_claims, told.seconds) == (1, 1201, 3, 1.3)
    assert (told.stale_feeds, told.set_aside_beyond_tolerance) == (
        ["units", "credits"],
        ["startups"],
    )
    lines: list[str] = []
    summary.tell(told, lines.append)
    assert lines == [
        f"As of {DAY}: 14 rows in 2 files: 5 records, 1 superseded, 2 duplicates, 5 set aside, "
        "1 left out, 1 added by splitting.",
        "1,201 claims: 1,200 covered, 1 needs review.",
        *attention,
        "Many claims.",
        f"Pages: {tmp_path / 'pages' / 'index.html'}",
    ]
    verdicts.clear()
    lines.clear()
    summary.tell(summary.summarize(inputs, 0.0), lines.append)
    assert lines[1] == "0 claims: none."
    lines.clear()
    one = {"rows_read": 1, "files": 1, "records": 1, "duplicates": 1, "claims": 1}
    summary.tell(dataclasses.replace(told, **one), lines.append)
    assert lines[0].startswith(
        f"As of {DAY}: 1 row in 1 file: 1 record, 1 superseded, 1 duplicate, 5 set aside"
    )
    assert lines[1].startswith("1 claim: ")
