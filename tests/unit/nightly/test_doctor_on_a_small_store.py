"""What the doctor says of a store: age, stale feeds, files since, idle entries, room on disk."""

from __future__ import annotations

import contextlib
import datetime as dt
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import duckdb
import pytest

from pipelines.nightly.health import desk_checks, store_checks, workspace_checks

NOW = dt.datetime(2026, 3, 31, 2, 30, tzinfo=dt.UTC)
SETTINGS = SimpleNamespace(
    zone=ZoneInfo("America/New_York"), stale_after_days=7, set_aside_tolerance=0.05
)


@pytest.fixture
def con() -> duckdb.DuckDBPyConnection:
    """A store without a table."""
    return duckdb.connect()


@pytest.mark.parametrize(
    ("hours", "says"),
    [
        (36.0, None),
        (36.1, "The last good refresh was at 2026-03-29 14:24 UTC, 2 days ago."),
        (240, "The last good refresh was at 2026-03-21 02:30 UTC, 10 days ago."),
        (-0.05, None),
        (-2, "The last refresh was at 2026-03-31 04:30 UTC, which is still to come."),
    ],
)
def test_a_missed_night_and_a_wrong_clock_are_told(hours: float, says: str | None) -> None:
    """After a day and a half; a few minutes' difference between clocks is none."""
    at = (NOW - dt.timedelta(hours=hours)).replace(tzinfo=None)
    found = [one.sentence for one in store_checks._age(SimpleNamespace(published_at=at), NOW)]
    assert found == ([] if says is None else [says])


def test_feeds_are_stale_by_the_workspaces_own_day(con: duckdb.DuckDBPyConnection) -> None:
    """At half past two in London it is still 30 March in New York: 23 March is no week ago.

    A feed that brought no row is not waited for, one without a through date is stale.
    """
    assert [*store_checks._feeds(con, SETTINGS, NOW)] == []
    con.execute(
        "create table feed_states as select * from (values "
        "('units', date '2026-03-23', 1200, 60, 0.05), ('calls', date '2026-03-22', 1000, 51, "
        "0.051), ('credits', null, 3, 0, 0.0), ('startups', null, 0, 0, 0.0)) "
        "t(feed, through_date, rows_read, set_aside, set_aside_share)"
    )
    assert [*store_checks._feeds(con, None, NOW)] == []
    assert [one.sentence for one in store_checks._feeds(con, SETTINGS, NOW)] == [
        "The feed calls is stale: complete to 2026-03-22.",
        "The feed credits is stale: complete to no day.",
        "51 of 1,000 rows of calls are set aside, more than the settings allow.",
    ]


@pytest.mark.parametrize(
    ("there", "says"),
    [
        ({"a.csv": 10, "b.csv": 20}, None),
        ({"a.csv": 11, "b.csv": 20}, "1 new or changed (a.csv)"),
        ({"a.csv": 10}, "1 gone (b.csv)"),
        ({"c.csv": 1, "a.csv": 10}, "1 new or changed and 1 gone (c.csv, b.csv)"),
        ({}, "2 gone (a.csv, b.csv)"),
        (
            {"a.csv": 10, "b.csv": 20, "c.csv": 1, "d.csv": 1, "e.csv": 1, "f.csv": 1},
            "4 new or changed (c.csv, d.csv, e.csv)",
        ),
    ],
)
def test_files_that_came_or_went_are_counted_and_the_first_named(
    monkeypatch: pytest.MonkeyPatch,
    con: duckdb.DuckDBPyConnection,
    there: dict[str, int],
    says: str | None,
) -> None:
    """By name and size; a file outside the exports is not looked for there."""
    con.execute(
        "create table export_files as select * from (values ('a.csv', 10, false), "
        "('b.csv', 20, false), ('../terms.toml', 5, false)) t(file, size_bytes, is_whole)"
    )
    files = [SimpleNamespace(path=path, size=size) for path, size in there.items()]
    monkeypatch.setattr(store_checks, "sound_mappings", lambda _: SimpleNamespace(names={}))
    monkeypatch.setattr(store_checks, "find_exports", lambda *_: files)
    workspace = SimpleNamespace(root=Path("w"), exports=Path("w/exports"))
    found = [one.sentence for one in store_checks._exports(workspace, con)]
    assert found == ([] if says is None else [f"Since the last refresh: {says}."])


def test_a_file_that_is_set_aside_whole_is_told_with_its_reason(
    monkeypatch: pytest.MonkeyPatch, con: duckdb.DuckDBPyConnection
) -> None:
    """The first reason there is; files that were read say nothing."""
    con.execute(
        "create table export_files as select * from (values ('a.csv', 10, false), "
        "('c.csv', 20, true), ('b.csv', 20, true)) t(file, size_bytes, is_whole)"
    )
    con.execute(
        "create table set_aside as select * from (values ('b.csv', 'number', 'A row of a sheet.'), "
        "('b.csv', 'missing_column', 'It has no serial.'), ('b.csv', 'no_feed', 'Another.'), "
        "('a.csv', 'number', 'A row.')) t(file, rule, reason)"
    )
    files = [SimpleNamespace(path=f"{n}.csv", size=10 if n == "a" else 20) for n in "abc"]
    monkeypatch.setattr(store_checks, "sound_mappings", lambda _: SimpleNamespace(names={}))
    monkeypatch.setattr(store_checks, "find_exports", lambda *_: files)
    workspace = SimpleNamespace(root=Path("w"), exports=Path("w/exports"))
    assert [(one.sentence, one.remedy) for one in store_checks._exports(workspace, con)] == [
        (
            "The file b.csv was set aside: It has no serial.",
            "Mend it, or draft a mapping: `limeledger map w/exports/b.csv w`.",
        ),
        (
            "The file c.csv was set aside: it could not be read.",
            "Mend it, or draft a mapping: `limeledger map w/exports/c.csv w`.",
        ),
    ]


