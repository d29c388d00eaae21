"""Records as they would be with a fact: what each kind of fact changes in a hypothesis's copy.

Belongs here: one change of records a kind. Does not belong here: which facts are worth a try
(`candidates`).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import polars as pl

from pipelines.counterfactuals.hypothetical_water_tests import water_tests
from pipelines.counterfactuals.overlays import added, any_of, facts_of, overlaid
from pipelines.counterfactuals.record_copies import SOME_AGENCY, STATED_CAUSE, marked
from pipelines.coverage import Evidence
from pipelines.coverage.calendar_days import add_days
from pipelines.coverage.evidence import citation
from pipelines.terms import Terms
from pipelines.terms.shape import GAS_READING
from schemas import codes

UNIT_DAYS = ("installed_on", "purchased_on", "retired_on")
CALL_DAYS = ("failed_on", "completed_on", "claimed_on")
_OF_STARTUPS = ("startup_requested", "startup_completed", "startup_after_shipment", "reading")
# So many cartridges outlast any failure date.
_PLENTY = 10_000
# Before any installation, at a neighbor's too.
_LONG_AGO = pl.lit(date(1900, 1, 1))
_SHORTEST_MONTH = 28


def changed(evidence: Evidence, facts: pl.DataFrame, terms: Terms) -> Evidence:
    """The copies of `record_copies.copies` with each state's facts put in.

    Args:
        evidence: the copies.
        facts: one row a state and fact, with the columns of `candidates.FACTS`, `state` and
            `source`; a state has one fact of a kind at the most.
        terms: all editions, for the limits that a hypothetical test keeps.
    """
    facts = facts.with_columns(serial=marked("source"), claim=marked("claim"))
    return replace(
        evidence,
        units=_units(evidence.units, facts),
        startups=_startups(evidence.startups, facts, terms),
        water_tests=water_tests(evidence.water_tests, facts, terms),
        treatment_purchases=_purchases(evidence, facts),
        service_calls=_calls(evidence, facts),
    )


def _units(units: pl.DataFrame, facts: pl.DataFrame) -> pl.DataFrame:
    for name in UNIT_DAYS:
        units = overlaid(units, facts_of(facts, name), "serial", name)
    return units


def _startups(startups: pl.DataFrame, facts: pl.DataFrame, terms: Terms) -> pl.DataFrame:
    """A request or a completion on the unit's reports, or on one of its own where it has none."""
    if not any_of(facts, *_OF_STARTUPS):
        return startups
    requested = facts_of(facts, "startup_requested")
    done = facts_of(facts, "startup_completed")
    unreported = facts.select("serial").unique().join(startups, on="serial", how="anti")
    first = pl.col("report") == pl.col("report").sort_by(
        pl.col("completed_on").is_null(), "completed_on", "report"
    ).first().over("serial")
    days = facts.select("serial").unique()
    for name, rows in (
        ("_requested", requested),
        ("_done", done),
        ("_read", facts_of(facts, "startup_after_shipment")),
    ):
        days = days.join(rows.select("serial", pl.col("day").alias(name)), on="serial", how="left")
    known = startups.join(days, on="serial", how="left", maintain_order="left").with_columns(
        # A report without a request date counts with its completion, whatever that becomes.
        requested_on=pl.when(pl.col("_requested").is_not_null())
        .then(pl.min_horizontal("requested_on", "_requested"))
        .otherwise("requested_on"),
        completed_on=pl.when(first & pl.col("_done").is_not_null())
        .then(pl.min_horizontal("completed_on", "_done"))
        .when(pl.col("completed_on") < pl.col("_read"))
        .then("_read")
        .otherwise("completed_on"),
    )
    known = _readings(known.drop("_requested", "_done", "_read"), facts, terms)
    new = [
        requested.join(unreported, on="serial", how="semi").select(
            "serial", report=pl.lit("~request"), requested_on="day"
        ),
        done.join(unreported, on="serial", how="semi").select(
            "serial", report=pl.lit("~completion"), requested_on="day", completed_on="day"
        ),
    ]
    return added(known, pl.concat(new, how="diagonal"))


def _readings(startups: pl.DataFrame, facts: pl.DataFrame, terms: Terms) -> pl.DataFrame:
    """The reading that the cause points to, within its limits on every report of the unit."""
    sound = facts_of(facts, "reading")
    if sound.is_empty():
        return startups
    limits = terms.installation_limits.with_columns(sound=pl.coalesce("min", "max"))
    for name in codes.READINGS:
        wanted = sound.filter(pl.col("text") == name).select("serial", "edition", "family")
        if wanted.is_empty():
            continue
        kind = startups.schema[name]
        gas = pl.col("gas") if name == GAS_READING else pl.lit(None, pl.String)
        value = (
            startups.join(wanted.with_columns(cause_names_it=True), on="serial", how="left")
            .with_columns(_gas=gas)
            .join(
                limits.filter(pl.col("reading") == name).select(
                    "edition", "family", "sound", _gas="gas"
                ),
                on=["edition", "family", "_gas"],
                how="left",
                nulls_equal=True,
                maintain_order="left",
            )
        )
        held = pl.lit(True) if kind == pl.Boolean else pl.coalesce("sound", name)
        if kind == pl.Int64:
            held = pl.col("sound").ceil().cast(pl.Int64)
        startups = value.with_columns(
            pl.when("cause_names_it").then(held).otherwise(name).alias(name)
        ).select(startups.columns)
    return startups


