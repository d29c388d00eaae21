"""What open claims are expected to cost: their amounts if covered, times the share that was paid.

Belongs here: the share of claims that were open alike before. Does not belong here: which claims
are open (`measures`).
"""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipelines.coverage.calendar_days import add_months
from schemas.columns import CENTS
from schemas.months import LINES, SHARES, UNKNOWN

# So many settled claims are needed for a share of their own.
ENOUGH = 10
LOOK_BACK_MONTHS = 24
_SETTLED = ("covered", "covered_in_part", "not_covered")
# Cents times cents of a whole fleet need more than 64 bits.
_WIDE = pl.Int128


def reserved(
    opened: pl.DataFrame, decisions: pl.DataFrame, history: pl.DataFrame, end: dt.date
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Open claims with what they are expected to pay by line, and the shares that this rests on.

    The share of a verdict and cause class is what claims that had that verdict in the 24 months
    before, and are settled now, are to be paid, over what they would pay if covered; never above 1.
    With fewer than 10 such claims it is that of all cause classes, with fewer again it is 1. What
    is not covered either way, and what was claimed before, is expected to pay nothing.

    Args:
        opened: rows of `decisions` with `verdict_then`.
        decisions, history: all.
        end: the last day of the month.
    """
    since = pl.select(add_months(pl.lit(end), pl.lit(-LOOK_BACK_MONTHS))).item()
    before = (
        history.filter(
            (pl.col("as_of") > since)
            & (pl.col("as_of") <= end)
            & pl.col("to_verdict").is_not_null()
        )
        .select("claim", verdict_then="to_verdict")
        .unique()
    )
    settled = (
        decisions.filter(pl.col("standing").is_in(list(_SETTLED)))
        .join(before, on="claim")
        .with_columns(
            cause_class=pl.col("cause_class").fill_null(UNKNOWN),
            paid=_cents(*(f"{line}_standing" for line in LINES)),
            whole=_cents(*(f"{line}_if_covered" for line in LINES)),
        )
    )
    sums = {
        "rests_on": pl.len().cast(pl.Int64),
        "paid": pl.col("paid").sum(),
        "whole": pl.col("whole").sum(),
    }
    of_class = settled.group_by("verdict_then", "cause_class").agg(**sums)
    of_all = settled.group_by("verdict_then").agg(**sums)
    rated = (
        opened.with_columns(cause_class=pl.col("cause_class").fill_null(UNKNOWN))
        .join(of_class, on=["verdict_then", "cause_class"], how="left")
        .join(of_all, on="verdict_then", how="left", suffix="_of_all")
        .with_columns(**_chosen())
    )
    return _expected(rated), _as_shares(rated)


def _cents(*amounts: str) -> pl.Expr:
    """The sum of some amounts as whole cents."""
    return pl.sum_horizontal(_as_cents(pl.col(name)) for name in amounts)


def _as_cents(amount: pl.Expr) -> pl.Expr:
    return (amount.fill_null(0).cast(pl.Decimal(38, 2)) * 100).cast(_WIDE)


def _chosen() -> dict[str, pl.Expr]:
    """rests_on, paid and whole of the narrowest group with enough claims; 1 of 1 without one."""
    narrow = pl.col("rests_on").fill_null(0) >= ENOUGH
    broad = pl.col("rests_on_of_all").fill_null(0) >= ENOUGH
    one = pl.lit(1, _WIDE)

    def chosen(name: str, otherwise: pl.Expr) -> pl.Expr:
        return pl.when(narrow).then(name).when(broad).then(f"{name}_of_all").otherwise(otherwise)

    whole, paid = chosen("whole", one), chosen("paid", one)
    nothing = whole == 0  # claims without amounts say nothing of the share
    return {
        "rests_on": chosen("rests_on", pl.lit(0, pl.Int64)),
        "whole": pl.when(nothing).then(one).otherwise(whole),
        "paid": pl.when(nothing).then(one).otherwise(pl.min_horizontal(paid, whole)),
    }


def _expected(rated: pl.DataFrame) -> pl.DataFrame:
    """Adds `<line>`: to the cent, half away from zero."""
    nothing = (pl.col("if_settled") == "not_covered").fill_null(False) | pl.col(
        "duplicate_of"
    ).is_not_null()
    lines = {
        line: (2 * _as_cents(pl.col(f"{line}_if_covered")) * pl.col("paid") + pl.col("whole"))
        // (2 * pl.col("whole"))
        for line in LINES
    }
    return rated.with_columns(
        (pl.when(nothing).then(0).otherwise(cents).cast(pl.Decimal(38, 2)) / 100)
        .cast(CENTS)
        .alias(line)
        for line, cents in lines.items()
    )


def _as_shares(rated: pl.DataFrame) -> pl.DataFrame:
    return (
        rated.select(
            "cause_class",
            verdict="verdict_then",
            claims="rests_on",
            share=pl.col("paid").cast(pl.Float64) / pl.col("whole").cast(pl.Float64),
        )
        .unique()
        .select(pl.col(name).cast(kind) for name, kind in SHARES.items())
        .sort("verdict", "cause_class")
    )