def test_entries_are_asked_for_the_rows_that_they_left_out(
    monkeypatch: pytest.MonkeyPatch, con: duckdb.DuckDBPyConnection
) -> None:
    """Those of a joined file by its own rows; one of whole sheets by all that the sheets held."""
    con.execute(
        "create table file_parts as select *, file = 'torn.csv' as is_whole from (values "
        "('m.toml', 'a.csv', '', '', 100, 7), ('m.toml', 'torn.csv', '', '', 9, 0), "
        "('m.toml', 'b.xlsx', 'Old', '', 50, 50), ('m.toml', 'n.csv', '', 'notes', 30, 2), "
        "('x.toml', 'z.csv', '', '', 9, 9)) t(mapping, file, sheet, joined_as, rows_read, left_out)"
    )
    con.execute(
        "create table parsed_left_out as select * from (values ('m.toml', 'a.csv', '', 0), "
        "('m.toml', 'a.csv', '', 0), ('m.toml', 'b.xlsx', 'Old', 1), ('m.toml', 'n.csv', '', 2), "
        "('x.toml', 'z.csv', '', 0)) t(mapping, file, sheet, entry)"
    )
    by_row, of_sheets = SimpleNamespace(is_of_sheets=False), SimpleNamespace(is_of_sheets=True)
    entries = [("", by_row), ("", of_sheets), ("notes", by_row)]
    mapping = SimpleNamespace(
        file="m.toml", name="m", joins=[SimpleNamespace(name="notes")], entries=entries
    )
    asked: list[tuple[object, ...]] = []

    def idle_entries(name: str, own: dict, left: dict, total: int) -> list[str]:
        asked.append((name, sorted(own), left, total))
        return [f"{total} rows."]

    monkeypatch.setattr(store_checks, "sound_mappings", lambda _: SimpleNamespace(all=[mapping]))
    monkeypatch.setattr(store_checks, "idle_entries", idle_entries)
    found = [one.sentence for one in store_checks._idle_entries(SimpleNamespace(), con)]
    assert asked == [("m", [0, 1], {0: 2, 1: 50}, 150), ("m", [2], {2: 1}, 30)]
    assert found == ["150 rows.", "30 rows."]


@pytest.mark.parametrize(
    ("free", "says"),
    [
        (2_000_000_000, None),
        (1_499_999_999, "1,500 MB are free, and a refresh may need 1,500 MB."),
        (1_500_000_000, None),
        (20_000_000, "20 MB are free, and a refresh may need 1,500 MB."),
    ],
)
def test_a_disk_that_is_nearly_full_is_told_in_megabytes(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, free: int, says: str | None
) -> None:
    """Three times the store here: 500 MB of it ask for 1,500 MB."""
    size = SimpleNamespace(st_size=500_000_000)
    database = SimpleNamespace(exists=lambda: True, stat=lambda: size)
    monkeypatch.setattr(workspace_checks, "SPACE_FACTOR", 3)
    monkeypatch.setattr(workspace_checks, "LEAST_SPACE_BYTES", 1_000)
    monkeypatch.setattr(workspace_checks.shutil, "disk_usage", lambda _: SimpleNamespace(free=free))
    workspace = SimpleNamespace(database=database, root=tmp_path)
    found = [one.sentence for one in workspace_checks._space(workspace)]
    assert found == ([] if says is None else [says])


def test_a_correction_whose_row_has_changed_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Those that are applied, or wait for their row, call for nobody."""
    states = [
        SimpleNamespace(state=state, stale_sentence=f"Is {state}.")
        for state in ("applied", "stale", "waiting")
    ]

    class Store:
        def __enter__(self) -> Store:
            return self

        def __exit__(self, *_: object) -> None:
            pass

    monkeypatch.setattr(desk_checks, "open_store", lambda _: Store())
    monkeypatch.setattr(desk_checks, "correction_states", lambda *_: states)
    desk = SimpleNamespace(workspace=None, settings=SimpleNamespace(timezone="UTC"))
    for made, says in ((["one"], ["Is stale."]), ([], [])):
        monkeypatch.setattr(desk_checks, "recorded_of", lambda _, m=made: SimpleNamespace(made=m))
        assert [one.sentence for one in desk_checks._corrections(desk)] == says


@pytest.mark.parametrize(
    ("seen", "last", "says"),
    [
        (None, 0, None),
        (0, 0, None),
        (7, 7, None),
        (7, 8, None),
        (7, 6, "up to event 7, and the desk ends at event 6."),
        (7, 0, "up to event 7, and desk/desk.sqlite is not there."),
    ],
)
def test_a_desk_that_was_lost_is_told(
    monkeypatch: pytest.MonkeyPatch,
    con: duckdb.DuckDBPyConnection,
    seen: int | None,
    last: int,
    says: str | None,
) -> None:
    """What was published of people's work and is there no more is told before it is gone."""
    if seen is not None:
        con.execute(f"create table register_seen as select {seen}::bigint as last_event")
    monkeypatch.setattr(desk_checks, "open_store", lambda _: contextlib.nullcontext(con))
    monkeypatch.setattr(desk_checks, "load_settings", lambda _: None)
    monkeypatch.setattr(desk_checks, "lost_desk", lambda *_: None)
    found = [*desk_checks._lost(SimpleNamespace(), last)]
    assert [one.weight for one in found] == ([] if says is None else ["fault"])
    assert all(one.sentence.endswith(says) for one in found)
