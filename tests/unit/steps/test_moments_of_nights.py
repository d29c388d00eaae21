"""Nights of one moment: where the clock is given it stands still."""

import datetime as dt
import shutil
from pathlib import Path

import pytest

from pipelines.store.database import read_frame
from pipelines.store.transaction import open_session
from pipelines.workspace.clock import VARIABLE
from tests.nights import KNOWN, make, publish

CASES = Path(__file__).parents[2] / "cases" / "worked_claims" / "workspace"


def test_nights_of_one_moment_have_a_history_of_their_own_each(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A claim that comes, goes and comes back has three rows, in that order and by its key."""
    folder = shutil.copytree(CASES, tmp_path / "workspace")
    monkeypatch.setenv(VARIABLE, "2026-01-10T12:00:00-07:00")
    for day in (dt.date(2025, 12, 31), dt.date(2023, 1, 1), dt.date(2025, 12, 31)):
        with open_session(folder, day, known=KNOWN) as session:
            make(session, "landed_exports", "record_tables", "claim_decisions")
            history = read_frame(session.con, "decision_history")
            publish(session)
    rows = history.sort("claim", "decided_at")
    one = rows.filter(claim=rows["claim"][0])
    assert [verdict is None for verdict in one["to_verdict"]] == [False, True, False]
    assert one["decided_at"][0] == dt.datetime(2026, 1, 10, 19)
    assert rows.height == rows.unique(["claim", "decided_at"]).height == 108
