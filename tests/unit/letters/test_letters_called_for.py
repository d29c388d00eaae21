"""Which kind of letter what stands of a claim calls for, to whom, and when it counts as another."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import polars as pl
import pytest

from pipelines.letters.matters import STANDING
from pipelines.letters.standing import standing_claims
from pipelines.terms.frames import DOCUMENTS_WITHIN_DAYS
from schemas.columns import MOMENT, polars_schema
from schemas.decisions import Decisions, Findings
from schemas.reference import REFERENCE_TABLES

DECISIONS, FINDINGS = polars_schema(Decisions), polars_schema(Findings)
AGENCIES = polars_schema(REFERENCE_TABLES["agencies"])
TERMS = pl.DataFrame({"edition": ["T1"], "family": ["F"], "documents_within_days": [20]})
AMOUNTS = {f"{line}_standing": Decimal(1) for line in ("parts", "labor", "travel")}


def frame(rows, schema) -> pl.DataFrame:
    """Rows with nulls for what they do not tell."""
    return pl.DataFrame([{n: r.get(n) for n in schema} for r in rows], schema=schema, orient="row")


def called_for(claim: dict, findings=(), ruled_at: dt.datetime | None = None) -> dict:
    """The row of one claim of agency A, whose unit is of an edition that gives 20 days."""
    base = AMOUNTS | {"claim": "K1", "agency": "A", "edition": "T1", "family": "F"}
    rulings = [{"claim": "K1", "ruled_at": ruled_at}] if ruled_at else []
    told = standing_claims(
        frame([base | claim], DECISIONS),
        frame([{"claim": "K1"} | one for one in findings], FINDINGS),
        frame(rulings, {"claim": pl.String, "ruled_at": MOMENT}),
        frame([{"agency": "A", "email": "a@a.test"}], AGENCIES),
        TERMS,
    )
    assert told.schema == STANDING
    return told.row(0, named=True)


DISPUTED = {"condition": "records_agree", "outcome": "disputed"}


@pytest.mark.parametrize(
    ("standing", "findings", "kind"),
    [
        ("covered", [], "decision"),
        ("covered_in_part", [], "decision"),
        ("not_covered", [], "decision"),
        ("needs_evidence", [], "documents"),
        ("needs_review", [], None),
        ("needs_review", [DISPUTED], "question"),
        ("needs_review", [{"condition": "records_agree", "outcome": "met"}], None),
        ("needs_review", [{"condition": "delimed", "outcome": "disputed"}], None),
        ("not_covered", [DISPUTED], "decision"),
        ("needs_evidence", [DISPUTED], "documents"),
    ],
)
def test_the_kind_follows_from_what_stands(standing, findings, kind) -> None:
    """A review is told outside only where the records contradict each other."""
    row = called_for({"standing": standing}, findings)
    assert row["kind"] == kind
    assert (row["basis"] is None) == (kind is None)


def test_a_ruling_goes_before_all_else() -> None:
    """Also over a claim under review; another moment or ruling is another basis."""
    first = dt.datetime(2026, 3, 1, 9)
    rows = [
        called_for({"standing": "needs_review", "ruling": ruling}, ruled_at=at)
        for ruling, at in (
            ("covered", first),
            ("covered", first + dt.timedelta(hours=1)),
            ("not_covered", first),
        )
    ]
    assert [row["kind"] for row in rows] == ["ruling"] * 3
    assert len({row["basis"] for row in rows}) == 3


def test_what_counts_as_told_before() -> None:
    """Standing, lead reason, missing documents and amounts make the basis, and nothing else."""
    same = {"standing": "needs_evidence", "lead_reason": "water_tested", "missing": "test"}
    basis = called_for(same)["basis"]
    assert (
        called_for(same | {"cause": "SCALED", "opened_on": dt.date(2026, 1, 1)})["basis"] == basis
    )
    for other in (
        {"lead_reason": "delimed"},
        {"missing": "log"},
        {"missing": None},
        {"parts_standing": Decimal(2)},
        {"labor_standing": Decimal(2)},
        {"travel_standing": Decimal(2)},
    ):
        assert called_for(same | other)["basis"] != basis, other


def test_days_and_address_are_those_of_edition_and_agency() -> None:
    """Else the days that the contract gives, and no address."""
    row = called_for({"standing": "covered"})
    assert (row["email"], row["within_days"], row["closes"]) == ("a@a.test", 20, False)
    row = called_for({"standing": "covered", "agency": "B", "edition": "T0"})
    assert (row["email"], row["within_days"]) == (None, DOCUMENTS_WITHIN_DAYS)
