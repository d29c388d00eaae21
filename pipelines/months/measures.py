"""What happened in a month, and what stands at its end: one function a measure.

Belongs here: which claims, rulings and credits count, with which amounts. Does not belong here:
shares (`shares`), closing and adjustments (`closing`).

Each gives one row a claim (or ruling, or credit): claim, the dimensions, `<line>`, and verdict or
person where the measure has them.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.coverage.history import publication_of
from pipelines.months.calendar import Month
from pipelines.months.shares import reserved
from schemas.columns import CENTS
from schemas.months import DIMENSIONS, GONE, LINES, ROWS, UNKNOWN

OPEN = ("needs_evidence", "needs_review")


@dataclass(frozen=True)
class Books:
    """The tables that a month is told from, as of the last refresh.

    rulings: those in force, with ruled_at, ruled_by and `<line>_granted`.
    credits: as posted, with credited_on.
    """

    decisions: pl.DataFrame
    history: pl.DataFrame
    rulings: pl.DataFrame
    credits: pl.DataFrame


def rows_of(books: Books, month: Month) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The rows of a month as they come out now, and the shares of its reserve.

    Returns:
        Rows in the shape of `schemas.months.ROWS` with state `now`, in the order of the measures;
        shares in that of SHARES.
    """
    opened = _open(books, month)
    expected, shares = reserved(opened, books.decisions, books.history, month.last)
    parts = {
        "decided": _decided(books, month),
        "ruled": _ruled(books, month),
        "approved": _approved(books, month),
        "paid": _credited(books, month).filter(_sum() >= 0),
        "taken_back": _credited(books, month).filter(_sum() < 0),
        "accrued": _accrued(books, month),
        "open": opened.with_columns(pl.col(f"{line}_claimed").alias(line) for line in LINES),
        "reserve": expected,
    }
    return pl.concat([_summed(name, part, month) for name, part in parts.items()]), shares


def _sum() -> pl.Expr:
    return pl.sum_horizontal(LINES)


def _in(column: str, month: Month) -> pl.Expr:
    return pl.col(column).cast(pl.Date).is_between(month.first, month.last)


def _of_claims(rows: pl.DataFrame, decisions: pl.DataFrame) -> pl.DataFrame:
    """The rows with the dimensions of their claims; unknown for one that is not on file."""
    return rows.join(decisions.select("claim", *DIMENSIONS), on="claim", how="left")


def _decided(books: Books, month: Month) -> pl.DataFrame:
    """Claims with a change in the month: the last one's verdict and amounts."""
    last = (
        books.history.filter(_in("as_of", month))
        .sort("claim", publication_of(books.history), "decided_at")
        .unique("claim", keep="last")
        .select(
            "claim",
            verdict=pl.col("to_verdict").fill_null(GONE),
            **{line: pl.col(f"{line}_payable") for line in LINES},
        )
    )
    return _of_claims(last, books.decisions)


def _ruled(books: Books, month: Month) -> pl.DataFrame:
    """Rulings made in the month, whether or not a later one stands: what they grant."""
    made = books.rulings.filter(_in("ruled_at", month)).select(
        "claim", person="ruled_by", **{line: pl.col(f"{line}_granted") for line in LINES}
    )
    return _of_claims(made, books.decisions)


def _standing(books: Books) -> pl.DataFrame:
    """Claims that are approved, with what is to be paid."""
    pays = pl.col("standing").is_in(["covered", "covered_in_part"]) | (
        pl.sum_horizontal(f"{line}_standing" for line in LINES) > 0
    )
    return books.decisions.filter(pays).select(
        "claim",
        "standing_since",
        *DIMENSIONS,
        **{line: pl.col(f"{line}_standing") for line in LINES},
    )


def _approved(books: Books, month: Month) -> pl.DataFrame:
    """Claims that came to be approved as they are in the month."""
    return _standing(books).filter(_in("standing_since", month))


def _credited(books: Books, month: Month) -> pl.DataFrame:
    """Credits posted in the month, as posted."""
    posted = books.credits.filter(_in("credited_on", month)).select("claim", **_amounts())
    return _of_claims(posted, books.decisions)


def _amounts() -> dict[str, pl.Expr]:
    return {line: pl.col(f"{line}_amount").fill_null(0).cast(CENTS) for line in LINES}


def _accrued(books: Books, month: Month) -> pl.DataFrame:
    """What is approved by the month's end and not credited by then, line by line."""
    credited = (
        books.credits.filter(pl.col("credited_on") <= month.last)
        .select("claim", **_amounts())
        .group_by("claim")
        .agg(pl.col(line).sum().alias(f"{line}_credited") for line in LINES)
    )
    rest = {
        line: (pl.col(line) - pl.col(f"{line}_credited").fill_null(0)).clip(lower_bound=0)
        for line in LINES
    }
    return (
        _standing(books)
        .filter(pl.col("standing_since") <= month.last)
        .join(credited, on="claim", how="left")
        .with_columns(**rest)
        .filter(_sum() > 0)
    )


def _open(books: Books, month: Month) -> pl.DataFrame:
    """Claims that were open at the month's end: every column of `decisions`, and `verdict_then`."""
    then = (
        books.history.filter(pl.col("as_of") <= month.last)
        .sort("claim", publication_of(books.history), "decided_at")
        .unique("claim", keep="last")
        .select("claim", verdict_then="to_verdict")
        .filter(pl.col("verdict_then").is_in(list(OPEN)))
    )
    ruled = books.rulings.filter(pl.col("ruled_at").cast(pl.Date) <= month.last)
    return (
        books.decisions.filter(pl.col("opened_on") <= month.last)
        .join(then, on="claim")
        .join(ruled, on="claim", how="anti")
    )


def _summed(measure: str, rows: pl.DataFrame, month: Month) -> pl.DataFrame:
    """One row for each combination that occurs."""
    labelled = rows.with_columns(
        month=pl.lit(str(month)),
        measure=pl.lit(measure),
        state=pl.lit("now"),
        adjusts=pl.lit(None, pl.String),
        verdict=pl.col("verdict") if measure == "decided" else pl.lit(None, pl.String),
        person=pl.col("person") if measure == "ruled" else pl.lit(None, pl.String),
        **{name: pl.col(name).fill_null(UNKNOWN) for name in DIMENSIONS},
    )
    names = [name for name, kind in ROWS.items() if kind == pl.String]
    return (
        labelled.group_by(names)
        .agg(
            claims=pl.col("claim").n_unique().cast(pl.Int64),
            **{line: pl.col(line).fill_null(0).cast(CENTS).sum() for line in LINES},
        )
        .with_columns(total=pl.col("parts") + pl.col("labor") + pl.col("travel"))
        .select(pl.col(name).cast(kind) for name, kind in ROWS.items())
        .sort(names, nulls_last=True)
    )
