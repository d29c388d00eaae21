"""The order in which an hour is best spent: claims in groups, each with the reason for its place.

Belongs here: groups, order, and what each row tells beside its decision. Does not belong here:
verdicts, next steps (`next_steps`), or how rows are drawn.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from functools import reduce
from operator import add

import polars as pl

from pipelines.coverage.money import LINES
from pipelines.worklist.appeals import with_open_appeals
from schemas.columns import CENTS
from schemas.worklist import DESK, GROUPS, ORIGINAL

OPEN = ("needs_review", "needs_evidence")
HALF_WAY_DAYS = 30  # a claim whose limit is so far away counts half as much as one due today


def order_claims(
    decisions: pl.DataFrame,
    as_of: dt.date,
    *,
    reasons: pl.DataFrame | None = None,
    payments: pl.DataFrame | None = None,
    desk: pl.DataFrame | None = None,
    originals: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """The claims in working order, with the columns of `schemas.worklist.ADDED` beside their own.

    A claim is open where it needs evidence or review as it stands, where its ruling was overtaken
    by a new verdict, waits for a second person or was appealed. Open claims come by group, in the
    order of GROUPS; in each first what is overdue or whose hold ends today, then by money times
    nearness of the filing limit (30 / (30 + days left)); settled ones last, newest first.
    `at_stake` is what is claimed; for a claim that needs review, what it would pay once settled.

    Args:
        decisions: rows of `decisions`, in any order.
        as_of: the day on which it is looked at.
        reasons: claim, condition, reason: at least the finding that leads each decision.
        payments: rows of `payments`, for what was credited.
        desk: rows of `schemas.worklist.DESK`, what people did that is no decision.
        originals: decisions that hold the claims named in `duplicate_of`; None: `decisions` do.
    """
    desk = pl.DataFrame(schema=DESK) if desk is None else with_open_appeals(desk, decisions)
    rows = (
        decisions.join(desk.select(DESK.names()), on="claim", how="left")
        .join(_leads(decisions, reasons), on="claim", how="left")
        .join(
            _originals(decisions, decisions if originals is None else originals, payments),
            on="claim",
            how="left",
        )
        .with_columns(**_money_and_days(as_of))
        .with_columns(group=_group())
    )
    return in_order(rows.with_columns(reason=_reason(), why=_why()), as_of)


def _money_and_days(as_of: dt.date) -> Mapping[str, pl.Expr]:
    """What each row tells of money, days and documents."""
    # Added one by one: polars takes a horizontal sum for as narrow as its parts.
    claimed = reduce(add, (pl.col(f"{line}_claimed") for line in LINES)).cast(CENTS)
    days_left = (pl.col("file_by") - pl.lit(as_of)).dt.total_days()
    is_open = (
        pl.col("standing").is_in(list(OPEN))
        | pl.col("ruling_outdated")
        | pl.col("waiting_event").is_not_null()
        | pl.col("appealed_on").is_not_null()
    )
    return {
        "open": is_open,
        "at_stake": pl.when(pl.col("standing") == "needs_review")
        .then(pl.coalesce("payable_if_settled", claimed))
        .otherwise(claimed),
        "age_days": (pl.lit(as_of) - pl.coalesce("claimed_on", "opened_on")).dt.total_days(),
        "days_left": pl.when(days_left >= 0).then(days_left),
        "overdue": (pl.col("documents_due_on") < as_of).fill_null(False),
        "held": (pl.col("hold_until") > as_of).fill_null(False),
        "documents": pl.col("missing")
        .fill_null("")
        .str.split("; ")
        .list.eval(pl.element().filter(pl.element() != "")),
    }


def _group() -> pl.Expr:
    """The group of an open claim; null for a settled one."""
    documents = pl.col("documents").list.len()
    review = pl.col("standing") == "needs_review"
    asks_a_person = (
        pl.col("ruling_outdated")
        | pl.col("waiting_event").is_not_null()
        | pl.col("appealed_on").is_not_null()
    )
    cases = {
        "person": asks_a_person,
        "duplicates": review & pl.col("duplicate_of").is_not_null(),
        "settled_either_way": review & (pl.col("if_settled") == "not_covered").fill_null(False),
        "filing": ~review & pl.col("days_left").is_not_null(),
        "one_document": ~review & (documents == 1),
        "documents": ~review,
    }
    # Every other claim under review is a person's.
    group = pl.lit("person")
    for name, holds in reversed(cases.items()):
        group = pl.when(holds).then(pl.lit(name)).otherwise(group)
    return pl.when("open").then(group)


def in_order(rows: pl.DataFrame, as_of: dt.date) -> pl.DataFrame:
    """Rows of `order_claims`, in whatever order, in working order."""
    nearness = (
        pl.when(pl.col("days_left").is_not_null())
        .then(HALF_WAY_DAYS / (HALF_WAY_DAYS + pl.col("days_left")))
        .otherwise(1.0)
    )
    back = pl.col("overdue") | (pl.col("hold_until") == as_of).fill_null(False)
    place = pl.col("group").replace_strict(
        list(GROUPS), range(len(GROUPS)), default=len(GROUPS), return_dtype=pl.Int32
    )
    return (
        rows.with_columns(
            _place=place,
            _back=pl.col("open") & back,
            _weight=pl.when("open").then(pl.col("at_stake").cast(pl.Float64) * nearness),
        )
        .sort(
            "_place",
            "_back",
            "_weight",
            "failed_on",
            "claim",
            descending=[False, True, True, True, False],
            nulls_last=True,
        )
        .drop("_place", "_back", "_weight")
    )


def _leads(decisions: pl.DataFrame, reasons: pl.DataFrame | None) -> pl.DataFrame:
    """claim, lead_sentence: the reason of the finding that leads each decision."""
    if reasons is None:
        return pl.DataFrame(schema={"claim": pl.String, "lead_sentence": pl.String})
    return (
        decisions.select("claim", condition="lead_reason")
        .drop_nulls("condition")
        .join(
            reasons.select("claim", "condition", lead_sentence="reason"), on=["claim", "condition"]
        )
        .select("claim", "lead_sentence")
    )


def _originals(
    decisions: pl.DataFrame, originals: pl.DataFrame, payments: pl.DataFrame | None
) -> pl.DataFrame:
    """claim, original: of duplicates, what is known of the claim that comes first."""
    credited = pl.DataFrame(
        schema={"claim": pl.String, "total_credited": CENTS, "last_credited_on": pl.Date}
    )
    if payments is not None:
        credited = payments.select(credited.columns)
    amounts = [f"{line}_claimed" for line in LINES]
    first = originals.join(credited, on="claim", how="left").select(
        "standing",
        pl.col("total_credited").fill_null(0).cast(CENTS).alias("credited"),
        "last_credited_on",
        *(pl.col(name).alias(f"{name}_first") for name in amounts),
        duplicate_of="claim",
    )
    equal = pl.all_horizontal(pl.col(name) == pl.col(f"{name}_first") for name in amounts)
    return (
        decisions.select("claim", "duplicate_of", *amounts)
        .drop_nulls("duplicate_of")
        .join(first, on="duplicate_of")
        .with_columns(equal=equal)
        .select(
            "claim",
            original=pl.struct(
                pl.col("duplicate_of").alias("claim"),
                *(name for name in ORIGINAL if name != "claim"),
            ),
        )
    )


def _reason() -> pl.Expr:
    """The full reason: the lead finding's sentence, and what a person did before it."""
    lead = pl.col("lead_sentence").fill_null("")
    verdict = pl.col("verdict").str.replace_all("_", " ")
    said = [
        pl.when(pl.col("appealed_on").is_not_null()).then(
            pl.format("Appealed on {}: {}", "appealed_on", pl.col("appeal_reason").fill_null(""))
        ),
        pl.when(pl.col("waiting_event").is_not_null()).then(
            pl.format("A ruling by {} waits for a second person.", "waiting_by")
        ),
        pl.when("ruling_outdated").then(
            pl.format("Since the ruling the records have come to say: {}.", verdict)
        ),
        pl.when(lead != "").then(lead),
    ]
    return pl.concat_str(said, separator=" ", ignore_nulls=True)


