"""What is known before a claim: reviews of start-ups, recommendations, how far each unit has come.

Belongs here: the shape of the tables. Does not belong here: how they are worked out
(`pipelines.startups`).
"""

import polars as pl

from schemas import codes
from schemas.columns import (
    TEXTS,
    Table,
    day,
    flag,
    integer,
    number,
    serial_number,
    text,
    texts,
    word,
)

SEVERITIES = ("mild", "normal", "severe")


class InstallationFindings(Table):
    """One row is one reading of a completed start-up report, against the terms of its unit."""

    report: str = text("The start-up report.", required=True, key=True)
    serial: str = serial_number("The unit.", required=True)
    reading: str = word(
        "The reading, a column of startups.", codes.REPORTED, required=True, key=True
    )
    value: str = text("What was reported, `yes` or `no` where it is that; null where nothing was.")
    unit: str = word(
        "The unit of the value and its limits; null where it has none.", codes.READING_UNITS
    )
    limit_min: float = number("The least that is sound; null where there is no such limit.")
    limit_max: float = number("The most that is sound; null where there is no such limit.")
    outcome: str = word("What the reading comes to.", codes.READING_OUTCOMES, required=True)
    sentence: str = text("The same in a sentence.", required=True)
    caution: str = text("What to mind when it is mended; null where nothing calls for one.")


class StartupReviews(Table):
    """One row is one completed start-up report and what its readings come to."""

    report: str = text("The start-up report.", required=True, key=True)
    serial: str = serial_number("The unit.", required=True)
    model: str = text("Its model.", required=True)
    family: str = text("Its family.", required=True)
    site: str = text("Its site.")
    site_name: str = text("The site's name.")
    region: str = text("Its region.")
    agency: str = text("The agency that made the start-up.")
    requested_on: pl.Date = day("The day on which it was asked for.")
    completed_on: pl.Date = day("The day on which it was completed.", required=True)
    edition: str = text("The edition of the unit's terms.")
    latest: bool = flag("Whether it is the unit's latest.", required=True)
    result: str = word("What the readings come to.", codes.REVIEW_RESULTS, required=True)
    faults: str = text("The unsound readings, joined by `; `; null where none.")
    missing: str = text("What must be reported and is not, joined by `; `; null where nothing.")
    sample: str = text("The complete supply test that goes with it.")
    sentence: str = text("The review in a sentence.", required=True)


class TreatmentRecommendations(Table):
    """One row is one unit in cover whose model needs treatment: what its water calls for."""

    serial: str = serial_number("The unit.", required=True, key=True)
    model: str = text("Its model.", required=True)
    family: str = text("Its family.", required=True)
    site: str = text("Its site.")
    site_name: str = text("The site's name.")
    region: str = text("Its region.")
    edition: str = text("The edition of its terms.")
    sample: str = text("The test that it rests on: the latest complete supply test.")
    sampled_on: pl.Date = day("The day it was taken.")
    reported_on: pl.Date = day("The day it was reported, or taken where that is not told.")
    needs: str = text("What the water needs, joined by `+`, or `none`; null without a test.")
    severity: str = word("How severe the water is; null without a test.", SEVERITIES)
    state: str = word("How far the treatment has come.", codes.RECOMMENDATION_STATES, required=True)
    recommended: str = text("The systems that serve best, joined by ` + `; null without needs.")
    alternatives: TEXTS = texts("The other combinations that serve.", required=True)
    unmet: TEXTS = texts("Needs that no system serves.", required=True, words=codes.ABILITIES)
    tank_l: float = number("The tank behind a recommended reverse osmosis.", "L")
    due_on: pl.Date = day("The day by which it is to be installed; null without a test.")
    days_left: pl.Int64 = integer(
        "Days from the as-of date to then; null without a test.", unit="d"
    )
    bought_on: pl.Date = day("The day from which what was bought includes the needs.")
    installed_on: pl.Date = day("The day from which what is installed does.")
    kept_until: pl.Date = day(
        "The day to which cartridges on file last, for `kept_up`; null where none is called for."
    )
    at_stake: str = text("What cover hangs on it.", required=True)
    sentence: str = text("The state in a sentence.", required=True)


