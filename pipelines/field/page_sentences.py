"""What figures say that compare no groups: totals, shares by an age, where a limit stands.

Belongs here: those sentences, from the figures' rows. Does not belong here: sentences that name a
group as higher or lower (`sentences`), notes on clocks and reports (`notes`).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import polars as pl

from pipelines.field.notes import figure_notes
from pipelines.field.slices import ALL
from schemas import codes
from schemas.wording import (
    ANALYTES,
    bracketed,
    counted,
    interval,
    listed,
    number,
    percent,
    percents,
)

SentenceRow = tuple[str, str, str, str]
Row = dict[str, Any]
_MOST = 3
_FEWEST_NAMED = 10
# A step's ratio beyond this means that next to nothing fails below it: no number tells more.
_BOUNDLESS = 1000
EVENT_WORDS = {"any": "failures", "water": "water-caused failures"}
# Under which figure the notes of `notes` stand.
_NOTED = {
    "rates": ("clock_starts", ALL),
    "regions": ("clock_starts", "region"),
    "cohorts": ("reporting_lags", ALL),
}
_NO_NAMES = pl.DataFrame(schema={"region": pl.String, "name": pl.String})


def page_sentences(tables: Callable[[str], pl.DataFrame]) -> list[SentenceRow]:
    """Figure, slice, event and sentence; `tables` gives a figure by its name."""
    notes = figure_notes(
        {name: tables(name) for name in ("clock_starts", "sensitivity", "reporting_lags")},
        _NO_NAMES,
    )
    return [
        *_whole(tables("rates")),
        *_curves(tables("standard_curves")),
        *_first(tables("first_causes")),
        *_steps(tables("dose_step")),
        *_costs(tables("costs")),
        *_agencies(tables("agency_figures")),
        *((*_NOTED[name], ALL, " ".join(sentences)) for name, sentences in notes.items()),
    ]


def event_words(event: str) -> str:
    """An event as the failures that it is."""
    return EVENT_WORDS.get(event, f"{event} failures")


def _whole(table: pl.DataFrame) -> list[SentenceRow]:
    rows = table.filter(pl.col("by") == ALL).to_dicts()
    return [
        (
            "rates",
            ALL,
            "any",
            f"{counted(row['units'], 'unit')} watched for {number(row['unit_years'], 4)} "
            f"unit-years had {counted(row['failures'], 'failure')}: "
            f"{number(row['rate_per_100'])} per 100 unit-years"
            f"{bracketed(interval(row['robust_low'], row['robust_high']))}.",
        )
        for row in rows
    ]


def _at_last_half_year(rows: pl.DataFrame) -> list[Row]:
    """The rows at the last month that is a half-year's."""
    at = rows.filter(pl.col("months") % 6 == 0, pl.col("months") > 0)
    return at.filter(pl.col("months") == pl.col("months").max()).to_dicts()


def _curves(table: pl.DataFrame) -> list[SentenceRow]:
    whole = table.filter(pl.col("by") == ALL, pl.col("value").is_not_null())
    rows = []
    for kind in ("survival", "mean_count", "mean_cost"):
        for event in codes.EVENTS:
            own = whole.filter(pl.col("kind") == kind, pl.col("event") == event)
            rows += [
                ("standard_curves", kind, event, _curve(row, kind))
                for row in _at_last_half_year(own)
            ]
    return rows


def _curve(row: Row, kind: str) -> str:
    words = event_words(row["event"])
    months, value = row["months"], row["value"]
    if kind == "survival":
        share = f"{percent(value)}{bracketed(percents(row['low'], row['high']))}"
        says = f"By {months} months {share} of units have had no {words.removesuffix('s')}"
    else:
        mean = f"{number(value)}{bracketed(interval(row['low'], row['high']))}"
        says = (
            f"By {months} months a unit has had {mean} {words}"
            if kind == "mean_count"
            else f"By {months} months {words} of a unit have cost {mean}"
        )
    families = row["families"].split("; ")
    return (
        f"{says}; standardized over {counted(len(families), 'family', 'families')} "
        f"({', '.join(families)}), up to {row['ends_at']} months."
    )


