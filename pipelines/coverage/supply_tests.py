"""Which water test counts for a claim, and what it calls for.

Belongs here: the complete supply test in force on the failure date, by site or serial, when the
first one was reported, needs and severity. Does not belong here: limits (`pipelines.water.limits`)
and what follows for the claim (`conditions.water_tested` and after).
"""

from __future__ import annotations

from functools import partial

import polars as pl

from pipelines.coverage.calendar_days import add_days
from pipelines.coverage.conditions.gates import WATER, settled_by_none
from pipelines.coverage.declarations import Fact
from pipelines.coverage.evidence import Evidence, citation
from pipelines.terms import Terms
from pipelines.water.limits import analyte_words, needs_of
from schemas import codes
from schemas.columns import TEXTS

_PAIR = ["edition", "family"]
_ORDER = ["test_sampled_on", "test_reported_on", "test_sample"]


def with_supply_test(claims: pl.DataFrame, evidence: Evidence, terms: Terms) -> pl.DataFrame:
    """Adds to each claim the test that counts on its failure date.

    Args:
        claims: claim, serial, site, edition, family, failed_on, clock_start, grace_days,
            always_treat, judged_by and cause_abilities.
        evidence: the water tests; treated samples are left aside.
        terms: all editions.

    Returns:
        claims with, from the latest complete supply test sampled by failed_on (null without one):
        test_sample, test_sampled_on, test_reported_on, test_source, test_outside (phrases),
        severity, needs (what the claim needs of a treatment), test_needs (what the water calls
        for), grace_until (last day to fit it); and, for the reason where there is none:
        partial_sample, partial_sampled_on, partial_source, partial_lacks (words), partial_missing
        (names), from the latest incomplete one, and later_sample, later_sampled_on, later_source
        from the first one after.
    """
    tests = _judged_tests(claims, evidence.water_tests, terms)
    complete, partial = tests.filter("complete"), tests.filter(~pl.col("complete"))
    test_columns = [
        *_ORDER,
        "test_source",
        "test_outside",
        "test_needs",
        "severity",
        "first_reported_on",
    ]
    partial_columns = [
        "partial_sample",
        "partial_sampled_on",
        "partial_source",
        "partial_lacks",
        "partial_missing",
    ]
    later_columns = ["later_sample", "later_sampled_on", "later_source"]
    reported = pl.col("test_reported_on")
    dated = complete.with_columns(first_reported_on=reported).sort("key", *_ORDER)
    dated = dated.with_columns(first_reported_on=reported.cum_min().over("key", "by", *_PAIR))
    lacking = partial.with_columns(
        partial_sample="test_sample",
        partial_sampled_on="test_sampled_on",
        partial_source="test_source",
        partial_lacks=analyte_words(pl.col("lacks")),
        partial_missing="lacks",
    )
    after = tests.with_columns(
        later_sample="test_sample", later_sampled_on="test_sampled_on", later_source="test_source"
    )
    nearest = (
        claims.select("claim", "serial", "site", "failed_on", *_PAIR)
        .pipe(_nearest, dated, test_columns, "backward")
        .pipe(_nearest, lacking, partial_columns, "backward")
        .pipe(_nearest, after, later_columns, "forward")
    )
    added = nearest.drop("serial", "site", "failed_on", *_PAIR)
    return claims.join(added, on="claim", how="left", maintain_order="left").pipe(with_needs)


def tests_of_units(units: pl.DataFrame, water_tests: pl.DataFrame, terms: Terms) -> pl.DataFrame:
    """Every supply test of every unit, by its site or its serial, in the order of decisions.md, 15.

    Args:
        units: serial, site, edition, family.
        water_tests: what is seen of the feed.

    Returns:
        serial, test_sample, test_sampled_on, test_reported_on (or sampled), complete, severity,
        test_needs; the Test of a day is the last complete one sampled by then.
    """
    judged = _judged_tests(units, water_tests, terms, in_words=False)
    columns = ["serial", *_ORDER, "complete", "severity", "test_needs"]
    return (
        pl.concat(
            units.select(*_PAIR, "serial", key=by)
            .join(judged.filter(pl.col("by") == by), on=["key", *_PAIR])
            .select(columns)
            for by in ("site", "serial")
        )
        .unique(["serial", "test_sample"])
        .sort("serial", *_ORDER)
    )


