"""The history of computed decisions: what changed, when, and on which evidence.

Belongs here: rows to append and the fingerprint. Does not belong here: storing them; a row once
written is never changed.
"""

from __future__ import annotations

import hashlib
from dataclasses import asdict, dataclass
from datetime import datetime

import polars as pl

from pipelines.coverage.evidence import CITED_PARTS, Evidence, cited_parts, seen
from schemas.columns import CENTS, MOMENT, MOVES, TEXTS, polars_schema
from schemas.decisions import DecisionHistory
from schemas.feeds import FEED_TABLES

# Columns that feeds were given since: a record without one has the fingerprint that it had.
_ADDED = ("replaces",)
_STATE = ("condition", "outcome", "reason")
_PAYABLE = ("parts_payable", "labor_payable", "travel_payable")
_STANDING = ("parts_standing", "labor_standing", "travel_standing")


@dataclass(frozen=True)
class Grounds:
    """By which publication a change is told, and on which inputs (SHA-256 each); null: not told."""

    publication: int | None = None
    terms: str | None = None
    reference: str | None = None
    settings: str | None = None
    tool_version: str | None = None


def changes(
    previous_decisions: pl.DataFrame | None,
    previous_findings: pl.DataFrame | None,
    decisions: pl.DataFrame,
    findings: pl.DataFrame,
    evidence: Evidence,
    decided_at: datetime,
    grounds: Grounds = Grounds(),
) -> pl.DataFrame:
    """What to append to decision_history after a refresh.

    Args:
        previous_decisions, previous_findings: the tables of the refresh before; null at first.
        decisions, findings: those of this refresh.
        evidence: what they rest on, for the fingerprints and the as-of date.
        decided_at: when the refresh decided, UTC without zone.
        grounds: what the rows tell of the publication beside.

    Returns:
        One row, by claim, for each claim whose verdict, payable amounts or any finding's outcome
        or reason changed, that is new (no from_verdict) or gone (no to_verdict). `moved` lists the
        conditions that moved, in their order, and `moved_from_to` their outcomes; both are empty
        for a new claim and one that is gone. What a claim that is gone had is null.
    """
    before = _before(previous_decisions)
    after = decisions.select(
        "claim",
        "edition",
        "standing",
        *_PAYABLE,
        to_verdict="verdict",
        total_standing=pl.sum_horizontal(_STANDING),
    )
    both = before.join(after, on="claim", how="full", coalesce=True)
    old = previous_findings if previous_findings is not None else findings.clear()
    moved = _moved(old, findings, before.join(after, on="claim", how="semi"))
    changed = both.join(moved, on="claim", how="left").filter(
        pl.col("moved").is_not_null()
        | pl.col("from_verdict").is_null()
        | pl.col("to_verdict").is_null()
        | (pl.col("from_verdict") != pl.col("to_verdict"))
        | pl.any_horizontal(pl.col(name) != pl.col(f"{name}_before") for name in _PAYABLE)
    )
    claims = changed.filter(pl.col("to_verdict").is_not_null()).get_column("claim")
    prints = fingerprints(claims, findings, evidence)
    return (
        changed.join(prints, on="claim", how="left")
        .select(
            "claim",
            "from_verdict",
            "to_verdict",
            "edition",
            "standing",
            "total_standing",
            *_PAYABLE,
            pl.col("moved").fill_null(pl.lit([], dtype=TEXTS)),
            pl.col("moved_from_to").fill_null(pl.lit([], dtype=MOVES)),
            pl.col("fingerprint").fill_null(_digest("")),
            decided_at=pl.lit(decided_at, dtype=MOMENT),
            as_of=pl.lit(evidence.as_of, dtype=pl.Date),
            **{name: pl.lit(value) for name, value in asdict(grounds).items()},
        )
        .select(pl.col(name).cast(kind) for name, kind in polars_schema(DecisionHistory).items())
        .sort("claim")
    )


def publication_of(history: pl.DataFrame) -> pl.Expr:
    """The number by which rows of a history follow each other, 0 where none is told.

    The moments do not tell it: a clock may be put back, or a past be replayed by one that is given.
    """
    is_there = "publication" in history.columns
    number = pl.col("publication") if is_there else pl.lit(None, pl.Int64)
    return number.fill_null(0).alias("publication")


