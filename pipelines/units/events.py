"""The dated events in the life of units, each as one sentence with the record it comes from.

Belongs here: laying records out as events. Does not belong here: judging them, or drawing them.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.evidence import Evidence, citation
from pipelines.coverage.treatment import purchases_for
from pipelines.records.repairs import repairs_of

COLUMNS = ("serial", "kind", "on", "label", "evidence")


def unit_events(evidence: Evidence, serials: pl.Series, unit_sellers: pl.DataFrame) -> pl.DataFrame:
    """All events of the named units, sorted by unit and day.

    Args:
        evidence: what is seen as of the day (`pipelines.coverage.evidence.seen`).
        serials: the units whose life is told.
        unit_sellers: serial, site, sellers (of the unit's terms).

    Returns:
        serial, kind, on, label, evidence; what belongs to a site is repeated for each unit there.
    """
    units = evidence.units.filter(pl.col("serial").is_in(serials.implode()))
    bought = purchases_for(
        unit_sellers.join(units, on="serial", how="semi"),
        evidence.treatment_purchases,
        evidence.treatments,
    )
    parts = [
        *_register(units),
        *_startups(evidence.startups.join(units, on="serial", how="semi")),
        _tests(units, evidence.water_tests),
        _purchases(bought),
        *_calls(evidence.service_calls.join(units, on="serial", how="semi")),
    ]
    return pl.concat(parts).filter(pl.col("on").is_not_null()).sort(COLUMNS)


def with_earlier_lives(events: pl.DataFrame, earlier: pl.DataFrame) -> pl.DataFrame:
    """The events of units with those of the units that they took over from.

    Args:
        events: of `unit_events`, of all units concerned.
        earlier: serial, earlier: each unit and every unit before it.

    Returns:
        The events with `earlier`, the unit whose life an event is of; null for the unit's own.
        What both lives share (the water of one site) is told once, as the unit's own.
    """
    before = (
        earlier.join(events, left_on="earlier", right_on="serial")
        # By its record, not by its words or day.
        .join(events, on=["serial", "kind", "evidence"], how="anti")
        .select(*COLUMNS, "earlier")
    )
    own = events.with_columns(earlier=pl.lit(None, pl.String))
    return pl.concat([own, before]).sort(*COLUMNS, "earlier")


def _event(
    frame: pl.DataFrame, kind: str, on: str, label: pl.Expr, source: pl.Expr
) -> pl.DataFrame:
    return frame.select("serial", kind=pl.lit(kind), on=pl.col(on), label=label, evidence=source)


def _register(units: pl.DataFrame) -> list[pl.DataFrame]:
    labels = {
        "shipped": ("shipped_on", "Shipped."),
        "purchased": ("purchased_on", "Purchased."),
        "installed": ("installed_on", "Installed."),
        "retired": ("retired_on", "Last day in service."),
    }
    return [
        _event(units, kind, column, pl.lit(text), citation("units"))
        for kind, (column, text) in labels.items()
    ]


def _startups(startups: pl.DataFrame) -> list[pl.DataFrame]:
    by = _by_agency()
    fitted = startups.filter(pl.col("treatment_product").is_not_null())
    source = citation("startups")
    return [
        _event(
            startups,
            "start-up requested",
            "requested_on",
            pl.format("Start-up asked for (report {}).", "report"),
            source,
        ),
        _event(
            startups,
            "start-up completed",
            "completed_on",
            pl.format("Start-up completed{} (report {}).", by, "report"),
            source,
        ),
        _event(
            fitted,
            "treatment fitted",
            "treatment_installed_on",
            pl.format("{} fitted, says start-up report {}.", "treatment_product", "report"),
            source,
        ),
    ]


def _tests(units: pl.DataFrame, tests: pl.DataFrame) -> pl.DataFrame:
    """Tests of the unit by its serial, or of its site."""
    by_serial = units.select("serial").join(tests.drop("site"), on="serial")
    by_site = units.select("serial", "site").join(tests.drop("serial"), on="site").drop("site")
    # A test that names both the unit and its site is told once.
    both = pl.concat([by_serial, by_site]).unique(["serial", "sample"], maintain_order=True)
    label = pl.format("Water sampled at the {} point (sample {}).", "point", "sample")
    return _event(both, "water test", "sampled_on", label, citation("water_tests"))


def _purchases(bought: pl.DataFrame) -> pl.DataFrame:
    label = pl.format("{} × {} ordered, {}, from {}.", "quantity", "product", "condition", "seller")
    return bought.select(
        "serial",
        kind=pl.when(pl.col("kind") == "cartridge")
        .then(pl.lit("cartridges bought"))
        .otherwise(pl.lit("treatment bought")),
        on="ordered_on",
        label=label,
        evidence="purchase_source",
    )


def _calls(calls: pl.DataFrame) -> list[pl.DataFrame]:
    by = _by_agency()
    source = citation("service_calls")
    product = pl.col("product").fill_null("treatment")
    labels = {
        "treatment_install": ("treatment fitted", pl.format("{} fitted{}.", product, by)),
        "cartridge_change": (
            "cartridge changed",
            pl.format("Cartridge of {} changed{}.", product, by),
        ),
        "delime": (
            "delimed",
            pl.format("Delimed by the {}.", pl.col("performed_by").fill_null("(not told)")),
        ),
        "inspection": ("inspection", pl.format("Inspected{}.", by)),
    }
    claimed = (
        pl.when(pl.col("claim").is_not_null())
        .then(pl.format(", claim {}", "claim"))
        .otherwise(pl.lit(", not claimed"))
    )
    cause = pl.col("cause").fill_null("no cause given")
    return [
        _event(
            repairs_of(calls),
            "repair",
            "failed_on",
            pl.format("Failed: {} (call {}{}).", cause, "call", claimed),
            source,
        ),
        *(
            _event(calls.filter(pl.col("kind") == word), kind, "completed_on", label, source)
            for word, (kind, label) in labels.items()
        ),
    ]


def _by_agency() -> pl.Expr:
    """` by AGENCY`, or nothing where none is named."""
    return (
        pl.when(pl.col("agency").is_not_null())
        .then(pl.format(" by {}", "agency"))
        .otherwise(pl.lit(""))
    )
