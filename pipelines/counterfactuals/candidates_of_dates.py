"""Facts about papers and dates: serials, filing, agencies, other claims, clocks and start-ups.

Belongs here: what conditions 1 to 11 call for. Does not belong here: causes, water and treatment
(`candidates_of_water`).
"""

from __future__ import annotations

from functools import partial

import polars as pl

from pipelines.counterfactuals.candidate_facts import CalledFor, candidate
from pipelines.coverage import Evidence
from pipelines.coverage.calendar_days import add_days, add_months
from pipelines.coverage.findings import switched_off

WINDOWS = ("within_parts_window", "within_labor_window")
_PAST = pl.lit("past")


def _unit_on_register(blocked: pl.DataFrame, _: Evidence) -> list[pl.DataFrame]:
    """The serial that is one edit away."""
    suggested = pl.col("suggestion").is_not_null()
    return [candidate(blocked, "serial", suggested, text="suggestion")]


def _terms_in_force(blocked: pl.DataFrame, _: Evidence) -> list[pl.DataFrame]:
    """A purchase in the time of the first edition."""
    col = pl.col
    # Nobody installs what is not yet bought.
    unknown = col("purchased_on").is_null() & (
        col("first_edition_on") <= pl.min_horizontal("failed_on", "installed_on")
    )
    return [candidate(blocked, "purchased_on", unknown, day="first_edition_on")]


def _filed_in_time(blocked: pl.DataFrame, _: Evidence) -> list[pl.DataFrame]:
    """The completion of the repair, or an earlier filing."""
    col = pl.col
    completed = pl.max_horizontal("opened_on", pl.min_horizontal("claimed_on", "as_of"))
    completed = pl.when(col("claimed_on").is_null()).then("opened_on").otherwise(completed)
    by = pl.min_horizontal("file_by", "as_of")
    is_completed = col("completed_on").is_not_null()
    return [
        candidate(blocked, "completed_on", ~is_completed, day=completed),
        candidate(blocked, "claimed_on", is_completed & (by >= col("failed_on")), day=by),
    ]


def _agency_authorized(blocked: pl.DataFrame, _: Evidence) -> list[pl.DataFrame]:
    return [candidate(blocked, "agency", day="agency_day")]


def _only_claim_for_failure(blocked: pl.DataFrame, _: Evidence) -> list[pl.DataFrame]:
    return [candidate(blocked, "only_claim", items=_other_records())]


def _earlier_repair_held(blocked: pl.DataFrame, _: Evidence) -> list[pl.DataFrame]:
    return [candidate(blocked, "other_cause", items=_other_records())]


def _other_records() -> pl.Expr:
    """What a condition cites besides the claim's own call."""
    return pl.col("evidence").list.set_difference(pl.concat_list("call_source"))


def records(blocked: pl.DataFrame, _: Evidence) -> list[pl.DataFrame]:
    """Corrections of dates that cannot all be true; each to the nearest day that can."""
    col = pl.col
    first = pl.max_horizontal("shipped_on", "clock_start")
    last = pl.min_horizontal("opened_on", "retired_on", "claimed_on", "as_of")
    failed = pl.max_horizontal(first, pl.min_horizontal("failed_on", last))
    clock_late = col("failed_on") < col("clock_start")
    stored = col("clock_source").is_in(["shipped_on", "latest_after_shipment"])
    between = pl.max_horizontal("shipped_on", pl.min_horizontal("installed_on", "failed_on"))
    possible = col("shipped_on") <= col("failed_on")
    installed_wrong = (col("installed_on") < col("shipped_on")) | (
        clock_late & (col("clock_source") == "installed_on")
    )
    filled = pl.lit("send")
    return [
        candidate(
            blocked,
            "failed_on",
            (first <= last) & (failed != col("failed_on")),
            day=failed,
        ),
        candidate(blocked, "installed_on", possible & installed_wrong, day=between),
        candidate(
            blocked,
            "installed_on",
            possible & clock_late & stored & col("installed_on").is_null(),
            day="failed_on",
            standing=filled,
        ),
        candidate(
            blocked,
            "purchased_on",
            possible & clock_late & (col("clock_source") == "purchased_on"),
            day="failed_on",
        ),
        candidate(
            blocked,
            "retired_on",
            col("retired_on") < col("failed_on"),
            day="failed_on",
        ),
        candidate(
            blocked,
            "startup_after_shipment",
            col("startup_completed_on") < col("shipped_on"),
            day="shipped_on",
        ),
        candidate(blocked, "claimed_on", col("claimed_on") < col("failed_on"), day="failed_on"),
        candidate(
            blocked,
            "completed_on",
            col("completed_on") < col("opened_on"),
            day="opened_on",
        ),
    ]


def _window(kind: str, blocked: pl.DataFrame, _: Evidence) -> list[pl.DataFrame]:
    """The start-up bonus where it reaches, and a later start of the clock where a date of it is
    not on record; `kind` is parts or labor."""
    col = pl.col
    late_enough = pl.max_horizontal(
        "shipped_on", *(_first_day_to_cover(col(f"{kind}_months")) for kind in ("parts", "labor"))
    )
    later = (late_enough <= col("failed_on")) & (late_enough > col("clock_start"))
    reached = (col(f"{kind}_base_end") <= col("failed_on")) & (
        col("failed_on") < col(f"{kind}_extended_end")
    )
    # A start-up that is completed in time to be asked for was asked for.
    told_by_completion = (col("requested") != "met") & (col("failed_on") <= col("request_due_on"))

    def half(outcome: str, condition: str, day: pl.Expr, option: str) -> pl.DataFrame:
        is_open = reached & (col(outcome) != "met") & ~switched_off(condition)
        return candidate(
            blocked,
            f"startup_{outcome}",
            is_open & told_by_completion if option == "completion" else is_open,
            day=day,
            standing=pl.when(col(outcome) == "unknown").then(pl.lit("send")).otherwise(_PAST),
            option=option,
        )

    due = pl.min_horizontal("request_due_on", "as_of")
    facts = [
        half("requested", "startup_requested_in_time", due, "bonus"),
        half("completed", "startup_completed", col("failed_on"), "bonus"),
        half("completed", "startup_completed", col("failed_on"), "completion"),
    ]
    for date in ("installed_on", "purchased_on"):
        # A purchase after a known installation is none.
        unknown = col(date).is_null() & col("installed_on").is_null()
        unknown &= col("clock_order").list.contains(date)
        facts.append(
            candidate(blocked, date, later & unknown, day=late_enough, standing=pl.lit("send"))
        )
    return facts


def _first_day_to_cover(months: pl.Expr) -> pl.Expr:
    """The first day from which so many months reach past the failure."""
    back = add_months(pl.col("failed_on"), -months)
    days = [add_days(back, more) for more in range(1, 5)]  # clamping takes three at the most
    return pl.coalesce(
        pl.when(add_months(day, months) > pl.col("failed_on")).then(day) for day in days
    )


CALLED_FOR: dict[str, CalledFor] = {
    "unit_on_register": _unit_on_register,
    "terms_in_force": _terms_in_force,
    "filed_in_time": _filed_in_time,
    "agency_authorized": _agency_authorized,
    "only_claim_for_failure": _only_claim_for_failure,
    "earlier_repair_held": _earlier_repair_held,
    "records_agree": records,
    "within_parts_window": partial(_window, "parts"),
    "within_labor_window": partial(_window, "labor"),
}
