"""Which claims a person checks: a seeded sample, stratified by verdict and money.

Belongs here: strata, how many of each, and which. Does not belong here: what is shown of a claim.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from schemas.codes import MONEY_BANDS

STRATUM = ("computed", "band")
# Two of a stratum show how claims within it differ; one alone cannot.
_LEAST = 2


def with_strata(decisions: pl.DataFrame) -> pl.DataFrame:
    """Every claim with its stratum: the computed verdict and the third of what is claimed.

    Args:
        decisions: claim, verdict, parts_claimed, labor_claimed, travel_claimed (exact).

    Returns:
        claim, computed, band. A band holds the lower, middle or upper third of all claims by the
        amount claimed; equal amounts are never parted.
    """
    drawable = decisions.select(
        "claim",
        computed="verdict",
        claimed=pl.sum_horizontal("parts_claimed", "labor_claimed", "travel_claimed"),
    )
    if drawable.is_empty():
        return drawable.select("claim", "computed", band=pl.lit(None, pl.String))
    amounts = drawable["claimed"].sort()
    low, high = (amounts[max(0, -(-drawable.height * part // 3) - 1)] for part in (1, 2))
    small, middle, large = MONEY_BANDS
    band = (
        pl.when(pl.col("claimed") <= low)
        .then(pl.lit(small))
        .when(pl.col("claimed") <= high)
        .then(pl.lit(middle))
        .otherwise(pl.lit(large))
    )
    return drawable.select("claim", "computed", band=band)


def allocate(sizes: Sequence[int], sample: int) -> list[int]:
    """How many to draw from strata of these sizes, `sample` in all where there are so many.

    First two from each stratum, as far as the sample goes, the largest strata first; then in
    proportion to what is left of each, by largest remainders (an earlier stratum first in a tie).
    """
    wanted = min(sample, sum(sizes))
    order = sorted(range(len(sizes)), key=lambda place: (-sizes[place], place))
    drawn = [0] * len(sizes)
    for _ in range(_LEAST):
        for place in order:
            if sum(drawn) < wanted and drawn[place] < sizes[place]:
                drawn[place] += 1
    left = [size - taken for size, taken in zip(sizes, drawn, strict=True)]
    more, total = wanted - sum(drawn), sum(left)
    if more:
        shares = [divmod(more * size, total) for size in left]
        drawn = [taken + share for taken, (share, _) in zip(drawn, shares, strict=True)]
        by_rest = sorted(range(len(sizes)), key=lambda place: (-shares[place][1], place))
        for place in by_rest[: wanted - sum(drawn)]:
            drawn[place] += 1
    return drawn


def draw(claims: pl.DataFrame, sample: int) -> pl.DataFrame:
    """A stratified sample, in an order that tells nothing of the strata.

    Args:
        claims: claim, computed, band, ticket. The ticket is a hash of seed and claim, so that
            neither the order of the rows nor other claims decide whether one is drawn before
            another of its stratum.
        sample: how many to draw.

    Returns:
        claim, computed, band, stratum_claims, stratum_drawn, in order of the tickets.
    """
    ranked = claims.sort("ticket", "claim").with_columns(
        stratum_claims=pl.len().over(STRATUM).cast(pl.Int64),
        place=pl.int_range(pl.len()).over(STRATUM),
    )
    strata = ranked.group_by(STRATUM).agg(size=pl.len()).sort(STRATUM)
    counts = allocate(strata["size"].to_list(), sample)
    return (
        ranked.join(
            strata.select(*STRATUM, stratum_drawn=pl.Series(counts, dtype=pl.Int64)),
            on=STRATUM,
            maintain_order="left",
        )
        .filter(pl.col("place") < pl.col("stratum_drawn"))
        .select("claim", *STRATUM, "stratum_claims", "stratum_drawn")
    )