def _why() -> pl.Expr:
    """Why a row stands where it stands, in a few words."""
    amount = _amount("at_stake")
    count = pl.col("documents").list.len()
    left = (
        pl.when(pl.col("days_left") == 0)
        .then(pl.lit("today is the last day to file"))
        .when(pl.col("days_left") == 1)
        .then(pl.lit("1 day to file"))
        .otherwise(pl.format("{} days to file", "days_left"))
    )
    words = {
        "person": pl.when("ruling_outdated")
        .then(pl.format("New records since the ruling; {} claimed", amount))
        .when(pl.col("waiting_event").is_not_null())
        .then(pl.format("A ruling waits for a second person; {} claimed", amount))
        .when(pl.col("appealed_on").is_not_null())
        .then(pl.format("Appealed; {} claimed", amount))
        .otherwise(pl.format("Needs a person; {} at stake", amount)),
        "filing": pl.format("{} at stake, {}", amount, left),
        "one_document": pl.format("One document short; {} at stake", amount),
        "documents": pl.when(count > 0)
        .then(pl.format("{} documents short; {} at stake", count, amount))
        .otherwise(pl.format("{} at stake", amount)),
        "duplicates": pl.format("Claimed before as {}; {} at stake", "duplicate_of", amount),
        "settled_either_way": pl.lit("Not covered whichever way the dispute is settled"),
    }
    why = pl.coalesce(
        pl.when(pl.col("group") == name).then(said) for name, said in words.items()
    ).fill_null("Settled")
    overdue = pl.when(pl.col("open") & pl.col("overdue")).then(pl.lit("; documents overdue"))
    return why + overdue.otherwise(pl.lit(""))


def _amount(column: str) -> pl.Expr:
    """Money to the cent with separators of thousands: `1,234.50`."""
    text = pl.col(column).cast(CENTS).cast(pl.String)
    whole = text.str.head(-3).str.reverse().str.replace_all(r"(\d{3})", "${1},").str.reverse()
    return whole.str.strip_chars_start(",") + text.str.tail(3)