def _judged_tests(
    claims: pl.DataFrame, water_tests: pl.DataFrame, terms: Terms, *, in_words: bool = True
) -> pl.DataFrame:
    """Supply tests of the claims' sites and serials, once for each key and terms that ask.

    `by` tells which key it is: a test that names site and serial belongs to both. Without words
    there is no test_source either.
    """
    supply = water_tests.filter(
        (pl.col("point") == "supply") & pl.col("sampled_on").is_not_null()
    ).with_columns(test_reported_on=pl.coalesce("reported_on", "sampled_on"))
    pairs = pl.concat(_pairs(claims, supply, by) for by in _keys(claims))
    numbers = [*codes.ANALYTES, *(f"{name}_below" for name in codes.ANALYTES)]
    judged = needs_of(
        pairs.select("sample", *_PAIR)
        .unique()
        .join(supply.select("sample", *numbers), on="sample"),
        terms.water_limits,
        terms.values,
        in_words=in_words,
    ).select(
        "sample",
        *_PAIR,
        "severity",
        "complete",
        "lacks",
        test_needs="needs",
        test_outside=pl.col("outside").list.join(", "),
    )
    facts = supply.select(
        "sample",
        "test_reported_on",
        test_sampled_on="sampled_on",
        **({"test_source": citation("water_tests")} if in_words else {}),
    )
    return (
        pairs.join(judged, on=["sample", *_PAIR])
        .join(facts, on="sample")
        .rename({"sample": "test_sample"})
    )


def _keys(claims: pl.DataFrame) -> list[str]:
    """By what tests are the claims' units': by site too, where any has one."""
    return ["site", "serial"] if claims["site"].count() else ["serial"]


def _pairs(claims: pl.DataFrame, supply: pl.DataFrame, by: str) -> pl.DataFrame:
    """by, key, edition, family, sample: each test of a site or serial under each terms there."""
    held = supply.select("sample", key=by).filter(pl.col("key").is_not_null())
    sought = claims.select(by=pl.lit(by), key=by, edition="edition", family="family")
    # Most serials have no test of their own, so that few rows are left to be told apart.
    tested = sought.join(held.select("key"), on="key", how="semi")
    return tested.drop_nulls().unique().join(held, on="key")


def _nearest(
    claims: pl.DataFrame, tests: pl.DataFrame, columns: list[str], strategy: str
) -> pl.DataFrame:
    """Adds `columns` of the nearest test by site or by serial, whichever is nearer in order.

    Backward: the greatest in order that was sampled by the failure; forward: the first after it.
    """
    if tests.is_empty():
        nothing = (pl.lit(None, tests.schema[name]).alias(name) for name in columns)
        return claims.with_columns(nothing)
    backward = strategy == "backward"
    # One row a day first: an as-of join picks among equals without rule.
    daily = tests.sort("key", *_ORDER).unique(
        ["by", "key", *_PAIR, "test_sampled_on"], keep="last" if backward else "first"
    )
    right = daily.sort("test_sampled_on").with_columns(day=pl.col("test_sampled_on"))
    wanted = list(dict.fromkeys([*_ORDER, *columns]))
    candidates = []
    for by in _keys(claims):
        candidates.append(
            claims.select("claim", "failed_on", *_PAIR, key=pl.col(by))
            .filter(pl.col("key").is_not_null())
            .sort("failed_on")
            .join_asof(
                right.filter(pl.col("by") == by).select("key", *_PAIR, "day", *wanted),
                left_on="failed_on",
                right_on="day",
                by=["key", *_PAIR],
                strategy="backward" if backward else "forward",
                allow_exact_matches=backward,
                check_sortedness=False,
            )
            .filter(pl.col("test_sample").is_not_null())
            .select("claim", *wanted)
        )
    # 15: a test is the unit's by site or by serial; the greater of the two in order counts.
    both = pl.concat(candidates).sort("claim", *_ORDER)
    if "first_reported_on" in columns:
        both = both.with_columns(pl.col("first_reported_on").min().over("claim"))
    best = both.unique("claim", keep="last" if backward else "first").select("claim", *columns)
    return claims.join(best, on="claim", how="left")


def with_needs(claims: pl.DataFrame) -> pl.DataFrame:
    """Adds needs and grace_until; both null without a test.

    Reads test_needs, first_reported_on (which goes), always_treat, judged_by, cause_abilities,
    clock_start and grace_days.
    """
    water = pl.col("test_needs")
    always = pl.when(pl.col("always_treat")).then(pl.lit(["scale"], dtype=TEXTS))
    needs = pl.when(water.list.len() > 0).then(water).otherwise(pl.coalesce(always, water))
    # judged_by = "cause" narrows the needs only by a cause that lists abilities.
    listed = pl.col("cause_abilities")
    by_cause = (pl.col("judged_by") == "cause") & (listed.list.len() > 0)
    # Grace runs from the first complete test's report, or the clock start where that is later.
    first = pl.max_horizontal("first_reported_on", "clock_start")
    return claims.with_columns(
        needs=pl.when(by_cause)
        .then(needs.list.set_intersection(listed).list.sort())
        .otherwise(needs),
        grace_until=pl.when(pl.col("first_reported_on").is_not_null()).then(
            add_days(first, pl.col("grace_days"))
        ),
    ).drop("first_reported_on")


SUPPLY_TEST = Fact(
    (
        "test_sample", "test_sampled_on", "test_reported_on", "test_source", "test_outside",
        "severity", "needs", "test_needs", "grace_until",
        "partial_sample", "partial_sampled_on", "partial_source", "partial_lacks",
        "partial_missing",
        "later_sample", "later_sampled_on", "later_source",
    ),
    with_supply_test,
    partial(settled_by_none, WATER),
)  # fmt: skip