class Journeys(Table):
    """One row is one unit and the days of its steps from sale to treatment."""

    serial: str = serial_number("The unit.", required=True, key=True)
    model: str = text("Its model.", required=True)
    family: str = text("Its family.", required=True)
    region: str = text("Its region.")
    purchased: str = text("The quarter of its purchase, else of its shipping.", required=True)
    purchased_on: pl.Date = day("The day of its purchase.")
    requested_on: pl.Date = day("The earliest request of a start-up, or its completion.")
    requested_in_time: str = word(
        "Whether it was asked for in time, as it counts for the bonus; null without terms.",
        ("met", "unmet", "unknown"),
    )
    completed_on: pl.Date = day("The earliest completion of a start-up.")
    installation: str = word("The result of its latest review.", codes.REVIEW_RESULTS)
    sampled_on: pl.Date = day("The day of its earliest complete supply test.")
    reported_on: pl.Date = day("The day that test was reported.")
    needs_treatment: bool = flag("Whether it needs treatment by that test; null without one.")
    bought_on: pl.Date = day("The day from which what was bought includes the needs.")
    installed_on: pl.Date = day("The day from which what is installed does.")
    first_lapse_on: pl.Date = day("The first day after that on which it was not kept up.")
    agency: str = text("The agency of its first start-up.")
    left_on: pl.Date = day("The day on which it was retired or replaced.")


class JourneyRates(Table):
    """One row is one step of the way in one slice of the units: how long it takes."""

    by: str = word("What it is sliced by.", codes.JOURNEY_SLICES, required=True, key=True)
    value: str = text("The slice; `all`, and `none` where empty.", required=True, key=True)
    step: str = word("The step.", codes.JOURNEY_STEPS[1:], required=True, key=True)
    from_step: str = word("The step that it is counted from.", codes.JOURNEY_STEPS, required=True)
    units: pl.Int64 = integer("Units with the day of that step.", required=True)
    reached: pl.Int64 = integer("Those that reached this one.", required=True)
    median_days: pl.Int64 = integer("The days within which half are done.", unit="d")
    share_30: float = number("Share done within 30 days (Kaplan-Meier).")
    share_30_low: float = number("Its lower 95 % limit (log-log).")
    share_30_high: float = number("Its upper 95 % limit.")
    share_60: float = number("Share done within 60 days.")
    share_60_low: float = number("Its lower 95 % limit.")
    share_60_high: float = number("Its upper 95 % limit.")
    share_90: float = number("Share done within 90 days.")
    share_90_low: float = number("Its lower 95 % limit.")
    share_90_high: float = number("Its upper 95 % limit.")
    share_180: float = number("Share done within 180 days.")
    share_180_low: float = number("Its lower 95 % limit.")
    share_180_high: float = number("Its upper 95 % limit.")
    thin: bool = flag("Fewer than 10 units or 5 that reached it.", required=True)


# Of the page, not stored. One row is one request, report or result that is new, with the next step.
CAME_IN = pl.Schema(
    {
        "kind": pl.String(),  # request, report or result
        "key": pl.String(),  # the report or the sample
        "on": pl.Date(),
        "serial": pl.String(),
        "site_name": pl.String(),
        "agency": pl.String(),
        "says": pl.String(),
        "next_step": pl.String(),
        "due_on": pl.Date(),
        "at_stake": pl.String(),
    }
)
# One row is one word of a column (`what`: result, fault or state) and how many units it is of.
STARTUP_COUNTS = pl.Schema({"what": pl.String(), "word": pl.String(), "units": pl.Int64()})
STARTUP_TABLES: dict[str, type[Table]] = {
    "installation_findings": InstallationFindings,
    "startup_reviews": StartupReviews,
    "treatment_recommendations": TreatmentRecommendations,
    "journeys": Journeys,
    "journey_rates": JourneyRates,
}
