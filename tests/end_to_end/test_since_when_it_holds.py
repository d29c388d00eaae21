"""Since when what stands holds, from the desk through a refresh to the month and the archive."""

from __future__ import annotations

import contextlib
import datetime as dt
from dataclasses import replace
from decimal import Decimal

import duckdb
import pytest

from pipelines.actions import approve, rule, withdraw_ruling
from pipelines.events import open_desk
from pipelines.queries.deciding_now import decisions_now
from pipelines.queries.store_now import store_now
from pipelines.store.inputs import load_inputs
from pipelines.workspace.layout import Workspace
from tests.desks import caller

APPROVED, LATER, BACK, NEVER = "W08", "W05", "W10", "W01"


@pytest.fixture
def ruled(workspace):
    """Four claims ruled on in January: approved on the 5th; made again since; withdrawn on the
    7th; waiting until it was withdrawn."""
    with contextlib.closing(open_desk(Workspace.open(workspace))) as desk:
        asked = replace(desk, settings=replace(desk.settings, second_person_above=Decimal(0)))

        def act(action, day, actor="clara", second=True, **told):
            who = replace(caller(actor, None), as_of=dt.date(2026, 1, day))
            told = {"expected_version": "present", **told}
            return action(asked if second else desk, desk.workspace, who, **told)["event"]

        covered = {"ruling": "covered", "reason": "r"}
        first = act(rule, 2, claim=APPROVED, **covered, ruled_at="2025-12-30T23:30")
        act(approve, 5, "lea", event=first)
        second = act(rule, 2, claim=LATER, **covered, ruled_at="2025-12-30T23:30")
        act(approve, 5, "lea", event=second)
        act(rule, 6, claim=LATER, **covered, ruled_at="2026-01-03T08:00", second=False)
        back = act(rule, 6, claim=BACK, **covered, second=False)
        act(withdraw_ruling, 7, event=back, reason="slip")
        never = act(rule, 6, claim=NEVER, **covered)
        act(withdraw_ruling, 7, event=never, reason="slip")
    return workspace


def test_what_stands_holds_since_its_approval_or_withdrawal(ruled, run, day, no_figures, no_pages):
    """The desk, the tables, the month and the archive tell the same days."""
    expected = {
        APPROVED: dt.date(2026, 1, 5),
        LATER: dt.date(2026, 1, 3),
        BACK: dt.date(2026, 1, 7),
        NEVER: dt.date.fromisoformat(day),
    }
    with store_now(load_inputs(ruled, "2026-01-20")) as now:
        told = decisions_now(now, sorted(expected)).decisions
    assert dict(told.select("claim", "standing_since").iter_rows()) == expected
    # As of a day before the approval and the withdrawal these are not seen yet.
    with store_now(load_inputs(ruled, "2026-01-04")) as now:
        early = decisions_now(now, sorted(expected)).decisions
    assert dict(early.select("claim", "standing_since").iter_rows()) == expected | {
        APPROVED: dt.date(2025, 12, 30),
        BACK: dt.date.fromisoformat(day),
    }
    assert run("refresh", ruled, "--as-of", "2026-01-20").code == 1
    with duckdb.connect(str(ruled / "store" / "limeledger.duckdb"), read_only=True) as con:
        rows = con.sql("select claim, standing_since, standing, parts_standing from decisions")
        published = {claim: (since, *rest) for claim, since, *rest in rows.fetchall()}
    assert {claim: published[claim][0] for claim in expected} == expected
    approved = [
        row
        for row in run("month", "2026-01", ruled, "--json").json["rows"]
        if row["measure"] == "approved"
    ]
    counted = [
        claim
        for claim, (since, standing, paid) in published.items()
        if since >= dt.date(2026, 1, 1) and (standing.startswith("covered") or paid)
    ]
    assert {APPROVED, LATER} <= set(counted)
    assert sum(row["claims"] for row in approved) == len(counted)
    again = run("reproduce", "--all", ruled, "--decided", _today(ruled), "--json")
    assert (again.code, again.json["differs"]) == (0, [])
    assert again.json["claims"] == len(published)


def _today(workspace) -> str:
    """The day on which the last publication was made, where the workspace is."""
    with contextlib.closing(open_desk(Workspace.open(workspace))) as desk:
        return desk.today().isoformat()
