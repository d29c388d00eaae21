"""One row a letter, from what is decided and what is on file about its claim.

Belongs here: putting the parts of a letter together. Does not belong here: the parts themselves
(the other modules of this package).
"""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipelines.coverage.money import LINES
from pipelines.coverage.standing import latest_rulings
from pipelines.letters.cautions import cautions
from pipelines.letters.documents import documents_of
from pipelines.letters.money import money_notes
from pipelines.letters.questions import questions_of
from pipelines.letters.reasons import deciding_findings
from pipelines.letters.wording import appeal, basis, decision, one_line
from schemas.columns import CENTS, TEXTS
from schemas.letters import LETTERS

_FROM_RECORDS = (
    "call", "agency", "agency_name", "agency_email", "serial", "model", "family", "site",
    "site_name", "cause", "cause_words", "edition", "ruling_reason", "part",
)  # fmt: skip
_OPEN = ("needs_evidence", "needs_review")


def letters_of(
    decisions: pl.DataFrame,
    findings: pl.DataFrame,
    facts: pl.DataFrame,
    rulings: pl.DataFrame,
    agencies: pl.DataFrame,
    *,
    maker: str,
    currency: str,
    as_of: dt.date,
) -> pl.DataFrame:
    """The letters of the claims in `decisions`, in the shape of `schemas.letters.LETTERS`.

    Args:
        decisions: the decisions to write about.
        findings: at least those of these claims.
        facts: of `coverage.claims.claims_of`, at least for these claims: the call's hours and
            rates, their caps, the cause's words, and the values of the terms.
        rulings: all that are seen as of the day; the latest of each claim stands.
        agencies: the reference file; the latest period tells name and address.
        maker, currency, as_of: as in the settings and the refresh.

    Returns:
        One row a claim, by claim.
    """
    only_facts = [name for name in facts.columns if name not in decisions.columns]
    claims = (
        decisions.join(facts.select("claim", *only_facts), on="claim", how="left")
        .drop("ruling")
        .join(_latest(rulings), on="claim", how="left")
        .join(addresses(agencies), on="agency", how="left")
        .with_columns(one_line(name) for name in _FROM_RECORDS)
        .with_columns(
            *(pl.col(f"{line}_amount_ruled").fill_null(False) for line in LINES),
            look_again="ruling_outdated",
        )
    )
    deciding = deciding_findings(claims, findings, as_of)
    claims = (
        claims.join(_requested_documents(claims, deciding), on="claim", how="left")
        .join(_questions(claims, deciding), on="claim", how="left")
        .join(_reasons_and_clauses(claims, deciding), on="claim", how="left")
        .with_columns(pl.col(name).fill_null(pl.lit([], dtype=TEXTS)) for name in _LISTS)
    )
    totals = [
        pl.sum_horizontal(f"{line}_{kind}" for line in LINES).cast(CENTS).alias(f"total_{kind}")
        for kind in ("claimed", "standing")
    ]
    return _with_sentences(claims.with_columns(*totals), maker, currency, as_of)


def _with_sentences(
    claims: pl.DataFrame, maker: str, currency: str, as_of: dt.date
) -> pl.DataFrame:
    """The sentences about the whole of each claim, in the letters' shape."""
    return (
        claims.with_columns(
            documents_due_on=pl.when(pl.col("documents").list.len() > 0).then("documents_due_on"),
            questions_due_on=pl.lit(None, pl.Date),
            reminded_on=pl.lit(None, pl.Date),
            decision=decision(currency),
            basis=basis(maker, as_of),
            appeal=appeal(),
            money_notes=money_notes(currency),
            cautions=cautions(_letter_text(), pl.col("cause_class")),
        )
        .select(pl.col(name).cast(kind) for name, kind in LETTERS.items())
        .sort("claim")
    )


_LISTS = ("reasons", "clauses", "documents", "forms", "document_clauses", "questions")


def _latest(rulings: pl.DataFrame) -> pl.DataFrame:
    """The latest ruling of each claim, its reason, and which lines it sets."""
    return latest_rulings(rulings).select(
        "claim",
        "ruling",
        "ruling_reason",
        ruled_on=pl.col("ruled_at").dt.date(),
        **{f"{line}_amount_ruled": pl.col(f"{line}_ruled").is_not_null() for line in LINES},
    )


def agency_names(agencies: pl.DataFrame) -> pl.DataFrame:
    """Every agency with every name that it has had (agency, name), that of its latest period last.

    So the last name of an agency is what it is called, and none of them is missed in hiding it.
    """
    has_name = pl.col("name").is_not_null()
    periods = agencies.sort("agency", has_name, "authorized_from", "name", nulls_last=False)
    return periods.select("agency", "name").unique(keep="last", maintain_order=True)


def addresses(agencies: pl.DataFrame) -> pl.DataFrame:
    """Name and address of each agency, by its latest period."""
    last = (pl.col("name", "email").drop_nulls().last()).name.prefix("agency_")
    return agencies.sort("agency", "authorized_from").group_by("agency").agg(last)


def _requested_documents(claims: pl.DataFrame, deciding: pl.DataFrame) -> pl.DataFrame:
    """claim, documents, forms, document_clauses: of claims that are open as they stand."""
    asking = claims.filter(pl.col("standing").is_in(_OPEN) & pl.col("ruling").is_null())
    first = deciding.filter(pl.col("outcome") == "unknown").unique(
        ["claim", "document"], keep="first", maintain_order=True
    )
    return (
        documents_of(asking)
        .join(
            first.select("claim", "document", "clause"),
            on=["claim", "document"],
            how="left",
            maintain_order="left",
        )
        .group_by("claim", maintain_order=True)
        .agg(
            documents="document",
            forms="form",
            document_clauses=pl.col("clause").fill_null(""),
        )
    )


def _questions(claims: pl.DataFrame, deciding: pl.DataFrame) -> pl.DataFrame:
    """claim, questions: of claims that are open as they stand."""
    asking = claims.filter(pl.col("standing").is_in(_OPEN) & pl.col("ruling").is_null())
    return questions_of(deciding.join(asking.select("claim"), on="claim", how="semi"))


def _reasons_and_clauses(claims: pl.DataFrame, deciding: pl.DataFrame) -> pl.DataFrame:
    """claim, reasons, clauses: the findings, but the ruling's reason alone where it differs."""
    differs = (pl.col("ruling") != pl.col("verdict")).fill_null(False)
    by_records = claims.filter(~differs).select("claim")
    return (
        deciding.join(by_records, on="claim", how="semi")
        .sort("claim", "position")
        .group_by("claim", maintain_order=True)
        .agg(reasons="reason", clauses="clause")
    )


def _letter_text() -> pl.Expr:
    """All that a letter tells of the failure and asks for, as one text."""
    lists = [pl.col(name).list.join(" ") for name in ("reasons", "documents", "forms")]
    texts = [pl.col(name) for name in ("cause_words", "part", "ruling_reason")]
    return pl.concat_str(*lists, *texts, separator=" ", ignore_nulls=True)
