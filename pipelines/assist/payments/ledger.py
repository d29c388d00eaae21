"""One row a claim: what stands, what was credited, and how the two agree.

Belongs here: sums, states and their order. Does not belong here: reading credits
(`pipelines.records`), or what stands (`pipelines.coverage.standing`).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.evidence import cited_as_text
from pipelines.coverage.money import LINES, to_cents
from schemas.columns import CENTS, column_names
from schemas.payments import Payments

_EXACT = pl.Decimal(38, 6)
PAYING = ("covered", "covered_in_part")


def payments(
    decisions: pl.DataFrame, credits: pl.DataFrame, suggestions: pl.DataFrame
) -> pl.DataFrame:
    """The table `payments`, by claim.

    Args:
        decisions: the table of that name.
        credits: records of the feed as seen on the as-of date.
        suggestions: claim, suggestion: for credits of claims that are not on file.

    Returns:
        One row for each claim for which something stands to be paid or anything was credited.
    """
    standing = decisions.select(
        "claim", "serial", "region", "agency", "claimed_on", "standing",
        *(f"{line}_standing" for line in LINES),
    )  # fmt: skip
    names = suggestions.select("claim", claim_suggestion="suggestion")
    joined = standing.join(_credited(credits), on="claim", how="full", coalesce=True)
    zero = pl.lit(0).cast(CENTS)
    sums = [f"{line}_{kind}" for kind in ("standing", "credited") for line in LINES]
    return (
        joined.with_columns(pl.col(name).fill_null(zero) for name in sums)
        .with_columns(
            pl.col("credits").fill_null(0),
            pl.col("repeated").fill_null(False),
            total_standing=_total("standing"),
            total_credited=_total("credited"),
        )
        .filter((pl.col("total_standing") > 0) | (pl.col("credits") > 0))
        .with_columns(
            state=_state(),
            difference=_within(pl.col("total_credited") - pl.col("total_standing")),
        )
        .with_columns(
            lines_differ=(pl.col("state") == "paid")
            & pl.any_horizontal(
                pl.col(f"{line}_standing") != pl.col(f"{line}_credited") for line in LINES
            )
        )
        .join(names, on="claim", how="left")
        .select(column_names(Payments))
        .sort("claim")
    )


def _credited(credits: pl.DataFrame) -> pl.DataFrame:
    """The credits of each claim, added up exactly and brought to the cent at the end."""
    exact = credits.with_columns(
        pl.col(f"{line}_amount").cast(_EXACT).fill_null(0).alias(line) for line in LINES
    )
    summed = exact.group_by("claim").agg(
        *(to_cents(pl.col(line).sum()).alias(f"{line}_credited") for line in LINES),
        credits=pl.len().cast(pl.Int64),
        first_credited_on=pl.col("credited_on").min(),
        last_credited_on=pl.col("credited_on").max(),
        evidence=cited_as_text("credits").sort(),
    )
    return summed.join(_repeated(exact), on="claim", how="left")


def _repeated(exact: pl.DataFrame) -> pl.DataFrame:
    """Whether the same amounts, line by line, were credited more than once and not taken back."""
    back = pl.sum_horizontal(LINES) < 0
    counted = exact.select(
        "claim",
        *(pl.when(back).then(-pl.col(line)).otherwise(pl.col(line)).alias(line) for line in LINES),
        times=pl.when(back).then(-1).otherwise(1),
    )
    return (
        counted.group_by("claim", *LINES)
        .agg(pl.col("times").sum())
        .group_by("claim")
        .agg(repeated=(pl.col("times") > 1).any())
    )


def _total(kind: str) -> pl.Expr:
    return _within(pl.sum_horizontal(pl.col(f"{line}_{kind}").cast(_EXACT) for line in LINES))


def _within(amount: pl.Expr) -> pl.Expr:
    """The amount to the cent, no further from zero than the column holds."""
    return -to_cents(-to_cents(amount))


def _state() -> pl.Expr:
    """How what was credited agrees with what stands; the first that holds."""
    due, paid = pl.col("total_standing"), pl.col("total_credited")
    pays = pl.col("standing").is_in(PAYING) | (due > 0)
    return (
        pl.when(pl.col("serial").is_null())
        .then(pl.lit("claim_unknown"))
        .when((due == 0) & (paid <= 0))
        .then(pl.lit("taken_back"))
        .when(~pays & (pl.col("standing") == "not_covered"))
        .then(pl.lit("paid_though_not_covered"))
        .when(~pays)
        .then(pl.lit("paid_while_open"))
        .when(paid <= 0)
        .then(pl.lit("unpaid"))
        .when(paid < due)
        .then(pl.lit("paid_in_part"))
        .when(paid == due)
        .then(pl.lit("paid"))
        .when("repeated")
        .then(pl.lit("credited_twice"))
        .otherwise(pl.lit("overpaid"))
    )
