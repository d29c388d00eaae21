"""What a reader of a figure must know of its exposure and its reports, in computed sentences.

Belongs here: sentences on clock starts and reporting lags from their tables. Does not belong here:
the figures' own sentences (`sentences`), estimates (`sensitivity`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from pipelines.field.sensitivity import ASSUMPTIONS
from pipelines.field.slices import FEWEST_FAILURES
from schemas import wording

_AS_WATCHED, _SURE_CLOCKS, _, _COMPLETED = ASSUMPTIONS
_MOST_REGIONS = 4
_SHARES = (0.5, 0.95)
Row = dict[str, Any]


def figure_notes(
    tables: Mapping[str, pl.DataFrame], regions: pl.DataFrame
) -> dict[str, Sequence[str]]:
    """Sentences by the name of the figure that they belong to.

    Args:
        tables: `clock_starts`, `sensitivity` and `reporting_lags`; what is missing says nothing.
        regions: region and name; a region without a name goes by its code.
    """
    names = dict(regions.select("region", "name").drop_nulls().rows())
    clocks, rates, lags = (
        tables[name].to_dicts() if name in tables else []
        for name in ("clock_starts", "sensitivity", "reporting_lags")
    )
    by_region = _by_region(rates)
    lag = _lag(lags)
    by_figure = {
        "rates": [*_clocks(clocks, by_region), *lag, *_completed(by_region)],
        "regions": [*_left_out(clocks, names), *_most_moved(by_region, names)],
        "cohorts": lag,
    }
    return {name: sentences for name, sentences in by_figure.items() if sentences}


def _by_region(rows: Sequence[Row]) -> dict[str, dict[str, Row]]:
    """The estimated rows: region -> assumption -> row."""
    by_region: dict[str, dict[str, Row]] = {}
    for row in rows:
        if row["rate_per_100"] is not None:
            by_region.setdefault(row["region"], {})[row["assumption"]] = row
    return by_region


def _rate(row: Row) -> str:
    limits = wording.interval(row["low"], row["high"])
    return f"{wording.number(row['rate_per_100'])} ({limits}) per 100 unit-years"


def _clocks(clocks: Sequence[Row], rates: Mapping[str, Mapping[str, Row]]) -> list[str]:
    whole = next((row for row in clocks if row["region"] == "all" and row["units"]), None)
    if whole is None:
        return []
    if not whole["from_shipment"]:
        return ["No unit’s clock start had to be taken from its shipment."]
    verb = "has" if whole["from_shipment"] == 1 else "have"
    says = (
        f"{whole['from_shipment']:,} of {wording.counted(whole['units'], 'unit')} "
        f"({wording.percent(whole['from_shipment_share'], 1)}) {verb} a clock start taken from "
        "shipment"
    )
    known = rates.get("all", {})
    if _SURE_CLOCKS in known and _AS_WATCHED in known:
        says += (
            f"; without them the rate is {_rate(known[_SURE_CLOCKS])} instead of "
            f"{wording.number(known[_AS_WATCHED]['rate_per_100'])}"
        )
    return [f"{says}."]


def _completed(rates: Mapping[str, Mapping[str, Row]]) -> list[str]:
    known = rates.get("all", {})
    if not {_AS_WATCHED, _COMPLETED} <= known.keys():
        return []
    if known[_AS_WATCHED]["rate_per_100"] == known[_COMPLETED]["rate_per_100"]:
        return []
    return [
        f"With the reports that are still to come the rate is {_rate(known[_COMPLETED])} instead "
        f"of {wording.number(known[_AS_WATCHED]['rate_per_100'])}."
    ]


def _lag(lags: Sequence[Row]) -> list[str]:
    """By when half and nearly all failures have a call, and a claim."""
    parts = []
    for stage, seen in (("failure to call", "have a call"), ("failure to claim", "a claim")):
        rows = [row for row in lags if row["stage"] == stage]
        rows = [row for row in rows if row["failures"] >= FEWEST_FAILURES]
        half, most = (
            next((row["days"] for row in rows if row["share_reported"] >= share), None)
            for share in _SHARES
        )
        if half is not None and most is not None:
            parts.append(f"{seen} within {wording.days(half)} and 95 % within {most}")
    return [f"Half of all failures {'; '.join(parts)}."] if parts else []


def _left_out(clocks: Sequence[Row], names: Mapping[str, str]) -> list[str]:
    regions = [row for row in clocks if row["region"] != "all" and row["unsound"]]
    if not regions:
        return []
    total = sum(row["unsound"] for row in regions)
    regions.sort(key=lambda row: (-row["unsound"], row["region"]))
    phrases = [
        f"{row['unsound']:,} in {names.get(row['region'], row['region'])}"
        for row in regions[:_MOST_REGIONS]
    ]
    if len(regions) > _MOST_REGIONS:
        rest = sum(row["unsound"] for row in regions[_MOST_REGIONS:])
        phrases.append(f"{rest:,} elsewhere")
    verb = "is" if total == 1 else "are"
    return [
        f"{wording.counted(total, 'unit')} without a sound clock start {verb} left out: "
        f"{wording.listed(phrases)}."
    ]


def _most_moved(rates: Mapping[str, Mapping[str, Row]], names: Mapping[str, str]) -> list[str]:
    """The region whose rate depends most on what is assumed of clocks and reports."""
    moved = {
        region: max(
            known.values(),
            key=lambda row: abs(row["rate_per_100"] - known[_AS_WATCHED]["rate_per_100"]),
        )
        for region, known in rates.items()
        if region != "all" and _AS_WATCHED in known and not known[_AS_WATCHED]["thin"]
    }
    shift = {
        region: abs(row["rate_per_100"] / rates[region][_AS_WATCHED]["rate_per_100"] - 1)
        for region, row in moved.items()
    }
    if not shift or not max(shift.values()):
        return []
    region = min(shift, key=lambda name: (-shift[name], name))
    was = wording.number(rates[region][_AS_WATCHED]["rate_per_100"])
    assumed = moved[region]["assumption"]
    return [
        f"No region’s rate moves more with what is assumed of clock starts and reports than "
        f"{names.get(region, region)}’s: from {was} to {_rate(moved[region])} ({assumed})."
    ]
