"""Copies of what is on record about a claim, one for each hypothesis, side by side.

Belongs here: copying a claim with its unit's records under names of its own. Does not belong here:
changing anything in a copy (`hypothetical_records`).

A copy keeps nothing in common with another one, so that thousands of hypotheses can be decided at
once. What counts for a unit through its site (water tests, purchases, installations and cartridge
changes at a neighbor) is copied as the unit's own, which comes to the same.
"""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from pipelines.coverage import Evidence

SHARED_KINDS = ("treatment_install", "cartridge_change")
# Facts that name nobody: a cause or an agency of which only this much is known.
STATED_CAUSE = "~stated cause"
SOME_AGENCY = "~authorized agency"


def marked(column: str) -> pl.Expr:
    """A name that is the hypothesis's own."""
    return pl.concat_str("state", column)


def copies(evidence: Evidence, states: pl.DataFrame) -> Evidence:
    """The records of each state's claim, under the state's own serial, claim and sample numbers.

    Args:
        evidence: what is seen; the records of the claims' units and sites at least.
        states: state (texts of one length, unique), claim, call, source (the serial whose records
            are copied: the call's, or the one that it is corrected to).

    Returns:
        Evidence with one unit a state, serial and claim with `state` before them; other claims of
        the unit are copied along. Rulings are left out; the reference files stay.
    """
    sites = evidence.units.select(source="serial", site="site")
    placed = states.join(sites, on="source", how="left")
    startups = placed.drop("site").join(evidence.startups, left_on="source", right_on="serial")
    tests = _own_and_shared(placed, evidence.water_tests, "sample", by_site_only_without=False)
    bought = _own_and_shared(
        placed, evidence.treatment_purchases, "order", by_site_only_without=True
    )
    return replace(
        evidence,
        units=_units(placed, evidence.units),
        startups=_as_own(startups, evidence.startups),
        water_tests=_as_own(tests.with_columns(sample=marked("sample")), evidence.water_tests),
        treatment_purchases=_as_own(bought, evidence.treatment_purchases),
        service_calls=_calls(placed, evidence),
        rulings=evidence.rulings.clear(),
        causes=pl.concat([evidence.causes, stated_cause(evidence.causes)]),
        agencies=pl.concat([evidence.agencies, _some_agency(evidence.agencies)]),
    )


def stated_cause(causes: pl.DataFrame) -> pl.DataFrame:
    """The least demanding cause of the file, as one of which no more is known; none where every
    cause is excluded."""
    return (
        causes.filter(~pl.col("excluded"))
        .sort("water_related", pl.col("reading").is_not_null(), "cause")
        .head(1)
        .with_columns(cause=pl.lit(STATED_CAUSE))
    )


def _some_agency(agencies: pl.DataFrame) -> pl.DataFrame:
    one = pl.DataFrame({"agency": [SOME_AGENCY]}).with_columns(
        authorized_from=pl.lit("1900-01-01").str.to_date()
    )
    return pl.concat([agencies.clear(), one], how="diagonal")


def _as_own(rows: pl.DataFrame, like: pl.DataFrame) -> pl.DataFrame:
    """Rows as records of the state's unit, which has no neighbor."""
    own = rows.with_columns(serial=marked("source"))
    if "site" in like.columns:
        own = own.with_columns(site=pl.lit(None, pl.String))
    return own.select(like.columns)


def _units(placed: pl.DataFrame, register: pl.DataFrame) -> pl.DataFrame:
    """Each state's unit, and those that it took over from, whose clock it may carry on."""
    copied = placed.select("state", serial="source")
    before = register.select("serial", "replaces").drop_nulls()
    fresh = copied
    while fresh.height:
        fresh = (
            fresh.join(before, on="serial")
            .select("state", serial="replaces")
            .join(copied, on=["state", "serial"], how="anti")
        )
        copied = pl.concat([copied, fresh])
    return (
        copied.join(register, on="serial")
        .with_columns(
            serial=marked("serial"), replaces=marked("replaces"), site=pl.lit(None, pl.String)
        )
        .select(register.columns)
    )


def _own_and_shared(
    placed: pl.DataFrame, records: pl.DataFrame, key: str, *, by_site_only_without: bool
) -> pl.DataFrame:
    """Records of the unit by serial, and by site; by site only those without a serial, if so."""
    keys = placed.select("state", "source", "site")
    own = keys.drop("site").join(records.drop("site"), left_on="source", right_on="serial")
    shared = records
    if by_site_only_without:
        shared = shared.filter(pl.col("serial").is_null())
    by_site = keys.join(shared.drop("serial"), on="site").drop("site")
    columns = own.columns
    both = pl.concat([own, by_site.select(columns)])
    place = ["source_file", "source_sheet", "source_line"]
    return both.unique(["state", key, *place], maintain_order=True)


def _calls(placed: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """The unit's calls, the claim's own also where its serial is corrected, and what was done to a
    treatment at a neighbor."""
    calls = evidence.service_calls
    keys = placed.select("state", "source")
    of_unit = keys.join(calls, left_on="source", right_on="serial")
    claimed = placed.select("state", "source", "call").join(calls.drop("serial"), on="call")
    neighbors = evidence.units.select(neighbor="serial", site="site").filter(
        pl.col("site").is_not_null()
    )
    at_site = (
        placed.select("state", "source", "site")
        .join(neighbors, on="site")
        .filter(pl.col("neighbor") != pl.col("source"))
        .drop("site")
        .join(
            calls.filter(pl.col("kind").is_in(SHARED_KINDS)), left_on="neighbor", right_on="serial"
        )
    )
    columns = of_unit.columns
    every = pl.concat([of_unit, claimed.select(columns), at_site.select(columns)])
    return _as_own(
        every.unique(["state", "call"], maintain_order=True).with_columns(claim=marked("claim")),
        calls,
    )