def _purchases(evidence: Evidence, facts: pl.DataFrame) -> pl.DataFrame:
    """Systems bought new, and cartridges for every system, more than enough."""
    if not any_of(facts, "order", "upkeep"):
        return evidence.treatment_purchases
    systems = (
        facts_of(facts, "order")
        .explode("items")
        .select("serial", "seller", product="items", ordered_on="day", quantity=pl.lit(1))
    )
    cartridges = evidence.treatments.filter(
        (pl.col("kind") == "cartridge") & pl.col("fits").is_not_null()
    ).select("product")
    stock = (
        facts_of(facts, "upkeep")
        .join(cartridges, how="cross")
        .select("serial", "seller", "product", ordered_on=_LONG_AGO, quantity=pl.lit(_PLENTY))
    )
    rows = pl.concat([systems, stock]).with_columns(
        order=pl.lit("~order"), line="product", condition=pl.lit("new")
    )
    return added(evidence.treatment_purchases, rows)


def _calls(evidence: Evidence, facts: pl.DataFrame) -> pl.DataFrame:
    calls = evidence.service_calls
    for name in CALL_DAYS:
        calls = overlaid(calls, facts_of(facts, name), "claim", name)
    for kind, name, value in (("agency", "agency", SOME_AGENCY), ("cause", "cause", STATED_CAUSE)):
        stated = facts_of(facts, kind).with_columns(text=pl.lit(value))
        calls = overlaid(calls, stated, "claim", name, "text")
    if any_of(facts, "only_claim", "other_cause"):
        calls = _judged_otherwise(calls, facts)
    if any_of(facts, "installed", "fitted_earlier"):
        calls = added(calls, _installed(evidence, facts))
    if any_of(facts, "delimings"):
        calls = added(calls, _delimings(facts))
    return calls


def _judged_otherwise(calls: pl.DataFrame, facts: pl.DataFrame) -> pl.DataFrame:
    """Without the claims that a person finds to be for this failure no longer, and earlier repairs
    that are found to be of another cause."""
    cited = facts.select("serial", "claim", "kind", cited="items").explode("cited")
    citable = calls.with_columns(cited=citation("service_calls"))
    others = facts_of(cited, "only_claim").join(
        citable.select("serial", "cited", other="claim"), on=["serial", "cited"]
    )
    gone = others.filter(pl.col("other") != pl.col("claim")).select("serial", "cited")
    held = facts_of(cited, "other_cause").select("serial", "cited", own="claim", held=pl.lit(True))
    return (
        citable.join(gone, on=["serial", "cited"], how="anti")
        .join(held, on=["serial", "cited"], how="left")
        .with_columns(
            cause=pl.when(
                pl.col("held") & (pl.col("claim").is_null() | (pl.col("claim") != pl.col("own")))
            )
            .then(None)
            .otherwise("cause")
        )
        .select(calls.columns)
    )


def _installed(evidence: Evidence, facts: pl.DataFrame) -> pl.DataFrame:
    """Every system fitted by a day; of those that were not bought it makes nothing."""
    fitted = [facts_of(facts, kind) for kind in ("installed", "fitted_earlier")]
    systems = evidence.treatments.filter(pl.col("kind") == "system").select("product")
    return (
        pl.concat(fitted)
        .sort("serial", "day")
        .unique("serial", keep="first", maintain_order=True)
        .join(systems, how="cross")
        .select(
            "serial",
            "product",
            call=pl.concat_str(pl.lit("~installation "), "product"),
            kind=pl.lit("treatment_install"),
            opened_on="day",
            completed_on="day",
            performed_by=pl.lit("technician"),
        )
    )


def _delimings(facts: pl.DataFrame) -> pl.DataFrame:
    """Delimings by a technician from the start of the warranty on, never too far apart."""
    apart = _SHORTEST_MONTH * pl.col("months")
    days = (pl.col("day") - pl.col("since")).dt.total_days()
    return (
        facts_of(facts, "delimings")
        .with_columns(apart=apart, turn=pl.int_ranges(0, days.floordiv(apart) + 1))
        .explode("turn")
        .select(
            "serial",
            product=pl.lit(None, pl.String),
            call=pl.format("~deliming {}", "turn"),
            kind=pl.lit("delime"),
            opened_on=add_days(pl.col("since"), pl.col("turn") * pl.col("apart")),
            completed_on=add_days(pl.col("since"), pl.col("turn") * pl.col("apart")),
            performed_by=pl.lit("technician"),
        )
    )
