"""By when missing documents are due: counted from the start of the verdict's present run."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from pipelines.coverage.documents_due import with_documents_due
from schemas.columns import polars_schema
from schemas.decisions import DecisionHistory

AS_OF = dt.date(2026, 6, 30)


def _claims(**more) -> pl.DataFrame:
    row = {
        "claim": "K1",
        "verdict": "needs_evidence",
        "missing": "cause of the failure",
        "ruling": None,
        "documents_within_days": 20,
    }
    schema = dict.fromkeys(row, pl.String) | {"documents_within_days": pl.Int64}
    return pl.DataFrame([row | more], schema=schema)


def _history(*entries: tuple[str, str | None], claim: str = "K1") -> pl.DataFrame:
    """Entries (as-of day, verdict after), each decided an hour after its day began."""
    rows = [
        {
            "claim": claim,
            "decided_at": dt.datetime.fromisoformat(f"{day}T01:00:00"),
            "as_of": dt.date.fromisoformat(day),
            "to_verdict": verdict,
            "moved": [],
            "fingerprint": "",
        }
        for day, verdict in entries
    ]
    return pl.DataFrame(rows, schema=polars_schema(DecisionHistory))


def _due(history: pl.DataFrame | None, **more) -> dt.date | None:
    return with_documents_due(_claims(**more), history, AS_OF)["documents_due_on"].item()


@pytest.mark.parametrize(
    ("entries", "asked"),
    [
        ([], AS_OF),
        ([("2026-05-01", "needs_evidence")], dt.date(2026, 5, 1)),
        # Other reasons for the same verdict do not give more time.
        ([("2026-05-01", "needs_evidence"), ("2026-05-20", "needs_evidence")], dt.date(2026, 5, 1)),
        # Another verdict in between does, and so does a claim that was gone.
        (
            [
                ("2026-03-01", "needs_evidence"),
                ("2026-04-01", "covered"),
                ("2026-05-09", "needs_evidence"),
                ("2026-05-20", "needs_evidence"),
            ],
            dt.date(2026, 5, 9),
        ),
        (
            [
                ("2026-03-01", "needs_evidence"),
                ("2026-04-01", None),
                ("2026-04-02", "needs_evidence"),
            ],
            dt.date(2026, 4, 2),
        ),
        # The verdict is new in this refresh.
        ([("2026-03-01", "needs_evidence"), ("2026-04-01", "covered")], AS_OF),
        ([("2026-03-01", "needs_review")], AS_OF),
        # A refresh as of an earlier day than one before it.
        ([("2026-07-15", "needs_evidence")], AS_OF),
    ],
)
def test_the_days_run_from_the_start_of_the_present_run(entries, asked) -> None:
    """Twenty days after the as-of day on which the verdict began to be what it is."""
    assert _due(_history(*entries)) == asked + dt.timedelta(days=20)


def test_without_a_history_they_run_from_the_as_of_day() -> None:
    """The first refresh asks for the documents today."""
    assert _due(None) == dt.date(2026, 7, 20)


def test_review_that_asks_for_a_document_has_a_day_too() -> None:
    """Whichever verdict carries a missing document gives it a day."""
    assert _due(None, verdict="needs_review") == dt.date(2026, 7, 20)


def test_thirty_days_where_no_terms_apply() -> None:
    """A claim without an edition has the default."""
    assert _due(None, documents_within_days=None) == dt.date(2026, 7, 30)


@pytest.mark.parametrize("more", [{"missing": None}, {"ruling": "covered"}])
def test_no_day_where_nothing_is_asked_for(more) -> None:
    """Nothing is missing, or a person has ruled: no document is due."""
    assert _due(_history(("2026-05-01", "needs_evidence")), **more) is None


def test_other_claims_and_the_order_of_rows_do_not_matter() -> None:
    """Each claim has its own run, whatever the order of the history's rows."""
    entries = [("2026-03-01", "covered"), ("2026-05-01", "needs_evidence")]
    mixed = pl.concat([_history(*entries), _history(("2026-02-01", "needs_evidence"), claim="K2")])
    claims = pl.concat([_claims(claim="K2"), _claims(), _claims(claim="K3")])
    for history in (mixed, mixed.reverse()):
        due = with_documents_due(claims, history, AS_OF)
        assert due["claim"].to_list() == ["K2", "K1", "K3"]
        assert due["documents_due_on"].to_list() == [
            dt.date(2026, 2, 21),
            dt.date(2026, 5, 21),
            dt.date(2026, 7, 20),
        ]


def test_the_history_is_in_the_order_of_its_publications() -> None:
    """The clock went back between the two: the one with the earlier moment is the later."""
    history = _history(("2026-03-01", "needs_evidence"), ("2026-03-09", "covered"))
    assert _due(history) == AS_OF + dt.timedelta(days=20)
    later = history.with_columns(publication=pl.Series([2, 1]))
    assert _due(later) == dt.date(2026, 3, 21)
