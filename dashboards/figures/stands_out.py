"""What stands out that nobody asked for: the screen, alarms, flagged regions, agencies to ask.

Belongs here: their rows and charts, each with the address of its failures. Does not belong here:
the sections below them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dashboards import formats
from dashboards.figures import warnings
from dashboards.figures.agencies import MEASURES, behind_agency
from dashboards.figures.behind import PAGE, count, selection
from dashboards.figures.cuts import ALL, Field, Figure, Row, View, dot
from dashboards.figures.regions import behind_region

MOST = 12


@dataclass(frozen=True)
class Standout:
    """One thing that stands out: what, how much, from how many failures, and their address."""

    what: str
    how_much: str
    failures: str
    address: str


@dataclass(frozen=True)
class StandsOut:
    """What is first on the page."""

    screen: list[Standout]
    alarms: list[Standout]
    regions: list[Standout]
    agencies: list[Standout]
    regions_say: str
    figures: list[Figure]


def stands_out(field: Field) -> StandsOut:
    """What the screen, the alarms, regions and agencies say, with their charts."""
    screen = _rows(field, "screen", ALL)
    figures = [_screen(field, screen), warnings.alarms(field)]
    alarms = _rows(field, "alarms", "family,cause_class")
    return StandsOut(
        [_screened(field, row) for row in screen if row["flagged"]][:MOST],
        [_alarmed(row) for row in alarms if row["standing"] and not row["thin"]],
        [_region(field, row) for row in _rows(field, "regions", "region") if row["flagged"]],
        [_agency(field, row) for row in field.agencies if _is_worth_asking(row)],
        " ".join(dict.fromkeys(field.cautions_of_events("regions", "region"))),
        [figure for figure in figures if figure is not None],
    )


def _rows(field: Field, table: str, by: str) -> list[Row]:
    cuts = field.cuts(table)
    return cuts.rows(by) if cuts else []


def behind_screened(row: Row) -> str:
    """The failures of a value of the screen."""
    dims, values = row["dimension"].split(","), row["value"].split(",")
    chosen = dict(zip(dims, values, strict=True))
    return selection(**chosen, cause_class=row["cause_class"], cause=row["cause"])


def _screen(field: Field, rows: list[Row]) -> Figure | None:
    """The values whose lower limit is above 1, those that pass the test full."""
    above = sorted((row for row in rows if (row["low"] or 0) > 1), key=lambda row: -row["low"])
    shown = sorted(above, key=lambda row: (not row["flagged"], -row["low"]))[:MOST]
    if not shown:
        return None
    dots = [
        dot(
            _what(field, row), row["ratio"], row["low"], row["high"], not row["flagged"],
            f"{_times(row)}, {formats.counted(row['failures'], 'failure')}", behind_screened(row),
        )
        for row in shown
    ]  # fmt: skip
    for mark, row in zip(dots, shown, strict=True):
        mark["text"] = mark["text"].replace(" (thin)", "" if row["flagged"] else "; may be chance")
    table = [_screen_line(field, row) for row in sorted(rows, key=_by_low)[:50]]
    columns = [
        "Value", "Failures", "Units", "Expected", "Ratio", "95 %", "p", "q", "Stands out",
    ]  # fmt: skip
    chart = {"rows": {"rows": dots}, "lists": {"names": [mark["name"] for mark in dots]}}
    looked = formats.counted(len(rows), "value") + (
        " looked at; full dots stand out at q of 0.05 or less."
    )
    view = View(field.sentence("screen"), looked, {"screen": chart}, columns, table)
    return Figure(
        "screen",
        "Values that stand out among all that were looked at",
        [("screen", "screen")],
        {f"*/{ALL}": view},
        reading="The rate on days of the value against all other days, at the same family, needs "
        "and age, with its 95 % limits. Hollow dots do not pass the test over the whole screen.",
        handout="screen",
    )


def _by_low(row: Row) -> tuple[bool, float]:
    return (not row["flagged"], -(row["low"] or 0))


def _screen_line(field: Field, row: Row) -> list[Any]:
    return [
        _what(field, row),
        count(row["failures"], behind_screened(row)),
        formats.whole(row["units"]),
        formats.number(row["expected"]),
        formats.number(row["ratio"]),
        formats.interval(row["low"], row["high"]),
        formats.number(row["p_value"], 2),
        formats.number(row["q_value"], 2),
        "yes" if row["flagged"] else "no",
    ]


def _what(field: Field, row: Row) -> str:
    dims, values = row["dimension"].split(","), row["value"].split(",")
    parts = [
        f"{dim.replace('_', ' ')} {field.region_name(value) if dim == 'region' else value}"
        for dim, value in zip(dims, values, strict=True)
    ]
    cause = row["cause_class"] if row["cause"] == ALL else row["cause"]
    return f"{cause}: {', '.join(parts)}"


def _screened(field: Field, row: Row) -> Standout:
    return _standout(_what(field, row), _times(row), row["failures"], behind_screened(row))


def _alarmed(row: Row) -> Standout:
    what = f"{row['family']}, {row['cause_class']}: in alarm since {row['first_month']:%Y-%m}"
    return _standout(what, _times(row), row["failures"], warnings.behind_alarm(row))


def _region(field: Field, row: Row) -> Standout:
    kind = "water-caused failures" if row["event"] == "water" else "failures"
    what = f"{field.region_name(row['region'])}: {kind}, its water allowed for"
    adjusted = {name: row[f"adjusted_{name}"] for name in ("ratio", "low", "high")}
    return _standout(what, _times(adjusted), row["failures"], behind_region(row))


def _is_worth_asking(row: Row) -> bool:
    return row["agency"] != ALL and row["flagged"] and not row["thin"]


def _agency(field: Field, row: Row) -> Standout:
    title = {measure: words for measure, words, *_ in MEASURES}[row["measure"]]
    what = f"{row['agency']}: {title[0].lower()}{title[1:]}"
    ratio = f"{formats.number(row['ratio'])} times what its peers’ work leads to expect"
    own = field.failures_of_agency.get(row["agency"], 0)
    return _standout(what, ratio, own, behind_agency(row))


def _standout(what: str, how_much: str, failures: int, to: str) -> Standout:
    return Standout(what, how_much, f"{failures:,}", f"{PAGE}#{to}")


def _times(row: Mapping[str, Any]) -> str:
    limits = formats.interval(row["low"], row["high"])
    return f"{formats.number(row['ratio'])} times ({limits})"
