"""The field figures that ask why: screen, dose-response, alarms, standardized curves.

Belongs here: the shape of these figures. Does not belong here: the other figures (`schemas.field`),
how they are estimated (`pipelines.field`).
"""

import polars as pl

from schemas import codes
from schemas.columns import Table, day, flag, integer, number, text, word
from schemas.field_sliced import EVENT_WORDS, Sliced


class StandardCurves(Sliced):
    """One row is a curve standardized over families at an age in months."""

    kind: str = word("Which curve.", ("survival", "mean_count", "mean_cost"), required=True)
    event: str = word("Which failures.", EVENT_WORDS, required=True)
    months: pl.Int64 = integer("Months in service.", required=True)
    value: float = number("The families' values, each weighing its share of all units.")
    low: float = number("Lower 95 % limit.")
    high: float = number("Upper 95 % limit.")
    at_risk: pl.Int64 = integer("Units at risk of the smallest family.", required=True)
    families: str = text("The families in it, joined by `; `.", required=True)
    ends_at: pl.Int64 = integer("The month at which it ends.", unit="months")


class WatchLength(Sliced):
    """One row is the failure rate of units with longer cover against those with shorter cover."""

    event: str = word("Which failures.", codes.EVENTS, required=True)
    ratio: float = number("The ratio.")
    low: float = number("Its lower 95 % limit.")
    high: float = number("Its upper 95 % limit.")
    p_value: float = number("Chance of so far a ratio, were there no difference.")
    months: pl.Int64 = integer("The months in service that all share.", required=True)


class CohortRatios(Sliced):
    """One row is a quarter of entry: its failures against those expected at all quarters' rates."""

    cohort: str = text("The quarter of entry, such as 2025-Q3.", required=True)
    event: str = word("Which failures.", codes.EVENTS, required=True)
    failures: pl.Int64 = integer("Failures inside the watch.", required=True)
    expected: float = number("Expected at the rates of all by family and age band.", required=True)
    ratio: float = number("The ratio.")
    low: float = number("Its lower 95 % limit.")
    high: float = number("Its upper 95 % limit.")
    p_value: float = number("Chance of so far a ratio, were there no difference.")
    q_value: float = number("The same after Benjamini-Hochberg.")


class Alarms(Sliced):
    """One row is one run of months in which a family and cause class was in alarm."""

    began: pl.Date = day("First day of the month in which the rise began.", required=True)
    first_month: pl.Date = day("First day of its first month in alarm.", required=True)
    last_month: pl.Date = day("First day of its last month in alarm.", required=True)
    failures: pl.Int64 = integer("Failures from the first month to the last.", required=True)
    expected: float = number("Failures expected in them.", required=True)
    ratio: float = number("The ratio.")
    low: float = number("Its lower 95 % limit.")
    high: float = number("Its upper 95 % limit.")
    standing: bool = flag("Whether it is still in alarm.", required=True)


class DoseBins(Sliced):
    """One row is the failure rate in one range of an analyte, as shares of its limit."""

    analyte: str = word("The analyte.", codes.LIMITED_ANALYTES, required=True)
    event: str = word("Which failures.", EVENT_WORDS, required=True)
    days: str = word(
        "All days, or those on which no installed system has the limit's ability.",
        ("all", "unprotected"),
        required=True,
    )
    limit: float = number("The limit of the newest terms.", required=True)
    bin: pl.Int64 = integer("The range, 1 to 10; 0: the analyte is not known.", required=True)
    value_from: float = number("Where it begins; that value is of the range before.")
    value_to: float = number("Where it ends; that value is of it.")
    failures: pl.Int64 = integer("Failures inside the watch.", required=True)
    units: pl.Int64 = integer("Units watched for a day or more.", required=True)
    unit_years: float = number("Time watched.", "unit-years", required=True)
    rate_per_100: float = number("Failures per 100 unit-years.")
    low: float = number("Lower exact Poisson 95 % limit.", "per 100 unit-years")
    high: float = number("Upper exact Poisson 95 % limit.", "per 100 unit-years")
    robust_low: float = number("Lower limit robust to units that fail again.")
    robust_high: float = number("Upper limit robust to units that fail again.")


class Screen(Sliced):
    """One row is a value of a dimension against all other days, for one class or cause."""

    dimension: str = text("The dimension, or a pair joined by `,`.", required=True)
    value: str = text("Its value, or the pair's joined by `,`.", required=True)
    cause: str = text("The cause; `all` where it is the class.", required=True)
    failures: pl.Int64 = integer("Failures on days of the value.", required=True)
    units: pl.Int64 = integer("Units that had them.", required=True)
    expected: float = number("Failures expected by family, needs and age band.", required=True)
    ratio: float = number("The ratio.")
    low: float = number("Its lower 95 % limit.")
    high: float = number("Its upper 95 % limit.")
    p_value: float = number("Chance of so far a ratio, were there no difference.")
    q_value: float = number("The same after Benjamini-Hochberg.")
    flagged: bool = flag("Whether it stands out: q up to 5 % and low above 1.", required=True)


class DoseCurve(Sliced):
    """One row is the rate at one value of an analyte, on days that no system protects."""

    analyte: str = word("The analyte.", codes.LIMITED_ANALYTES, required=True)
    event: str = word("Which failures.", EVENT_WORDS, required=True)
    value: float = number("The value.", required=True)
    rate_per_100: float = number("Failures per 100 unit-years.")
    low: float = number("Lower 95 % limit, clustered by site.")
    high: float = number("Upper 95 % limit, clustered by site.")


class DoseStep(Sliced):
    """One row is where the rate steps up along an analyte, if anywhere."""

    analyte: str = word("The analyte.", codes.LIMITED_ANALYTES, required=True)
    event: str = word("Which failures.", EVENT_WORDS, required=True)
    limit: float = number("The limit of the newest terms.", required=True)
    step_at: float = number("The last value below the step.")
    step_low: float = number("Where its 95 % set begins.")
    step_high: float = number("Where its 95 % set ends.")
    ratio: float = number("The rate above over the rate below.")
    low: float = number("Its lower 95 % limit.")
    high: float = number("Its upper 95 % limit.")
    p_value: float = number("Chance of so large a step, were there none.")
    failures: pl.Int64 = integer("Failures on unprotected days.", required=True)
    verdict: str = word(
        "Where the limit lies.",
        ("limit_at_step", "limit_below_step", "limit_above_step", "no_step"),
    )


class FieldSentences(Table):
    """One row is what one figure says, as on the page."""

    figure: str = text("The table that it speaks of.", required=True, key=True)
    by: str = text("The dimensions; `all` for none.", required=True, key=True)
    event: str = text("Which failures; `all` where that does not matter.", required=True, key=True)
    sentence: str = text("The sentence.", required=True)


CAUSE_FIGURES = {
    "dose_curve": DoseCurve,
    "dose_step": DoseStep,
    "field_sentences": FieldSentences,
    "standard_curves": StandardCurves,
    "watch_length": WatchLength,
    "cohort_ratios": CohortRatios,
    "alarms": Alarms,
    "dose_bins": DoseBins,
    "screen": Screen,
}
