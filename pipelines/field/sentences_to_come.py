"""The sentences of what is to come: forecasts, their record, quarters of entry and theirs.

Belongs here: what these figures say. Does not belong here: the rule that names groups
(`sentences`), the figures.
"""

from __future__ import annotations

from collections.abc import Callable

import polars as pl

from pipelines.field.slices import ALL
from schemas import codes
from schemas.wording import counted

SentenceRow = tuple[str, str, str, str]
_BASES = {"installed": "units out by now", "sales": "units still to be shipped"}


def sentences_to_come(tables: Callable[[str], pl.DataFrame]) -> list[SentenceRow]:
    """figure, by, event, sentence; `tables` gives a figure by its name."""
    return [
        ("forecast_year", ALL, ALL, _year(tables("forecast_year"))),
        ("forecast", ALL, ALL, _model(tables("forecast_model"))),
        ("forecast_record", ALL, ALL, _record(tables("forecast_record"))),
        *(("cohorts", ALL, event, _quarters(tables("cohorts"), event)) for event in codes.EVENTS),
        *(
            ("completion_record", ALL, event, _completed(tables("completion_record"), event))
            for event in codes.EVENTS
        ),
    ]


def _year(table: pl.DataFrame) -> str:
    own = table.filter(pl.col("by") == ALL, pl.col("as_of") == pl.col("as_of").max())
    rows = {row["basis"]: row for row in own.to_dicts()}
    whole = rows.get("all")
    if whole is None or whole["failures"] is None or whole["low_95"] is None:
        return "What the next 12 months bring cannot be told yet."
    parts = [
        f"{rows[basis]['failures']:,.0f} from {words}"
        for basis, words in _BASES.items()
        if rows[basis]["failures"] is not None
    ]
    expected = counted(round(whole["failures"]), "failure is", "failures are")
    return (
        f"In the 12 months from {whole['month']:%Y-%m} on, {expected} "
        f"expected (95 %: {whole['low_95']:,.0f} to {whole['high_95']:,.0f}), "
        f"{' and '.join(parts)}."
    )


def _model(table: pl.DataFrame) -> str:
    used = dict(table.select("term", "used").rows())
    if "trend" not in used:
        return "There is no model yet, since nothing has failed in a month that is over."
    tested = {
        name: table.filter(pl.col("term") == name)["p_value"].item()
        for name in ("trend", "month_of_year")
    }
    words = {"trend": "trend", "month_of_year": "season"}
    effects = [words[name] for name in words if used[name]]
    if effects:
        return f"The forecast uses a {' and a '.join(effects)} beside family, water and age."
    if all(value is None for value in tested.values()):
        return "The forecast goes by family, water and age; trend and season need 24 months."
    return "The forecast goes by family, water and age; neither trend nor season stands out."


def _record(table: pl.DataFrame) -> str:
    made = table.filter(pl.col("basis") == "all").sort("as_of")
    records = made.drop_nulls("bias")
    if made.is_empty():
        return "No forecast has a record yet: 24 months of watch must lie before it."
    if records.is_empty():
        return (
            "No earlier forecast can be held against what came: nothing had failed by its day, or "
            "nothing did in its year."
        )
    biases = [f"{100 * bias:+.0f} %" for bias in records["bias"]]
    days = [f"{day:%Y-%m}" for day in records["as_of"].to_list()]
    span = f"Forecasts made as of {days[0]} to {days[-1]} were"
    if len(days) == 1:
        span = f"The forecast made as of {days[0]} was"
    inside = int(records["year_inside_95"].sum())
    months = int(records["months_inside_95"].sum())
    return (
        f"{span} off by {', '.join(biases)} over {'its' if len(days) == 1 else 'their'} year; "
        f"what came lay within the 95 % limits of the year in {inside} of {records.height}, "
        f"and of the month in {months} of {12 * records.height}."
    )


def _quarters(table: pl.DataFrame, event: str) -> str:
    """The newest quarter that has 12 months behind it, without a verdict on it."""
    own = table.filter(
        pl.col("by") == ALL,
        pl.col("event") == event,
        pl.col("months") == 12,
        pl.col("shown") & ~pl.col("immature") & ~pl.col("thin"),
    ).drop_nulls("mean_low")
    noun = "water-caused failures" if event == "water" else "failures"
    if own.is_empty():
        return f"No quarter of entry can be told at 12 months for {noun}."
    row = own.sort("cohort").row(-1, named=True)
    return (
        f"By 12 months the units of {row['cohort']}, the newest quarter that can be told, had "
        f"{row['mean_per_100']:.1f} {noun} ({row['mean_low']:.1f} to {row['mean_high']:.1f}) per "
        "100 units still watched."
    )


def _completed(table: pl.DataFrame, event: str) -> str:
    own = table.filter(pl.col("by") == ALL, pl.col("event") == event, pl.col("cells") > 0)
    if own.is_empty() or own["bias"].item() is None:
        return "No projection of a year ago can be held against what came."
    row = own.row(0, named=True)
    return (
        f"What was projected a year ago was off by {100 * row['bias']:+.0f} %; of "
        f"{counted(row['cells'], 'cell')} {100 * row['inside_95']:.0f} % lay within their 95 % "
        f"limits and {100 * row['inside_80']:.0f} % within their 80 % limits."
    )
