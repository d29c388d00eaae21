"""Figure 8: how earlier forecasts came out, and the model behind today's.

Belongs here: the tables `forecast_record` and `forecast_model`. Does not belong here: forecasts.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.forecast import days_made_on, forecasts
from pipelines.field.hindsight import by_arrival
from pipelines.field.outlook import Outlook, outlook
from pipelines.field.pending import EVERY_REASON, shares
from pipelines.field.poisson import Z_95
from pipelines.field.rate_model import RateModel
from pipelines.field.slices import ALL, FEWEST_FAILURES, LABELS

RECORD = (
    "as_of",
    "basis",
    "forecast",
    "actual",
    "bias",
    "year_inside_80",
    "year_inside_95",
    "months_inside_80",
    "months_inside_95",
)
MODEL = ("term", "used", "estimate", "low", "high", "p_value")
_STOOD_IN = "which rows had arrived was not kept yet: those opened or shipped by that day stand in"
_NO_ACTUAL = "bias cannot be told, because nothing failed"
_NO_SHARE = "none of the claims that waited has been decided: all decided ones stand in"


def forecast_record(context: FieldContext) -> pl.DataFrame:
    """One row a forecast of the past and basis: its bias, and the actual against its limits.

    bias = forecast / actual - 1; the months count after the year.
    """
    parts = [_of_day(context, day) for day in days_made_on(context, ()) if day < context.as_of]
    labels = {"by": pl.lit(ALL), **{name: pl.lit(ALL) for name in LABELS[1:]}}
    kinds = {
        "as_of": pl.Date(), "basis": pl.String(), "forecast": pl.Float64(), "actual": pl.Int64(),
        "bias": pl.Float64(), "year_inside_80": pl.Boolean(), "year_inside_95": pl.Boolean(),
        "months_inside_80": pl.Int64(), "months_inside_95": pl.Int64(), "thin": pl.Boolean(),
        "note": pl.String(),
    }  # fmt: skip
    empty = pl.DataFrame(schema=kinds)
    rows = pl.concat([empty, *(part.select(empty.columns) for part in parts)])
    return rows.select(*(word.alias(k) for k, word in labels.items()), *RECORD, "thin", "note")


def _of_day(context: FieldContext, day: date) -> pl.DataFrame:
    tables = forecasts(context, (), day)
    inside = {
        level: (
            (pl.col("actual") >= pl.col(f"low_{level}"))
            & (pl.col("actual") <= pl.col(f"high_{level}"))
        )
        for level in (80, 95)
    }
    months = (
        tables["months"]
        .group_by("basis")
        .agg(
            **{
                f"months_inside_{level}": held.sum().cast(pl.Int64)
                for level, held in inside.items()
            }
        )
    )
    note = None if by_arrival(context, day) else _STOOD_IN
    return (
        tables["year"]
        .join(months, on="basis", maintain_order="left")
        .with_columns(
            forecast=pl.col("failures"),
            bias=pl.when(pl.col("actual") > 0).then(pl.col("failures") / pl.col("actual") - 1),
            **{f"year_inside_{level}": held for level, held in inside.items()},
            note=pl.concat_str(
                pl.when(pl.col("actual") == 0).then(pl.lit(_NO_ACTUAL)),
                "note",
                pl.lit(note, pl.String),
                separator="; ",
                ignore_nulls=True,
            ),
        )
        .with_columns(note=pl.when(pl.col("note") != "").then("note"))
    )


def forecast_model(context: FieldContext) -> pl.DataFrame:
    """The terms of the model as of today: rate ratios, tests, dispersion, sales, shares."""
    prospects = outlook(context, context.as_of)
    rows = [*_rates(prospects.model), *_sales(prospects), *_shares(context)]
    kinds = dict.fromkeys(("estimate", "low", "high", "p_value"), pl.Float64())
    schema = {"term": pl.String(), "used": pl.Boolean(), **kinds, "note": pl.String()}
    table = pl.DataFrame(rows, schema=schema, orient="row")
    labels = {"by": pl.lit(ALL), **{name: pl.lit(ALL) for name in LABELS[1:]}}
    thin = pl.lit(prospects.failures.height < FEWEST_FAILURES)
    return table.select(
        *(word.alias(k) for k, word in labels.items()), *MODEL, thin.alias("thin"), "note"
    )


_Row = tuple[str, bool, float | None, float | None, float | None, float | None, str | None]


def _rates(model: RateModel | None) -> list[_Row]:
    if model is None:
        return []
    error = np.sqrt(model.dispersion * np.diag(model.fit.covariance))
    rows: list[_Row] = []
    for kind, levels in model.levels.items():
        rows += [(f"{kind}={level}", True, 1.0, None, None, None, "the others are compared with it")
                 for level in levels[:1]]  # fmt: skip
    tests = {"trend": (model.trend, model.trend_p), "month_of_year": (model.season, model.season_p)}
    for place, name in enumerate(model.names):
        if name in ("level", "trend"):
            continue
        at, wide = model.fit.terms[place], Z_95 * error[place]
        ratio_limits = np.exp([at, at - wide, at + wide]).tolist()
        rows.append((name, True, ratio_limits[0], ratio_limits[1], ratio_limits[2], None, None))
    for name, (used, chance) in tests.items():
        figures: tuple[float | None, float | None, float | None] = (None, None, None)
        if used and name == "trend":
            place = model.names.index("trend")
            at, wide = model.fit.terms[place], Z_95 * error[place]
            ratio, low, high = np.exp([at, at - wide, at + wide]).tolist()
            figures = (ratio, low, high)
        why = None if chance is not None else "not tested, because 24 months are not watched"
        rows.append((name, used, figures[0], figures[1], figures[2], chance, why))
    rows.append(("dispersion", True, model.dispersion, None, None, None, None))
    return rows


def _sales(prospects: Outlook) -> list[_Row]:
    rows: list[_Row] = []
    for name, own in prospects.shipments.items():
        mean = float(own.expected[1:].mean())
        rows.append((f"sales_a_month={name}", True, mean, None, None, None, None))
        trend = own.trend or (None, None, None)
        why = None if own.p_value is not None else "not tested, because 24 months are not on file"
        used = own.trend is not None
        rows.append((f"sales_trend={name}", used, trend[0], trend[1], trend[2], own.p_value, why))
    return rows


def _shares(context: FieldContext) -> list[_Row]:
    rows: list[_Row] = []
    for reason, share in shares(context).items():
        term = "pending_covered" if reason == EVERY_REASON else f"pending_covered={reason}"
        note = f"{share.covered} of {share.decided} decided" if share.decided else _NO_SHARE
        rows.append((term, True, share.share, share.low, share.high, None, note))
    return rows
