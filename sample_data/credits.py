"""What the books credited to the agencies, mostly what the desk decided.

Belongs here: the feed credits, and the few credits that went wrong on purpose. Does not belong
here: what a claim is worth; `tables/settled.csv` tells it for the committed sample (`settled`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import numpy as np
import polars as pl

from sample_data import AS_OF
from sample_data.columns import numbered
from sample_data.draws import Draws
from sample_data.editions import settled_claims
from sample_data.quirks import Quirk

LINES = ("parts", "labor", "travel")
CENTS = pl.Decimal(18, 2)
RUN_DAYS = (12, 26)  # of a month, on which the books post credits
UNDISTURBED_DAYS = 150  # a story needs so long to be over by the as-of date
# How many claims each story takes.
STORIES = {
    "never_credited": 6,
    "credited_twice": 2,
    "credited_too_much": 1,
    "labor_left_out": 2,
    "posted_anew": 2,
    "claim_misspelled": 1,
    "credited_though_not_covered": 2,
}


def credits(
    calls: pl.DataFrame, rulings: pl.DataFrame, seed: int
) -> tuple[pl.DataFrame, list[Quirk]]:
    """The feed credits, and what was planted in it.

    A claim is credited at the run that follows its filing (or its last ruling) by some weeks; of
    claims that were filed late in the sample no credit is posted yet.
    """
    draws = Draws(seed, "credits")
    claims = _claims(calls, rulings)
    lag = pl.Series("lag", draws.lag(18, 26, claims.height))
    claims = claims.with_columns(
        credited_on=_run_after(pl.col("decided_on") + pl.duration(days=lag))
    )
    due = claims.filter((pl.sum_horizontal(LINES) > 0) & pl.col("credited_on").is_not_null())
    old = pl.col("credited_on") <= AS_OF - dt.timedelta(days=UNDISTURBED_DAYS)
    fit = due.filter(old & pl.all_horizontal(pl.col(LINES) > 0))["claim"].to_numpy()
    denied = claims.filter(old & (pl.col("standing") == "not_covered") & (pl.col("asked") > 0))
    named = iter(_shuffled(fit, draws))
    chosen = {
        kind: [next(named) for _ in range(count)]
        for kind, count in STORIES.items()
        if kind != "credited_though_not_covered"
    }
    chosen["credited_though_not_covered"] = _shuffled(denied["claim"].to_numpy(), draws)[:2]
    posted = pl.concat([_plain(due, chosen), *_stories(claims, chosen)])
    posted = posted.filter(pl.col("credited_on") <= AS_OF).sort("credited_on", "claim", "turn")
    frame = posted.select(
        "claim",
        "credited_on",
        numbered("CR-", np.arange(posted.height) + 1, 5).alias("credit"),
        *(pl.col(line).cast(pl.String).alias(f"{line}_amount") for line in LINES),
    )
    return frame, [Quirk("credits", kind, "claim", len(named)) for kind, named in chosen.items()]


def _claims(calls: pl.DataFrame, rulings: pl.DataFrame) -> pl.DataFrame:
    """claim, standing, parts, labor, travel, asked (for parts), decided_on; sorted by claim."""
    last = rulings.group_by("claim").agg(pl.col("ruled_on").max())
    asked = pl.col("parts_amount").cast(CENTS).fill_null(0)
    return (
        settled_claims()
        .with_columns(pl.col(LINES).cast(CENTS))
        .join(calls.select("claim", "claimed_on", asked=asked), on="claim")
        .join(last, on="claim", how="left")
        .with_columns(decided_on=pl.max_horizontal("claimed_on", "ruled_on"))
        .with_columns(turn=pl.lit(0))
        .sort("claim")
    )


def _run_after(day: pl.Expr) -> pl.Expr:
    first, second = RUN_DAYS
    month = day.dt.truncate("1mo")
    return (
        pl.when(day.dt.day() <= first)
        .then(month + pl.duration(days=first - 1))
        .when(day.dt.day() <= second)
        .then(month + pl.duration(days=second - 1))
        .otherwise(month.dt.offset_by("1mo") + pl.duration(days=first - 1))
    )


def _shuffled(claims: np.ndarray, draws: Draws) -> list[str]:
    return claims[np.argsort(draws.uniform(len(claims)), kind="stable")].tolist()


_COLUMNS = ("claim", "credited_on", *LINES, "turn")


def _plain(due: pl.DataFrame, chosen: dict[str, list[str]]) -> pl.DataFrame:
    """One credit of what stands for every claim that is in no story, or paid before it begins."""
    other = ("credited_twice", "posted_anew")
    away = [claim for kind, named in chosen.items() if kind not in other for claim in named]
    return due.filter(~pl.col("claim").is_in(away)).select(_COLUMNS)


def _stories(claims: pl.DataFrame, chosen: dict[str, list[str]]) -> Iterator[pl.DataFrame]:
    """The credits that went wrong, and those that put a wrong one right."""

    def of(kind: str, days: int, turn: int, **lines: pl.Expr) -> pl.DataFrame:
        named = claims.filter(pl.col("claim").is_in(chosen[kind]))
        later = _run_after(pl.col("credited_on") + pl.duration(days=days))
        return named.with_columns(
            pl.lit(turn).alias("turn"), later.alias("credited_on"), **lines
        ).select(_COLUMNS)

    hundred = pl.lit(100).cast(CENTS)
    nothing = pl.lit(None).cast(CENTS)
    back = {line: (-pl.col(line)).cast(CENTS) for line in LINES}
    yield of("credited_twice", 20, 1)
    yield of("credited_too_much", 0, 0, parts=(pl.col("parts") + hundred).cast(CENTS))
    yield of("labor_left_out", 0, 0, labor=nothing)
    yield of("posted_anew", 10, 1, **back)
    yield of("posted_anew", 10, 2)
    # A letter too many: one digit more or less would be near several claims.
    yield of("claim_misspelled", 0, 0).with_columns(claim=pl.col("claim") + "A")
    asked = {"parts": pl.col("asked"), "labor": nothing, "travel": nothing}
    denied = of("credited_though_not_covered", 0, 0, **asked)
    yield denied
    # The first of the two was noticed, and taken back.
    yield (
        of(
            "credited_though_not_covered",
            40,
            1,
            **{**asked, "parts": (-pl.col("asked")).cast(CENTS)},
        )
        .sort("claim")
        .head(1)
    )
