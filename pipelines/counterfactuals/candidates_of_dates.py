"""Facts about papers and dates: serials, filing, agencies, other claims, clocks and start-ups.

Belongs here: what conditions 1 to 11 call for. Does not belong here: causes, water and treatment
(`candidates_of_water`).
"""

from __future__ import annotations

import polars as pl

from pipelines.counterfactuals.candidate_facts import candidate
from pipelines.coverage.calendar_days import add_days, add_months
from pipelines.coverage.findings import switched_off

WINDOWS = ("within_parts_window", "within_labor_window")


def paper(blocked: pl.DataFrame) -> list[pl.DataFrame]:
    """Serial, purchase, completion, filing, agency; what a person may find of other claims."""
    col = pl.col
    completed = pl.max_horizontal("opened_on", pl.min_horizontal("claimed_on", "as_of"))
    completed = pl.when(col("claimed_on").is_null()).then("opened_on").otherwise(completed)
    by = pl.min_horizontal("file_by", "as_of")
    # What a condition cites besides the claim's own call.
    others = pl.col("evidence").list.set_difference(pl.concat_list("call_source"))
    return [
        candidate(
            blocked,
            "unit_on_register",
            "serial",
            col("suggestion").is_not_null(),
            text="suggestion",
        ),
        candidate(
            blocked,
            "terms_in_force",
            "purchased_on",
            # Nobody installs what is not yet bought.
            col("purchased_on").is_null()
            & (col("first_edition_on") <= pl.min_horizontal("failed_on", "installed_on")),
            day="first_edition_on",
        ),
        candidate(
            blocked,
            "filed_in_time",
            "completed_on",
            col("completed_on").is_null(),
            day=completed,
        ),
        candidate(
            blocked,
            "filed_in_time",
            "claimed_on",
            col("completed_on").is_not_null() & (by >= col("failed_on")),
            day=by,
        ),
        candidate(blocked, "agency_authorized", "agency", day="agency_day"),
        candidate(blocked, "only_claim_for_failure", "only_claim", items=others),
        candidate(blocked, "earlier_repair_held", "other_cause", items=others),
    ]


def records(blocked: pl.DataFrame) -> list[pl.DataFrame]:
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
    name = "records_agree"
    filled = pl.lit("send")
    return [
        candidate(
            blocked,
            name,
            "failed_on",
            (first <= last) & (failed != col("failed_on")),
            day=failed,
        ),
        candidate(blocked, name, "installed_on", possible & installed_wrong, day=between),
        candidate(
            blocked,
            name,
            "installed_on",
            possible & clock_late & stored & col("installed_on").is_null(),
            day="failed_on",
            standing=filled,
        ),
        candidate(
            blocked,
            name,
            "purchased_on",
            possible & clock_late & (col("clock_source") == "purchased_on"),
            day="failed_on",
        ),
        candidate(
            blocked,
            name,
            "retired_on",
            col("retired_on") < col("failed_on"),
            day="failed_on",
        ),
        candidate(
            blocked,
            name,
            "startup_after_shipment",
            col("startup_completed_on") < col("shipped_on"),
            day="shipped_on",
        ),
        candidate(
            blocked, name, "claimed_on", col("claimed_on") < col("failed_on"), day="failed_on"
        ),
        candidate(
            blocked,
            name,
            "completed_on",
            col("completed_on") < col("opened_on"),
            day="opened_on",
        ),
    ]


def windows(blocked: pl.DataFrame) -> list[pl.DataFrame]:
    """The start-up bonus where it reaches, and a later start of the clock where a date of it is
    not on record."""
    col = pl.col
    late_enough = pl.max_horizontal(
        "shipped_on", *(_first_day_to_cover(col(f"{kind}_months")) for kind in ("parts", "labor"))
    )
    later = (late_enough <= col("failed_on")) & (late_enough > col("clock_start"))

    # A start-up that is completed in time to be asked for was asked for.
    told_by_completion = (col("requested") != "met") & (col("failed_on") <= col("request_due_on"))

    def by_half(outcome: str) -> pl.Expr:
        return pl.when(col(outcome) == "unknown").then(pl.lit("send")).otherwise(pl.lit("past"))

    candidates = []
    for name, kind in zip(WINDOWS, ("parts", "labor"), strict=True):
        reached = (col(f"{kind}_base_end") <= col("failed_on")) & (
            col("failed_on") < col(f"{kind}_extended_end")
        )
        for fact, half, day in (
            (
                "startup_requested",
                "requested",
                pl.min_horizontal("request_due_on", "as_of"),
            ),
            ("startup_completed", "completed", col("failed_on")),
        ):
            open_half = (col(half) != "met") & ~switched_off(
                "startup_requested_in_time" if half == "requested" else "startup_completed"
            )
            candidates += [
                candidate(
                    blocked,
                    name,
                    fact,
                    reached & open_half & when,
                    day=day,
                    standing=by_half(half),
                    option=option,
                )
                for option, when in (("bonus", pl.lit(True)), ("completion", told_by_completion))
                if option == "bonus" or half == "completed"
            ]
        for date in ("installed_on", "purchased_on"):
            # A purchase after a known installation is none.
            unknown = col(date).is_null() & col("installed_on").is_null()
            unknown &= col("clock_order").list.contains(date)
            candidates.append(
                candidate(
                    blocked,
                    name,
                    date,
                    later & unknown,
                    day=late_enough,
                    standing=pl.lit("send"),
                )
            )
    return candidates


def _first_day_to_cover(months: pl.Expr) -> pl.Expr:
    """The first day from which so many months reach past the failure."""
    back = add_months(pl.col("failed_on"), -months)
    days = [add_days(back, more) for more in range(1, 5)]  # clamping takes three at the most
    return pl.coalesce(
        pl.when(add_months(day, months) > pl.col("failed_on")).then(day) for day in days
    )