def _first(table: pl.DataFrame) -> list[SentenceRow]:
    own = table.filter(
        pl.col("by").is_in([ALL, "cause_class"]), "shown", pl.col("incidence").is_not_null()
    )
    rows = _at_last_half_year(own)
    whole = [row for row in rows if row["cause_class"] == ALL]
    classes = sorted(
        (row for row in rows if row["cause_class"] != ALL and not row["thin"]),
        key=lambda row: (-row["incidence"], row["cause_class"]),
    )
    if not whole or not classes:
        return []
    parts = [
        f"{percent(row['incidence'], 1)}{bracketed(percents(row['low'], row['high'], 1))} "
        f"{row['cause_class']}"
        for row in classes[:_MOST]
    ]
    share = percent(whole[0]["incidence"], 1)
    sentence = (
        f"By {whole[0]['months']} months {share} of units have had a first failure, among them "
        f"{listed(parts)}."
    )
    return [("first_causes", ALL, ALL, sentence)]


def _steps(table: pl.DataFrame) -> list[SentenceRow]:
    """One sentence an analyte and event; slice `analyte`, or `family,analyte` with their values."""
    return [
        (
            "dose_step",
            row["analyte"] if row["family"] == ALL else f"{row['family']},{row['analyte']}",
            row["event"],
            _step(row),
        )
        for row in table.to_dicts()
    ]


_PLACES = {
    "limit_at_step": "lies in that range: it stands where the harm begins",
    "limit_below_step": "lies below it: it is stricter than the harm",
    "limit_above_step": "lies above it: the harm begins before the limit",
}


def _step(row: Row) -> str:
    name, unit = ANALYTES.get(row["analyte"], (row["analyte"], ""))
    what = event_words(row["event"])
    limit = f"the limit of {row['limit']:g}"
    if row["verdict"] is None:
        reason = f": it {row['note']}" if row["note"] else ""
        return f"{name}: whether {what} begin at {limit} cannot be told{reason}."
    if row["verdict"] == "no_step":
        return f"{name}: no step in {what} is seen on unprotected days, at {limit} or elsewhere."
    if row["ratio"] < 1:
        return f"{name}: {what} do not become more frequent along it, at {limit} or elsewhere."
    at = f"{row['step_at']:.4g} {unit}".rstrip()
    times = (
        f"are {number(row['ratio'])} times as frequent ({interval(row['low'], row['high'])})"
        if row["ratio"] < _BOUNDLESS
        else "come almost alone"
    )
    return (
        f"{name}: above {at} (95 %: {row['step_low']:.4g} to {row['step_high']:.4g}) {what} "
        f"{times} on unprotected days; {limit} {_PLACES[row['verdict']]}."
    )


def _costs(table: pl.DataFrame) -> list[SentenceRow]:
    rows = []
    for by in ("cause_class", "profile", "region", "family", "agency"):
        own = table.filter(pl.col("by") == by, pl.col("total") > 0).sort(
            "total", by, descending=[True, False]
        )
        total = sum(own["total"].to_list())
        if not total:
            continue
        parts = [
            f"{row[by]} {row['total']:,.2f} ({percent(float(row['total'] / total))})"
            for row in own.filter(~pl.col("thin")).head(_MOST).to_dicts()
        ]
        if not parts:
            continue
        noun = {"cause_class": "cause", "profile": "water profile"}.get(by, by)
        rows.append(
            ("costs", by, ALL, f"Payable by {noun}: {listed(parts)}, of {total:,.2f} in all.")
        )
    return rows


def _agencies(table: pl.DataFrame) -> list[SentenceRow]:
    """What all agencies together did, then each that is a reason to ask, the furthest first."""
    rows = []
    for (measure,), own in sorted(table.partition_by(["measure"], as_dict=True).items()):
        sentences = own.filter(pl.col("agency") == ALL)["sentence"].to_list()
        flagged = own.filter("flagged", ~pl.col("thin"), pl.col("agency") != ALL)
        flagged = flagged.filter(pl.col("cases") >= _FEWEST_NAMED)
        flagged = flagged.sort("ratio", descending=True, nulls_last=False)
        if flagged.is_empty():
            sentences.append("No agency stands out at a false-discovery rate of 10 %.")
        sentences += [f"{row['agency']}: {row['sentence']}" for row in flagged.to_dicts()]
        rows.append(("agency_figures", str(measure), ALL, " ".join(sentences)))
    return rows