def fingerprints(claims: pl.Series, findings: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """A fingerprint of what the findings of `claims` rest on: claim, fingerprint.

    SHA-256 over the content of every record that the findings cite, each once, and the outcome and
    reason of each finding, all in sorted order. Where a record stands (file and line) is left out,
    so the same records in a new export give the same fingerprint.
    """
    rested = findings.filter(pl.col("claim").is_in(claims.implode()))
    cited = rested.select("claim", cited="evidence").explode("cited").unnest("cited").unique()
    contents = _contents(cited.select(CITED_PARTS).unique(), seen(evidence))
    return _fingerprints(rested, cited, contents)


def _before(decisions: pl.DataFrame | None) -> pl.DataFrame:
    """claim, from_verdict and the payable amounts of the refresh before."""
    schema = dict.fromkeys(_PAYABLE, CENTS)
    empty = pl.DataFrame(schema={"claim": pl.String, "verdict": pl.String, **schema})
    return (empty if decisions is None else decisions).select(
        "claim",
        *(pl.col(name).alias(f"{name}_before") for name in _PAYABLE),
        from_verdict="verdict",
    )


def _moved(old: pl.DataFrame, new: pl.DataFrame, kept: pl.DataFrame) -> pl.DataFrame:
    """The conditions that moved of the claims in both: claim, moved, moved_from_to; only claims
    with any."""

    def states(findings: pl.DataFrame) -> pl.DataFrame:
        # Hashes are compared within this process only; they spare a join of all findings.
        hashed = findings.select("claim", state=pl.struct(_STATE).hash())
        return hashed.join(kept, on="claim", how="semi").group_by("claim").agg(pl.sum("state"))

    differing = states(old).join(states(new), on=["claim", "state"], how="anti")
    now, then = (
        findings.join(differing, on="claim", how="semi").select("claim", "position", *_STATE)
        for findings in (new, old)
    )
    return (
        now.join(then, on=["claim", "condition"], how="left", suffix="_then")
        .filter(
            pl.col("outcome").ne_missing(pl.col("outcome_then"))
            | pl.col("reason").ne_missing(pl.col("reason_then"))
        )
        .sort("claim", "position")
        .group_by("claim", maintain_order=True)
        .agg(
            moved=pl.col("condition"),
            moved_from_to=pl.struct(
                "condition", pl.col("outcome_then").alias("from"), pl.col("outcome").alias("to")
            ),
        )
    )


def _contents(cited: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """The content of every cited record: feed, key, file, line, content."""
    parts = []
    for feed in FEED_TABLES:
        records: pl.DataFrame = getattr(evidence, feed)
        values = [name for name in records.columns if not name.startswith("source_")]
        places = records.select(cited_parts(feed)).with_row_index("row")
        cited_rows = places.join(cited, on=CITED_PARTS, how="semi")
        content = records[cited_rows["row"]].select(content=_as_text(feed, values))
        parts.append(pl.concat([cited_rows.select(CITED_PARTS), content], how="horizontal"))
    return pl.concat(parts)


def _as_text(feed: str, columns: list[str]) -> pl.Expr:
    texts = [pl.col(name).cast(pl.String) for name in columns if name not in _ADDED]
    added = [pl.col(name).cast(pl.String) for name in columns if name in _ADDED]
    whole = [pl.lit(feed), *(text.fill_null("") for text in texts), *added]
    return pl.concat_str(whole, separator="\x1f", ignore_nulls=True)


def _fingerprints(
    findings: pl.DataFrame, cited: pl.DataFrame, contents: pl.DataFrame
) -> pl.DataFrame:
    records = (
        cited.join(contents, on=CITED_PARTS)
        .group_by("claim")
        .agg(records=pl.col("content").sort().str.join("\n"))
    )
    results = (
        findings.sort("claim", "position")
        .group_by("claim", maintain_order=True)
        .agg(results=pl.concat_str(_STATE, separator="\x1f").str.join("\n"))
    )
    whole = results.join(records, on="claim", how="left").select(
        "claim", text=pl.concat_str("results", pl.col("records").fill_null(""), separator="\n\n")
    )
    # Polars has no digest that is the same on every machine; only changed claims come here.
    digests = [_digest(text) for text in whole.get_column("text")]
    return whole.select("claim", fingerprint=pl.Series(digests, dtype=pl.String))


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
