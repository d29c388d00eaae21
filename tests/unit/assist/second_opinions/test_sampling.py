"""The blind sample: strata, how many of each, and that only seed and claim decide who is drawn."""

from __future__ import annotations

import hashlib
from decimal import Decimal

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.assist.second_opinions.sampling import allocate, draw, with_strata
from schemas.codes import MONEY_BANDS, VERDICTS


def decisions(amounts: list[int], verdicts: list[str]) -> pl.DataFrame:
    """Claims W0, W1 ... that claim these amounts for parts."""
    exact = [Decimal(amount) for amount in amounts]
    none = [Decimal(0)] * len(amounts)
    return pl.DataFrame(
        {
            "claim": [f"W{place}" for place in range(len(amounts))],
            "verdict": verdicts,
            "parts_claimed": exact,
            "labor_claimed": none,
            "travel_claimed": none,
        },
        schema_overrides=dict.fromkeys(
            ("parts_claimed", "labor_claimed", "travel_claimed"), pl.Decimal(18, 2)
        ),
    )


def ticketed(claims: pl.DataFrame, seed: str) -> pl.DataFrame:
    """Claims with the hash that the store makes of seed and claim."""
    tickets = [
        hashlib.sha256(f"{seed}\x1f{claim}".encode()).hexdigest() for claim in claims["claim"]
    ]
    return claims.with_columns(ticket=pl.Series(tickets, dtype=pl.String))


def test_bands_are_thirds_by_the_amount_claimed() -> None:
    """Nine amounts fall three by three; amounts that are equal never part."""
    told = with_strata(decisions([5, 1, 9, 2, 8, 3, 7, 4, 6], ["covered"] * 9))
    bands = dict(told.select("claim", "band").iter_rows())
    low, middle, high = MONEY_BANDS
    assert [bands[f"W{place}"] for place in (1, 3, 5)] == [low] * 3
    assert [bands[f"W{place}"] for place in (7, 0, 8)] == [middle] * 3
    assert [bands[f"W{place}"] for place in (6, 4, 2)] == [high] * 3
    assert set(with_strata(decisions([7] * 9, ["covered"] * 9))["band"]) == {low}
    assert with_strata(decisions([], [])).is_empty()


@pytest.mark.parametrize(
    ("sizes", "sample", "expected"),
    [
        ([100, 10, 1], 3, [1, 1, 1]),
        ([100, 10, 1], 5, [2, 2, 1]),
        ([100, 10, 1], 26, [21, 4, 1]),
        ([4, 4], 3, [2, 1]),
        ([5, 5], 6, [3, 3]),
        ([2, 3], 99, [2, 3]),
        ([7, 30], 1, [0, 1]),
        ([], 5, []),
    ],
)
def test_strata_have_two_each_then_their_share(sizes, sample, expected) -> None:
    """Two a stratum, the largest first, then by what is left: counted by hand."""
    assert allocate(sizes, sample) == expected


@given(st.lists(st.integers(1, 400), max_size=15), st.integers(1, 300))
def test_as_many_as_asked_for_are_drawn_and_no_more_than_there_are(sizes, sample) -> None:
    """Counts add up, stay within their strata, and leave none out where two each are asked for."""
    counts = allocate(sizes, sample)
    assert sum(counts) == min(sample, sum(sizes))
    assert all(0 <= count <= size for count, size in zip(counts, sizes, strict=True))
    if sample >= 2 * len(sizes):
        assert all(count >= min(2, size) for count, size in zip(counts, sizes, strict=True))


CLAIMS = st.lists(
    st.tuples(st.integers(0, 500), st.sampled_from(VERDICTS)), min_size=1, max_size=60
)


@given(CLAIMS, st.integers(1, 40), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_neither_order_nor_repetition_changes_a_draw(rows, sample, shuffle) -> None:
    """Claims in any order give the same sample in the same order; another seed another one."""
    told = with_strata(decisions([a for a, _ in rows], [v for _, v in rows]))
    one = draw(ticketed(told, "s"), sample)
    places = list(range(told.height))
    shuffle.shuffle(places)
    assert draw(ticketed(told[places], "s"), sample).equals(one)
    assert one.height == min(sample, told.height)
    assert one["claim"].is_unique().all()
    inside = told.join(one, on=["claim", "computed", "band"], how="semi")
    assert inside.height == one.height
    drawn = one.group_by("computed", "band").agg(
        pl.len().alias("n"), pl.col("stratum_drawn").first(), pl.col("stratum_claims").first()
    )
    assert (drawn["n"] == drawn["stratum_drawn"]).all()
    sizes = told.group_by("computed", "band").len("size")
    joined = drawn.join(sizes, on=["computed", "band"])
    assert (joined["size"] == joined["stratum_claims"]).all()


def test_a_new_claim_never_swaps_two_others() -> None:
    """Within a stratum, who comes before whom is settled by seed and claim alone."""
    few = with_strata(decisions([10] * 40, ["covered"] * 40))
    more = with_strata(decisions([10] * 60, ["covered"] * 60))
    first = draw(ticketed(few, "s"), 10)["claim"].to_list()
    second = draw(ticketed(more, "s"), 20)["claim"].to_list()
    kept = [claim for claim in second if claim in first]
    assert kept == [claim for claim in first if claim in second]
    assert first != draw(ticketed(few, "t"), 10)["claim"].to_list()


def test_the_order_of_a_sheet_tells_nothing_of_the_verdict() -> None:
    """Over many seeds, the first claim of a sheet is as often of either verdict as both are drawn.

    Half of the drawn are covered; among 200 seeds the count stays within four standard errors.
    """
    told = with_strata(decisions(list(range(100)), ["covered", "not_covered"] * 50))
    firsts = [draw(ticketed(told, str(seed)), 20)["computed"][0] for seed in range(200)]
    assert abs(firsts.count("covered") - 100) < 4 * (200 * 0.25) ** 0.5
