"""Readers of pages and store while refreshes run: each sees one refresh whole, never nothing."""

import functools
import hashlib
import threading
from pathlib import Path

import duckdb
import pytest

NIGHTS = 2
# Pages, a script and tables: some are written early, some late.
READ = (
    "index.html",
    "data.html",
    "assets/page.js",
    "data/row_accounts.csv",
    "data/decisions.parquet",
    "data/decision_history.csv",
)


def _pages(published: Path) -> tuple[str, ...] | None:
    """The manifest and hashes of some files; None where the pages were changed in between."""
    manifest = (published / "manifest.json").read_text()
    told = tuple(hashlib.sha256((published / name).read_bytes()).hexdigest() for name in READ)
    return (manifest, *told) if (published / "manifest.json").read_text() == manifest else None


def _store(database: Path) -> tuple[str, int, int]:
    """When the store was refreshed, and how much of two tables that are written far apart."""
    con = duckdb.connect(str(database), read_only=True)
    try:
        found = con.execute(
            "select (select published_at from store_state), "
            "(select count(*) from units), (select count(*) from unit_histories)"
        ).fetchone()
    finally:
        con.close()
    assert found is not None
    return found


def _deliver(workspace: Path, number: int) -> None:
    header = (workspace / "exports/units/register.csv").read_text().splitlines()[0]
    row = f"K000{number},CO-1,2024-01-02,2024-01-10,2024-01-20,SITE-16,Kitchen,US-NM,00000,"
    (workspace / f"exports/units/more_{number}.csv").write_text(f"{header}\n{row}\n")


def test_readers_see_the_old_or_the_new_and_never_half(workspace, start, script):
    """By path, over several nights: no file is ever missing, and none is of another refresh."""
    published, database = workspace / "published", workspace / "store" / "limeledger.duckdb"
    seen_pages, seen_stores = [_pages(published)], [_store(database)]
    known_pages, known_stores = set(seen_pages), set(seen_stores)
    over, faults = threading.Event(), []

    def keep_reading(read, source: Path, seen: list) -> None:
        try:
            while not over.is_set():
                found = read(source)
                if found is not None:
                    seen.append(found)
        except Exception as error:
            faults.append(error)

    readers = [
        threading.Thread(target=keep_reading, args=(_pages, published, seen_pages)),
        threading.Thread(target=keep_reading, args=(_store, database, seen_stores)),
    ]
    for reader in readers:
        reader.start()
    try:
        for number in range(NIGHTS):
            _deliver(workspace, number)
            process = start(functools.partial(exec, script(workspace), {}))
            process.join(120)
            assert process.exitcode == 1
            known_pages.add(_pages(published))
            known_stores.add(_store(database))
    finally:
        over.set()
        for reader in readers:
            reader.join()
    assert faults == []
    assert len(known_pages) == len(known_stores) == NIGHTS + 1
    assert set(seen_pages) == known_pages
    assert set(seen_stores) == known_stores
    units = sorted(count for _, count, _ in known_stores)
    assert units == list(range(units[0], units[0] + NIGHTS + 1))
    assert all(found[1] == found[2] for found in known_stores)


@pytest.mark.parametrize("name", ["store/limeledger.duckdb", "published"])
def test_a_reader_that_began_before_keeps_what_it_opened(workspace, run, day, no_figures, name):
    """A file that is open while the new one takes its name is read to its end as it was."""
    path = workspace / name
    path = path / "data" / "decisions.csv" if path.is_dir() else path
    before = path.read_bytes()
    with path.open("rb") as file:
        _deliver(workspace, 7)
        assert run("refresh", workspace, "--as-of", day).code == 1
        assert file.read() == before
