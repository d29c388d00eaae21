"""The archive looks at the claims that moved, and adds what looking at all of them adds."""

from __future__ import annotations

import datetime as dt
import shutil
from contextlib import closing

import pytest

from pipelines.store.archive import tables
from pipelines.store.archive.moved import AS_PUBLISHED, moved_claims
from pipelines.store.database import connect

AS_OF = dt.date(2025, 12, 31)
NEXT = 1_000  # a publication that comes after all others
# What is done to the tables of one claim in the working copy, or in both stores.
NOW = {
    "a verdict": "update decisions set verdict = 'other' where {0}",
    "money": "update decisions set parts_payable = parts_payable + 1 where {0}",
    "a reason": "update findings set reason = 'other' where {0} and position = 3",
    "no evidence": "update findings set evidence = [] where {0} and position = 4",
    "no finding": "delete from findings where {0} and position = 2",
    "other places": "update findings set position = 5 - position where {0} and position in (2, 3)",
    "a record": "update service_calls set notes = 'otherwise' where {0}",
    "a record gone": "delete from service_calls where {0}",
}
BEFORE = {
    "withdrawn": "insert into decision_archive by name select claim, 999 as publication, "
    "true as withdrawn from decisions where {0}",
    "never archived": "delete from decision_archive where {0}",
    "other records": "update decision_archive set considered = considered[2:] where {0}",
}
OF_ONE = "claim = 'W02'"


@pytest.fixture(scope="module")
def stores(claims, tmp_path_factory):
    """Copies of the published store: the last one, and the one in the making."""
    folder = tmp_path_factory.mktemp("archive")
    store = claims[0] / "store" / "limeledger.duckdb"
    return [shutil.copy(store, folder / f"{name}.duckdb") for name in ("last", "new")]


def added(stores, folder, patch, change, *, all_of_them=False):
    """The rows that the archive adds, their claims, and how many claims were looked at."""
    last, new = (shutil.copy(path, folder / path.name) for path in stores)
    if change in BEFORE:
        with closing(connect(last)) as con:
            con.execute(BEFORE[change].format(OF_ONE))
    looked = []

    def counted(con):
        if all_of_them:
            con.execute(f"delete from {AS_PUBLISHED}")
        looked.append(moved_claims(con))
        return looked[-1]

    patch.setattr(tables, "moved_claims", counted)
    with closing(connect(new, last=last)) as con:
        for sql in (known[change] for known in (NOW, BEFORE) if change in known):
            assert con.execute(sql.format(OF_ONE)).fetchall()[0][0] > 0
        frames = list(tables.archive_decisions(con, NEXT, AS_OF))
        claims = [claim for frame in frames for claim in frame["claim"]]
        query = f"from decision_archive where publication = {NEXT} order by claim"
        return con.execute(query).fetchall(), claims, sum(frame.height for frame in looked)


@pytest.mark.parametrize("change", [*NOW, *BEFORE])
def test_each_kind_of_change_is_seen(stores, tmp_path, monkeypatch, change):
    """What is added is what looking at every claim adds, and few others are looked at."""
    few = added(stores, tmp_path, monkeypatch, change)
    whole = added(stores, tmp_path, monkeypatch, change, all_of_them=True)
    assert few[:2] == whole[:2]
    assert "W02" in few[1]
    assert len(few[1]) <= few[2] < whole[2] / 2


def test_nothing_is_looked_at_where_nothing_changed(stores, tmp_path, monkeypatch):
    """Neither is a claim looked at, nor anything added."""
    assert added(stores, tmp_path, monkeypatch, None) == ([], [], 0)


def test_a_store_of_other_columns_has_all_looked_at(stores, tmp_path, monkeypatch):
    """What is in other columns is not compared by hashes; nothing is added for that alone."""
    with closing(connect(stores[0])) as con:
        con.execute("alter table findings rename column document to paper")
    try:
        few = added(stores, tmp_path, monkeypatch, None)
        assert few[:2] == ([], [])
        assert few[2] > 30
    finally:
        with closing(connect(stores[0])) as con:
            con.execute("alter table findings rename column paper to document")
