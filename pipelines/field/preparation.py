"""How what every figure is computed from is put together from the tables of units.

Belongs here: laying out frames by unit and age. Does not belong here: what the bundle holds
(`context`), what is a failure or a day of the watch (`pipelines.units`).
"""

from __future__ import annotations

from datetime import date

import polars as pl

from pipelines.field.context import (
    FLEET,
    HISTORY_COLUMNS,
    UNIT_DIMENSIONS,
    UNKNOWN,
    WATERS,
    FieldContext,
    Grounds,
)
from pipelines.field.dimensions import OF_SPAN, OF_UNIT, words_of_failures
from pipelines.units.watch_spans import no_systems, watch_spans


def prepare(
    histories: pl.DataFrame,
    failures: pl.DataFrame,
    payable: pl.DataFrame,
    states: pl.DataFrame,
    doubtful: pl.DataFrame,
    as_of: date,
    waters: pl.DataFrame | None = None,
    spans: pl.DataFrame | None = None,
    grounds: Grounds | None = None,
) -> FieldContext:
    """The context of a whole fleet.

    Args:
        histories: serial and `HISTORY_COLUMNS` of all units.
        failures: of `units.time_at_risk.failures_inside`.
        payable: claim, parts_payable, labor_payable, travel_payable (of the decisions).
        states: serial, from_day, until_day, state (of `histories.treatment_states`).
        doubtful: serial, unsound, days, failures (of `units.time_at_risk.doubtful_exposure`).
        as_of: the as-of date.
        waters: of `units.water_of_days.waters_in_force`; None: no day is tested.
        spans: of `units.watch_spans.watch_spans`; None: from the two above, without products.
        grounds: what figures ask besides.
    """
    histories = _with_all_columns(histories)
    units = _units(histories)
    dims = units.select("serial", "unit", FLEET, *UNIT_DIMENSIONS, "watched_from", "watched_until")
    known_waters = _known_waters(histories, waters)
    laid = _placed_spans(units, spans, states, known_waters)
    known = _with_dimensions(failures, payable, units, laid)
    left_out = doubtful.join(units.select("serial", "region"), on="serial").sort("serial")
    return FieldContext(
        units,
        known,
        _placed_states(states, dims),
        left_out,
        known.clear(),
        as_of,
        waters=_placed_waters(histories, dims, known_waters),
        spans=laid,
        grounds=grounds or Grounds(),
    )


def _units(histories: pl.DataFrame) -> pl.DataFrame:
    """The units by serial, each with its number and dimensions."""
    done = pl.col("startup_completed_on").is_not_null()
    units = histories.select(
        "serial",
        pl.lit(0, pl.Int8).alias(FLEET),
        "family",
        pl.col("region").fill_null(UNKNOWN),
        profile="water_profile",
        startup=pl.when(done).then(pl.lit("done")).otherwise(pl.lit("not done")),
        watched_from="watched_from",
        watched_until="watched_until",
        watched_days="watched_days",
        clock_source="clock_source",
        clock_start="clock_start",
        unsound="unsound",
        coverage_base_end="coverage_base_end",
        coverage_end="coverage_end",
        extended_on="extended_on",
        retired_on="retired_on",
        shipped_on="shipped_on",
        site=_site(),
        profile_needs=pl.when(pl.col("water_profile") == "untested")
        .then(pl.lit("untested"))
        .when(pl.col("needs").list.len() > 0)
        .then(pl.col("needs").list.join("+"))
        .otherwise(pl.lit("none")),
        model=pl.col("model").fill_null(UNKNOWN),
        cold_supply=pl.col("cold_supply").fill_null(UNKNOWN),
        entry=pl.col("entry").fill_null(UNKNOWN),
        shipped=pl.col("shipped").fill_null(UNKNOWN),
        lot=pl.col("lot").fill_null("none"),
    )
    return units.sort("serial").with_row_index("unit")


def _placed_states(states: pl.DataFrame, dims: pl.DataFrame) -> pl.DataFrame:
    """The stretches of states of treatment by age."""
    return (
        states.join(dims, on="serial")
        .filter(pl.col("watched_from").is_not_null())
        .select(
            "serial",
            "unit",
            FLEET,
            *UNIT_DIMENSIONS,
            treatment="state",
            entry=(pl.col("from_day") - pl.col("watched_from")).dt.total_days(),
            exit=(pl.col("until_day") - pl.col("watched_from")).dt.total_days(),
            last=pl.col("until_day") == pl.col("watched_until"),
        )
        .sort("serial", "entry")
    )


