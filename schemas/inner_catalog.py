"""What tables hold that no class describes and that are not published, for the catalog.

Belongs here: what rows are typed into, and what the field figures are worked out from. Does not
belong here: their types (the steps that make them), or a column that another table describes: it
is taken from there.
"""

from __future__ import annotations

from typing import NamedTuple

from schemas.codes import FEEDS, LIMITED_ANALYTES


class Inner(NamedTuple):
    """A table by what one row is, its key, and its columns.

    `columns`: each by the table whose column of that name it is, or by its kind and description.
    """

    grain: str
    key: tuple[str, ...]
    columns: dict[str, str | tuple[str, str]]


_PLACE: dict[str, str | tuple[str, str]] = {
    "source_part": ("integer", "The part of a row that a mapping splits, from 1."),
    "source_file": "units",
    "source_line": "units",
    "source_sheet": "units",
}
_PLACE_KEY = ("source_file", "source_sheet", "source_line", "source_part")


def _of(table: str, *names: str) -> dict[str, str | tuple[str, str]]:
    return dict.fromkeys(names, table)


PARSED = {
    feed: Inner(
        f"One row is one row of a {feed} export as it was typed, before keys are looked at.",
        _PLACE_KEY,
        _PLACE,
    )
    for feed in FEEDS
}
# A laboratory's long table has a line a result, which is laid beside its likes later.
LONG = {
    "analyte": ("text", "The column of the result, where the export has a line a result."),
    "result": ("number", "The result, where the export has a line a result."),
    "result_below": ("number", "Its bound, where it is a non-detect."),
    "unread": ("text", "The result as it came, where it could not be read."),
}
INNER_TABLES: dict[str, Inner] = {
    "parsed_set_aside": Inner(
        "One row is one reason for which a row could not be read or typed.",
        ("feed", "file", "sheet", "line", "column", "rule"),
        _of("set_aside", "feed", "file", "sheet", "line", "column", "value", "rule", "reason"),
    ),
    "parsed_left_out": Inner(
        "One row is one row or sheet that a mapping leaves out.",
        ("feed", "mapping", "file", "sheet", "line"),
        {
            **_of("left_out", "feed", "mapping", "file", "sheet", "line", "reason"),
            "entry": ("integer", "The entry of leave_out that gives the reason, from 0."),
        },
    ),
    "parsed_corrected": Inner(
        "One row is one landed row and one correction that was put into it.",
        ("feed", "mapping", "file", "sheet", "line", "correction"),
        {
            **_of("left_out", "feed", "mapping", "file", "sheet", "line"),
            "correction": ("integer", "The event of the correction."),
        },
    ),
    "exposure_units": Inner(
        "One row is one unit: how long it is at risk, for the field figures.",
        ("serial",),
        {
            **_of("units", "serial", "site", "model", "retired_on", "shipped_on"),
            **_of("unit_histories", "edition", "family", "region", "water_profile", "clock_source"),
            **_of("unit_histories", "startup_completed_on", "watched_from", "watched_until"),
            **_of("unit_histories", "coverage_end", "needs", "clock_start"),
            **_of("unit_histories", "cold_supply", "entry", "shipped", "lot"),
            "extended_on": ("day", "The day from which the start-up bonus counts."),
            "watched_days": ("integer", "Days at risk."),
            "unsound": ("text", "Why the clock start is unsound."),
            "coverage_base_end": ("day", "The end of the longest base window."),
        },
    ),
    "exposure_failures": Inner(
        "One row is one failure inside the time at risk.",
        ("call",),
        {
            **_of("service_calls", "call", "claim", "serial", "cause", "part", "opened_on"),
            **_of("service_calls", "claimed_on", "agency", "labor_hours"),
            **_of("decisions", "cause_class", "water_related"),
            "failed_on": ("day", "The day of the failure that counts."),
            "age": ("integer", "Whole days since the clock start."),
        },
    ),
    "doubtful_exposure": Inner(
        "One row is one unit that the figures leave out for its clock start.",
        ("serial",),
        {
            "serial": "units",
            "unsound": ("text", "Why the clock start is unsound."),
            "days": ("integer", "Days that it would be at risk."),
            "failures": ("integer", "Failures in them."),
        },
    ),
    "treatment_states": Inner(
        "One row is one stretch of a unit in one state of its treatment.",
        ("serial", "from_day"),
        {
            "serial": "units",
            "from_day": ("day", "Its first day."),
            "until_day": ("day", "The first day that is not of it."),
            "state": ("text", "The state."),
        },
    ),
    "agency_repairs": Inner(
        "One row is one repair call, for the figures of agencies.",
        ("call",),
        {
            **_of("service_calls", "call", "claim", "serial", "agency", "cause", "completed_on"),
            **_of("service_calls", "labor_hours", "travel_amount"),
            **_of("decisions", "family", "cause_class", "verdict"),
            "failed_on": ("day", "The day of the failure that counts."),
            "inside": ("flag", "Whether it lies inside the time at risk."),
            "watched_until": "unit_histories",
            "workmanship_days": ("integer", "Days for which an agency answers for its work."),
        },
    ),
    "waters_in_force": Inner(
        "One row is one stretch of a unit under one water test in force.",
        ("serial", "from_on"),
        {
            "serial": "units",
            "from_on": ("day", "Its first day."),
            "until_on": ("day", "The first day that is not of it."),
            "sample": "water_tests",
            "needs": ("text", "The abilities whose limits the test breaks, joined by `+`."),
            "severity": ("text", "mild, normal, severe or untested."),
            **{
                f"ratio_{name}": ("number", f"{name} of the test, as a share of its limit.")
                for name in LIMITED_ANALYTES
            },
        },
    ),
}
