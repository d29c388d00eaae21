"""What stands out that nobody asked for: the screen, alarms and flagged regions, first on the page.

Belongs here: their rows, each with the address of its failures. Does not belong here: charts.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from dashboards import formats
from dashboards.pages.failures import link

MOST = 12


@dataclass(frozen=True)
class Found:
    """One thing that stands out: what, how much, from how many failures, and their address."""

    what: str
    how_much: str
    failures: str
    address: str


@dataclass(frozen=True)
class StandsOut:
    """The three lists, each with the sentence beside it."""

    screen: list[Found]
    alarms: list[Found]
    regions: list[Found]
    sentences: Mapping[str, str]


def stands_out(figures: Mapping[str, pl.DataFrame], names: Mapping[str, str]) -> StandsOut:
    """What the screen, the alarms and the adjusted ratios of regions say; `names` of regions."""
    told = figures.get("field_sentences", pl.DataFrame())
    sentences = dict(told.select("figure", "sentence").rows()) if told.height else {}
    return StandsOut(
        [_screened(row, names) for row in _rows(figures, "screen", "flagged")],
        [_alarmed(row) for row in _rows(figures, "alarms", "standing") if not row["thin"]],
        [_region(row, names) for row in _rows(figures, "regions", "flagged")],
        sentences,
    )


def _rows(figures: Mapping[str, pl.DataFrame], name: str, mark: str) -> list[dict[str, Any]]:
    frame = figures.get(name)
    return [] if frame is None or frame.is_empty() else frame.filter(mark).head(MOST).to_dicts()


def _screened(row: dict[str, Any], names: Mapping[str, str]) -> Found:
    dims, values = row["dimension"].split(","), row["value"].split(",")
    selected = dict(zip(dims, values, strict=True)) | {"cause_class": row["cause_class"]}
    cause = row["cause_class"]
    if row["cause"] != "all":
        selected["cause"] = cause = row["cause"]
    told = [names.get(v, v) if d == "region" else v for d, v in zip(dims, values, strict=True)]
    where = ", ".join(f"{d.replace('_', ' ')} {v}" for d, v in zip(dims, told, strict=True))
    return Found(f"{cause}: {where}", _times(row), f"{row['failures']:,}", link(**selected))


def _alarmed(row: dict[str, Any]) -> Found:
    last = row["last_month"]
    until = (last.replace(day=28) + dt.timedelta(days=4)).replace(day=1) - dt.timedelta(days=1)
    selected = {
        "family": row["family"],
        "cause_class": row["cause_class"],
        "failed_from": row["first_month"].isoformat(),
        "failed_to": until.isoformat(),
    }
    what = f"{row['family']}, {row['cause_class']}: in alarm since {row['first_month']:%Y-%m}"
    return Found(what, _times(row), f"{row['failures']:,}", link(**selected))


def _region(row: dict[str, Any], names: Mapping[str, str]) -> Found:
    name = names.get(row["region"], row["region"])
    kind = "water-caused failures" if row["event"] == "water" else "failures"
    figures = {key: row[f"adjusted_{key}"] for key in ("ratio", "low", "high")}
    selected = {"region": row["region"], "event": row["event"]}
    what = f"{name}: {kind}, its water allowed for"
    return Found(what, _times(figures), f"{row['failures']:,}", link(**selected))


def _times(row: Mapping[str, Any]) -> str:
    limits = formats.interval(row["low"], row["high"])
    return f"{formats.number(row['ratio'])} times ({limits})"