def _with_dimensions(
    failures: pl.DataFrame, payable: pl.DataFrame, units: pl.DataFrame, spans: pl.DataFrame
) -> pl.DataFrame:
    """The failures with all dimensions of their unit and day, and what is payable."""
    money = ("parts", "labor", "travel")
    paid = payable.select("claim", *(pl.col(f"{line}_payable").alias(line) for line in money))
    if "part" not in failures.columns:
        failures = failures.with_columns(part=pl.lit(None, pl.String))
    return (
        _with_days(failures, spans)
        .join(_dimensions_of(units), on="serial")
        .join(paid, on="claim", how="left")
        .with_columns(pl.col(money).fill_null(0), **words_of_failures())
        .sort("call")
    )


def _dimensions_of(units: pl.DataFrame) -> pl.DataFrame:
    """What a failure takes of its unit; `entry` is an age in other frames, so `entered` here."""
    return units.select("serial", "unit", FLEET, "site", *OF_UNIT).rename({"entry": "entered"})


def _site() -> pl.Expr:
    return pl.coalesce(pl.format("at {}", pl.col("site")), "serial")


def _with_all_columns(histories: pl.DataFrame) -> pl.DataFrame:
    """Histories of fleets that know less of their units: what is missing is not known."""
    kinds: dict[str, pl.DataType] = {"needs": pl.List(pl.String), "clock_start": pl.Date()}
    return histories.with_columns(
        pl.lit(None, kinds.get(name, pl.String())).alias(name)
        for name in (*HISTORY_COLUMNS, "site")
        if name not in histories.columns
    )


def _known_waters(histories: pl.DataFrame, waters: pl.DataFrame | None) -> pl.DataFrame:
    """The waters in force; where none is told, every day is untested."""
    if waters is not None:
        return waters
    return histories.filter(pl.col("watched_days") > 0).select(
        "serial",
        from_on="watched_from",
        until_on="watched_until",
        sample=pl.lit(None, pl.String),
        needs=pl.lit("untested"),
        severity=pl.lit("untested"),
    )


def _placed_spans(
    units: pl.DataFrame, spans: pl.DataFrame | None, states: pl.DataFrame, waters: pl.DataFrame
) -> pl.DataFrame:
    """The stretches of the watch by age."""
    if spans is None:
        spans = watch_spans(waters, states, no_systems())
    if "installation" not in spans.columns:
        spans = spans.with_columns(installation=pl.lit("none"))
    begun = pl.col("watched_from")
    return (
        spans.join(units.select("serial", "unit", "watched_from", "watched_until"), on="serial")
        .filter(begun.is_not_null())
        .with_columns(
            entry=(pl.col("from_on") - begun).dt.total_days(),
            exit=(pl.col("until_on") - begun).dt.total_days(),
            last=pl.col("until_on") == pl.col("watched_until"),
        )
        .drop("watched_from", "watched_until")
        .sort("serial", "entry")
    )


def _with_days(failures: pl.DataFrame, spans: pl.DataFrame) -> pl.DataFrame:
    """The failures with what the span of their day says."""
    of_span = ("sample", *OF_SPAN)
    return failures.sort("age").join_asof(
        spans.select("serial", *of_span, age="entry").sort("age"),
        on="age",
        by="serial",
        check_sortedness=False,
    )


def _placed_waters(
    histories: pl.DataFrame, dims: pl.DataFrame, waters: pl.DataFrame
) -> pl.DataFrame:
    """The stretches of the waters by age, with the site and the unit dimensions of each."""
    sites = histories.select("serial", site=_site())
    begun = pl.col("watched_from")
    placed = waters.join(dims, on="serial").join(sites, on="serial")
    return placed.select(
        *(name for name in WATERS if name not in ("entry", "exit")),
        *(name for name in waters.columns if name.startswith("ratio_")),
        entry=(pl.col("from_on") - begun).dt.total_days(),
        exit=(pl.col("until_on") - begun).dt.total_days(),
    ).sort("serial", "entry")
