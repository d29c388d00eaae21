"""The sentences of the figures: what each says, by one rule.

Belongs here: the table `field_sentences`. Does not belong here: the figures, or how a page lays its
sentences out.

A sentence names a group as higher or lower only where it has 10 failures or more and its difference
passes the figure's test at q up to 0.10 over all groups of the figure that are not thin; groups are
ranked by the limit nearer to 1. Where none passes, it says so and names none.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.dimensions import OF_FAILURE
from pipelines.field.page_sentences import page_sentences
from pipelines.field.ratios_to_rest import ComparedGroup, ratios_to_rest
from pipelines.field.sentences_of_alarms import alarmed, watched
from pipelines.field.sentences_to_come import sentences_to_come
from pipelines.field.slice_rates import SINGLE
from pipelines.field.slices import ALL
from schemas import codes
from schemas.wording import counted

COLUMNS = ("figure", "by", "event", "sentence")
FEWEST_NAMED, FALSE_DISCOVERY_RATE = 10, 0.10
# What is compared, and what a ratio is to, where that is not the rest.
_OF_REGIONS = ("region", "all regions together, at equal water, family and age")
_OF_QUARTERS = ("quarter of entry", "what is expected at the rates of all")
_NOUNS = {"startup": "start-up", "entry": "quarter of entry", "shipped": "quarter of shipment"}
_RATED = ("family", "region", "profile", "startup", "treatment")


def field_sentences(context: FieldContext, tables: Callable[[str], pl.DataFrame]) -> pl.DataFrame:
    """One sentence a figure, slice and event.

    Args:
        context: the fleet.
        tables: gives a figure by its name, in the slices that are always there.
    """
    rows: list[tuple[str, str, str, str]] = []
    for figure, dims in (("rates", _RATED), ("slice_rates", SINGLE)):
        for dim in dims:
            if dim in OF_FAILURE:
                continue
            rows += [
                (
                    figure,
                    dim,
                    event,
                    _group_sentence(ratios_to_rest(context, dim, event), _noun(dim)),
                )
                for event in codes.EVENTS
            ]
    rows += [
        (
            "regions",
            "region",
            event,
            _group_sentence(_regions(tables("regions"), event), *_OF_REGIONS),
        )
        for event in codes.EVENTS
    ]
    ratios = tables("cohort_ratios")
    rows += [
        ("cohort_ratios", "entry", event, _group_sentence(_quarters(ratios, event), *_OF_QUARTERS))
        for event in codes.EVENTS
    ]
    rows.append(("screen", ALL, ALL, _screened(tables("screen"))))
    rows.append(("alarms", "family,cause_class", ALL, alarmed(tables("alarms"))))
    rows.append(("warnings", "family,cause_class", ALL, watched(tables("warnings"))))
    rows += _treated(tables("treatment_ratios"), tables("treatment_effect"))
    rows += _lives(tables("weibull"))
    parts = (page_sentences(tables), sentences_to_come(tables))
    rows += [*_covers(tables("watch_length")), *(row for part in parts for row in part)]
    return pl.DataFrame(rows, schema=dict.fromkeys(COLUMNS, pl.String), orient="row").with_columns(
        by=pl.when(pl.col("by") == "").then(pl.lit(ALL)).otherwise("by")
    )


def _noun(dim: str) -> str:
    return _NOUNS.get(dim, dim.replace("_", " "))


def _regions(table: pl.DataFrame, event: str) -> list[ComparedGroup]:
    flagged = table.filter(pl.col("event") == event, "flagged")
    names = ("region", "adjusted_ratio", "adjusted_low", "adjusted_high", "failures")
    return [ComparedGroup(*row) for row in flagged.select(*names, "adjusted_q_value").rows()]


def _quarters(table: pl.DataFrame, event: str) -> list[ComparedGroup]:
    known = table.filter(pl.col("event") == event).drop_nulls("q_value")
    names = ("cohort", "ratio", "low", "high", "failures", "q_value")
    return [ComparedGroup(*row) for row in known.select(names).rows()]


def _group_sentence(groups: list[ComparedGroup], noun: str, against: str = "the rest") -> str:
    """Up to three groups by the limit nearer to 1."""
    passed = [
        one
        for one in groups
        if one.failures >= FEWEST_NAMED and one.q_value <= FALSE_DISCOVERY_RATE
    ]
    if not passed:
        return f"No {noun} stands out from the others."
    ranked = sorted(passed, key=lambda one: (-_nearer(one), one.words))
    parts = [
        f"{one.words} is {'higher' if one.ratio > 1 else 'lower'}, {one.ratio:.2f} times {against} "
        f"({one.low:.2f} to {one.high:.2f})"
        for one in ranked[:3]
    ]
    more = f"; {_more(len(ranked) - 3, 'differs', 'differ')} too" if len(ranked) > 3 else ""
    return f"By {noun}: {'; '.join(parts)}{more}."


def _more(count: int, one: str, many: str) -> str:
    return f"{count:,} more {one if count == 1 else many}"


def _nearer(one: ComparedGroup) -> float:
    """How far the limit nearer to 1 is from it, on the log scale."""
    limit = one.low if one.ratio > 1 else one.high
    away = np.log(limit) if one.ratio > 1 else -np.log(limit)
    return float(away) if limit > 0 else 0.0


def _screened(table: pl.DataFrame) -> str:
    flagged = table.filter("flagged", ~pl.col("thin"))
    if flagged.is_empty():
        looked = counted(table.height, "value that was", "values that were")
        return f"Nothing stands out among the {looked} looked at."
    rows = flagged.head(3).to_dicts()
    parts = [
        f"{row['cause'] if row['cause'] != ALL else row['cause_class']} at "
        f"{row['dimension'].replace('_', ' ').replace(',', ' and ')} "
        f"{row['value'].replace(',', ' and ')}, {row['ratio']:.1f} times all other "
        f"days ({row['low']:.1f} to {row['high']:.1f}, {row['failures']} failures)"
        for row in rows
    ]
    rest = flagged.height - 3
    more = f"; {_more(rest, 'stands', 'stand')} out" if rest > 0 else ""
    return f"Stands out: {'; '.join(parts)}{more}."


def _treated(table: pl.DataFrame, effect: pl.DataFrame) -> list[tuple[str, str, str, str]]:
    whole = table.filter(pl.col("by") == ALL, pl.col("comparison") == "treated vs untreated")
    rows = []
    for event in codes.EVENTS:
        own = whole.filter(
            pl.col("event") == event, pl.col("method") == "cox_first", ~pl.col("thin")
        )
        estimates = own.drop_nulls(["ratio", "low", "high"]).to_dicts()
        noun = "water-caused failures" if event == "water" else "failures"
        happened = effect.filter(
            pl.col("by") == ALL, pl.col("event") == event, pl.col("state") == "treated"
        )["failures"].sum()
        sentence = f"Whether treated and untreated units differ in first {noun} cannot be told."
        if estimates and estimates[0]["low"] <= 1 <= estimates[0]["high"]:
            sentence = f"Treated and untreated units do not differ in first {noun}."
        elif estimates and happened >= FEWEST_NAMED:
            row: Mapping[str, float] = estimates[0]
            word = "fewer" if row["ratio"] < 1 else "more"
            sentence = (
                f"Treated units have {word} first {noun} than untreated ones, {row['ratio']:.2f} "
                f"times ({row['low']:.2f} to {row['high']:.2f}): an association, not a proof, "
                "since those who treat may differ in more than the treatment."
            )
        rows.append(("treatment_ratios", ALL, event, sentence))
    return rows


def _lives(table: pl.DataFrame) -> list[tuple[str, str, str, str]]:
    rows = []
    for row in table.filter(pl.col("by") == ALL, pl.col("event").is_in(codes.EVENTS)).to_dicts():
        noun = "water-caused failure" if row["event"] == "water" else "failure"
        if row["b10_months"] is None or row["b10_extrapolated"]:
            sentence = f"How soon 10 % of units have a first {noun} cannot be told from the watch."
        else:
            sentence = (
                f"10 % of units have a first {noun} by {row['b10_months']:.1f} months "
                f"({row['b10_low']:.1f} to {row['b10_high']:.1f})."
            )
        rows.append(("weibull", ALL, row["event"], sentence))
    return rows


def _covers(table: pl.DataFrame) -> list[tuple[str, str, str, str]]:
    rows = []
    for row in table.to_dicts():
        known = row["low"] is not None and row["high"] is not None
        sentence = "Whether units with longer cover fail differently cannot be told."
        if known and (row["low"] > 1 or row["high"] < 1):
            sentence = (
                "Units with longer cover fail differently from those with shorter: the later part "
                "of the curves is that of the longer covered."
            )
        elif known and not row["thin"]:
            sentence = "Units with longer cover do not fail differently from those with shorter."
        rows.append(("standard_curves", ALL, row["event"], sentence))
    return rows
