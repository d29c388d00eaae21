"""How well feeds find each other: for each column that names something, what finds nothing and why.

Belongs here: which columns name what, the counts, and the likely causes of misses. Does not belong
here: the sentences (`join_sentences`), using a likely value; nothing does, people read it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import polars as pl

from pipelines.records.spellings import likely
from schemas.codes import MISS_CAUSES

# The values of one side of a join: `written`, and of the naming side `file` and `line`.
NAMING_ROWS = pl.Schema({"written": pl.String(), "file": pl.String(), "line": pl.Int64()})


@dataclass(frozen=True)
class Join:
    """A column of a feed, what it names (a feed or reference file and its column).

    `rule` is the one that sets rows aside for a code that is not known; None where none does.
    """

    feed: str
    column: str
    other: str
    other_column: str
    rule: str | None = None

    @property
    def name(self) -> str:
        """As settings and people name it: the feed and its column."""
        return f"{self.feed}.{self.column}"

    @property
    def to(self) -> str:
        """What it names."""
        return f"{self.other}.{self.other_column}"


JOINS = (
    *(
        Join(feed, "serial", "units", "serial")
        for feed in ("startups", "water_tests", "treatment_purchases", "service_calls")
    ),
    *(Join(feed, "site", "units", "site") for feed in ("water_tests", "treatment_purchases")),
    *(Join(feed, "agency", "agencies", "agency") for feed in ("startups", "service_calls")),
    Join("startups", "treatment_product", "treatments", "product"),
    Join("service_calls", "product", "treatments", "product"),
    Join("treatment_purchases", "product", "treatments", "product", "unknown_product"),
    Join("service_calls", "cause", "causes", "cause", "unknown_cause"),
    Join("units", "model", "models", "model", "unknown_model"),
    Join("units", "region", "regions", "region"),
    *(Join(feed, "claim", "service_calls", "claim") for feed in ("rulings", "credits")),
)


class Bar(NamedTuple):
    """What a join must match at least, and of how many rows at least it is judged."""

    min_share: float
    min_rows: int
    shares: Mapping[str, float]

    def share_of(self, join: Join) -> float:
        """The least share of one join."""
        return self.shares.get(join.name, self.min_share)


def join_report(
    rows_of: Callable[[Join], pl.DataFrame], known: Callable[[Join], pl.Series], bar: Bar
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """What every join matches, and what it misses.

    Args:
        rows_of: gives the values of a join's column, a row each, in the shape of NAMING_ROWS; see
            `naming_rows`.
        known: the values of the other side.
        bar: from which share on a join is below.

    Returns:
        The tables `joins` and `join_misses` (`schemas.accounts`).
    """
    reports = [_one(join, rows_of(join), known(join), bar) for join in JOINS]
    return pl.concat([line for line, _ in reports]), pl.concat([misses for _, misses in reports])


def naming_rows(join: Join, records: pl.DataFrame, set_aside: pl.DataFrame) -> pl.DataFrame:
    """The rows that a join counts: records, and rows set aside for nothing but its code.

    Args:
        join: the join.
        records: lines of the feed's table, with the column, `source_file` and `source_line`.
        set_aside: the reasons of rows of the feed: file, sheet, line, value, rule.
    """
    rows = records.select(written=join.column, file="source_file", line="source_line")
    frames = [rows.filter(pl.col("written").is_not_null())]
    if join.rule is not None:
        alone = (pl.col("rule") == join.rule).all().over("file", "sheet", "line")
        frames.append(set_aside.filter(alone).select("file", "line", written="value"))
    return pl.concat([frame.select(NAMING_ROWS.names()).cast(NAMING_ROWS) for frame in frames])


def _one(
    join: Join, naming: pl.DataFrame, known: pl.Series, bar: Bar
) -> tuple[pl.DataFrame, pl.DataFrame]:
    other = known.drop_nulls().unique().sort().alias("written").cast(pl.String)
    missed = (
        naming.join(other.to_frame(), on="written", how="anti")
        .sort("file", "line")
        .group_by("written", maintain_order=True)
        .agg(
            rows=pl.len().cast(pl.Int64),
            first_file=pl.col("file").first(),
            first_line=pl.col("line").first(),
        )
    )
    causes = likely(missed["written"], other, digits_count=join.column == "serial")
    place = {"feed": join.feed, "column": join.column, "to": join.to}
    at = [pl.lit(value).alias(name) for name, value in place.items()]
    misses = (
        missed.join(causes, on="written", how="left")
        .with_columns(pl.col("cause").fill_null("unknown"), *at)
        .sort(["rows", "written"], descending=[True, False])
        .select(
            "feed", "column", "to", "written", "cause", "likely", "rows", "first_file", "first_line"
        )
    )
    of_cause = {cause: int(misses.filter(cause=cause)["rows"].sum()) for cause in MISS_CAUSES}
    return _line(place, naming.height, of_cause, bar.share_of(join), bar.min_rows), misses


def _line(
    place: dict[str, str], rows: int, of_cause: dict[str, int], min_share: float, min_rows: int
) -> pl.DataFrame:
    matched = rows - sum(of_cause.values())
    share = matched / rows if rows else None
    below = share is not None and rows >= min_rows and share < min_share
    line = {**place, "rows": rows, "matched": matched, "share": share, **of_cause}
    kinds = {"rows": pl.Int64, "matched": pl.Int64, "share": pl.Float64}
    return pl.DataFrame(
        [{**line, "min_share": min_share, "below": below}],
        schema_overrides={**kinds, **dict.fromkeys(MISS_CAUSES, pl.Int64), "min_share": pl.Float64},
    )
