"""The field figures of what is to come: forecasts, their model and their record, cohorts' record.

Belongs here: the shape of these figures. Does not belong here: the other figures (`schemas.field`),
how they are estimated (`pipelines.field`).
"""

import polars as pl

from schemas import codes
from schemas.columns import Table, day, flag, integer, number, text, word
from schemas.field_sliced import Sliced

BASES = ("installed", "sales", "all")


class _Expected(Sliced):
    """Failures and cost of a time to come, beside what happened where known."""

    as_of: pl.Date = day("The day as of which it was made.", required=True)
    basis: str = word(
        "Units installed or shipped by then, units to be shipped after it, or all of them.",
        BASES,
        required=True,
    )
    month: pl.Date = day("The first day of the month, or of the first of twelve.", required=True)
    failures: float = number("Failures expected.")
    low_80: float = number("Lower 80 % limit.")
    high_80: float = number("Upper 80 % limit.")
    low_95: float = number("Lower 95 % limit.")
    high_95: float = number("Upper 95 % limit.")
    cost: float = number("Cost expected.", "currency")
    cost_low_80: float = number("Lower 80 % limit.", "currency")
    cost_high_80: float = number("Upper 80 % limit.", "currency")
    cost_low_95: float = number("Lower 95 % limit.", "currency")
    cost_high_95: float = number("Upper 95 % limit.", "currency")
    actual: pl.Int64 = integer("What happened, where the time is over.")
    actual_cost: float = number("What that cost, pending claims weighted.", "currency")


class Forecast(_Expected):
    """One row is a coming month: failures and cost expected, beside what happened where known."""


class ForecastYear(_Expected):
    """One row is twelve coming months together: failures and cost, beside what happened."""


class ForecastRecord(Sliced):
    """One row is a forecast made so many months ago: how far it was off."""

    as_of: pl.Date = day("The day as of which it was made.", required=True)
    basis: str = word("Which units, as in the forecast.", BASES, required=True)
    forecast: float = number("Failures expected in the twelve months.")
    actual: pl.Int64 = integer("Failures that happened in them.")
    bias: float = number("Forecast over actual, less 1.")
    year_inside_80: bool = flag("Whether the actual lies within the year's 80 % limits.")
    year_inside_95: bool = flag("Whether it lies within the year's 95 % limits.")
    months_inside_80: pl.Int64 = integer("Months of the twelve within their 80 % limits.")
    months_inside_95: pl.Int64 = integer("Months of the twelve within their 95 % limits.")


class ForecastModel(Sliced):
    """One row is a term of the model behind the forecast: whether it was used, and its value."""

    term: str = text("The term; `name=level` is one level of several.", required=True)
    used: bool = flag("Whether the forecast uses it.", required=True)
    estimate: float = number(
        "A rate ratio (to the first level, or a year on), a mean a month, a dispersion or a share."
    )
    low: float = number("Its lower 95 % limit.")
    high: float = number("Its upper 95 % limit.")
    p_value: float = number("Of the likelihood-ratio test that decides whether it is used.")


class CompletionRecord(Sliced):
    """One row is how cohorts projected twelve months before came out in one slice."""

    event: str = word("Which failures.", codes.EVENTS, required=True)
    as_of: pl.Date = day("The day as of which it was projected.", required=True)
    cells: pl.Int64 = integer("Quarters of entry by months that were projected and have come.")
    bias: float = number("Sum of what was projected over that of what came, less 1.")
    inside_80: float = number("Share of the cells within their 80 % limits.")
    inside_95: float = number("Share of the cells within their 95 % limits.")


TO_COME: dict[str, type[Table]] = {
    "completion_record": CompletionRecord,
    "forecast": Forecast,
    "forecast_year": ForecastYear,
    "forecast_record": ForecastRecord,
    "forecast_model": ForecastModel,
}
