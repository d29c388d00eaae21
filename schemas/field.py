"""The field figures: what the quality engineer studies, one class a table.

Belongs here: the shape of the figures. Does not belong here: how they are estimated
(`pipelines.field`). A figure that cannot be estimated is null, with the reason in `note`.
"""

import polars as pl

from schemas import codes
from schemas.columns import (
    CENTS,
    TEXTS,
    Table,
    day,
    flag,
    integer,
    money,
    number,
    serial_number,
    text,
    texts,
    word,
)
from schemas.field_causes import CAUSE_FIGURES
from schemas.field_sliced import EVENT_WORDS, Sliced
from schemas.field_to_come import TO_COME

LINES = ("parts", "labor", "travel")


class Rates(Sliced):
    """One row is the failure rate of one slice."""

    failures: pl.Int64 = integer("Failures inside the watch.", required=True)
    units: pl.Int64 = integer("Units watched for a day or more.", required=True)
    unit_years: float = number("Time watched.", "unit-years", required=True)
    rate_per_100: float = number("Failures per 100 unit-years.")
    low: float = number("Lower exact Poisson 95 % limit.", "per 100 unit-years")
    high: float = number("Upper exact Poisson 95 % limit.", "per 100 unit-years")
    robust_low: float = number("Lower limit robust to units that fail again.")
    robust_high: float = number("Upper limit robust to units that fail again.")


class SliceRates(Sliced):
    """One row is the failure rate of one value of a dimension, or of a pair of values."""

    dimension_1: str = text("The first dimension.", required=True)
    value_1: str = text("Its value.", required=True)
    dimension_2: str = text("The second dimension; `all` where there is none.", required=True)
    value_2: str = text("Its value; `all` where there is none.", required=True)
    event: str = word("Which failures.", codes.EVENTS, required=True)
    failures: pl.Int64 = integer("Failures inside the watch.", required=True)
    units: pl.Int64 = integer("Units watched for a day or more.", required=True)
    unit_years: float = number("Time watched.", "unit-years", required=True)
    rate_per_100: float = number("Failures per 100 unit-years.")
    low: float = number("Lower exact Poisson 95 % limit.", "per 100 unit-years")
    high: float = number("Upper exact Poisson 95 % limit.", "per 100 unit-years")
    robust_low: float = number("Lower limit robust to units that fail again.")
    robust_high: float = number("Upper limit robust to units that fail again.")


class FieldFailures(Table):
    """One row is one failure that counts, with the values of all dimensions on its day."""

    call: str = text("The service call.", required=True, key=True)
    claim: str = text("Its claim.", null="nothing was claimed.")
    serial: str = serial_number("The unit.", required=True)
    site: str = text("Its site.")
    failed_on: pl.Date = day("The failure date that is used.", required=True)
    age_days: pl.Int64 = integer("Whole days since the clock start.", unit="d", required=True)
    month: str = text("Its month, such as 2026-05.", required=True)
    family: str = text("The unit's family.", required=True)
    model: str = text("Its model.", required=True)
    region: str = text("Its region, or `unknown`.", required=True)
    cold_supply: str = text("How cold its region's water gets.", required=True)
    profile: str = text("Its water profile, which is that of today.", required=True)
    startup: str = text("Whether its start-up was done.", required=True)
    entry: str = text("The quarter of its clock start.", required=True)
    shipped: str = text("The quarter in which it was shipped.", required=True)
    lot: str = text("Its lot, or `none`.", required=True)
    need: TEXTS = texts("What the water of the day needs, one by one.", required=True)
    needs: str = text("The same, joined by `+`; `none` or `untested`.", required=True)
    severity: str = text("How severe that water is.", required=True)
    treatment: str = word("The state of the treatment.", codes.TREATMENT_STATES, required=True)
    product: str = text("The good systems installed by then, or `none`.", required=True)
    installation: str = text("The result of the latest start-up review by then.", required=True)
    season: str = text("The season.", required=True)
    month_of_year: str = text("The month of the year, 01 to 12.", required=True)
    year: str = text("The year.", required=True)
    age: str = text("The band of months in service.", required=True)
    cause_class: str = text("The class of the cause, or `unknown`.", required=True)
    cause: str = text("The cause, or `unknown`.", required=True)
    part: str = text("The part that was replaced, or `none`.", required=True)
    agency: str = text("The agency of the call.")
    water_related: bool = flag("Whether water brings such causes about.", required=True)
    first_any: bool = flag("The unit's first failure.", required=True)
    first_water: bool = flag("Its first that water caused.", required=True)
    first_of_class: bool = flag("Its first of this class.", required=True)
    cost: CENTS = money("What is payable for it.", required=True)
    dose: TEXTS = texts(
        "Analyte, limit and bin of the water of the day, such as `hardness_mg_l_caco3/60:5`; "
        "`:unprotected` where no installed system guards against it.",
        required=True,
    )
    page: str = text("The page of its claim, as a path.", null="it has no page.")


class Regions(Sliced):
    """One row is one region compared with all regions together, for one kind of failure."""

    event: str = word("Which failures.", codes.EVENTS, required=True)
    failures: pl.Int64 = integer("Failures inside the watch.", required=True)
    units: pl.Int64 = integer("Units watched for a day or more.", required=True)
    unit_years: float = number("Time watched.", "unit-years", required=True)
    rate_per_100: float = number("Failures per 100 unit-years.")
    low: float = number("Lower exact Poisson 95 % limit.")
    high: float = number("Upper exact Poisson 95 % limit.")
    shrunk_per_100: float = number("The rate shrunk by a gamma-Poisson model.")
    expected: float = number("Failures expected at the overall rate.")
    crude_ratio: float = number("Failures over expected.")
    adjusted_ratio: float = number("The ratio adjusted for the water of the day, family and age.")
    adjusted_low: float = number("Its lower 95 % limit.")
    adjusted_high: float = number("Its upper 95 % limit.")
    adjusted_p_value: float = number("Chance of so far an adjusted ratio (Wald, two-sided).")
    adjusted_q_value: float = number("The same after Benjamini-Hochberg, not thin regions only.")
    funnel_95_low: float = number("Lower 95 % funnel limit of the crude ratio.")
    funnel_95_high: float = number("Upper 95 % funnel limit.")
    funnel_998_low: float = number("Lower 99.8 % funnel limit.")
    funnel_998_high: float = number("Upper 99.8 % funnel limit.")
    p_value: float = number("Chance of so far a crude ratio by chance alone.")
    q_value: float = number("The same after Benjamini-Hochberg.")
    flagged: bool = flag(
        "Whether its adjusted ratio stands out at a false-discovery rate of 10 %.", required=True
    )
    direction: str = word("On which side of 1, where flagged.", ("above", "below"))
    confounded: bool = flag(
        "Whether region and water hardly overlap, so that no method can part them.", required=True
    )


class Survival(Sliced):
    """One row is the share of units without a first failure by an age in months."""

    event: str = word("Which failures.", EVENT_WORDS, required=True)
    months: pl.Int64 = integer("Months in service.", required=True)
    at_risk: pl.Int64 = integer("Units watched so long and not yet failed.", required=True)
    failures: pl.Int64 = integer("First failures by then.", required=True)
    survival: float = number("Kaplan-Meier estimate.")
    low: float = number("Lower log-log 95 % limit.")
    high: float = number("Upper log-log 95 % limit.")
    shown: bool = flag("Whether 20 units and 5 % of its units are at risk so late.", required=True)


class Weibull(Sliced):
    """One row is a Weibull fit to the time to first failure of one slice."""

    event: str = word("Which failures.", EVENT_WORDS, required=True)
    shape: float = number("Shape; above 1 the rate rises with age.")
    shape_low: float = number("Its lower 95 % limit.")
    shape_high: float = number("Its upper 95 % limit.")
    scale_months: float = number("Scale.", "months")
    scale_low: float = number("Its lower 95 % limit.", "months")
    scale_high: float = number("Its upper 95 % limit.", "months")
    b10_months: float = number("The age by which 10 % have failed.", "months")
    b10_low: float = number("Its lower 95 % limit.", "months")
    b10_high: float = number("Its upper 95 % limit.", "months")
    b50_months: float = number("The age by which 50 % have failed.", "months")
    b50_low: float = number("Its lower 95 % limit.", "months")
    b50_high: float = number("Its upper 95 % limit.", "months")
    watched_to: pl.Int64 = integer("The age at which its curve ends.", unit="months", required=True)
    scale_extrapolated: bool = flag("Whether the scale lies beyond that.")
    b10_extrapolated: bool = flag("Whether that age lies beyond it.")
    b50_extrapolated: bool = flag("Whether that age lies beyond it.")


class ProbabilityPlot(Sliced):
    """One row is an age at which units first failed: how many by then, and by the Weibull fit."""

    event: str = word("Which failures.", EVENT_WORDS, required=True)
    age_days: pl.Int64 = integer("The age.", unit="days")
    failed: float = number("Share failed, in the middle of the Kaplan-Meier step.")
    fitted: float = number("Share failed by the Weibull fit.")
    low: float = number("Its lower 95 % limit.")
    high: float = number("Its upper 95 % limit.")


class FirstCauses(Sliced):
    """One row is the share of units whose first failure had one cause, by an age in months."""

    months: pl.Int64 = integer("Months in service.", required=True)
    at_risk: pl.Int64 = integer("Units watched so long and not yet failed.", required=True)
    incidence: float = number("Aalen-Johansen estimate.")
    low: float = number("Lower 95 % limit.")
    high: float = number("Upper 95 % limit.")
    shown: bool = flag("Whether 20 units and 5 % of its units are at risk so late.", required=True)


class RepeatFailures(Sliced):
    """One row is the mean number and cost of failures a unit by an age in months."""

    event: str = word("Which failures.", EVENT_WORDS, required=True)
    months: pl.Int64 = integer("Months in service.", required=True)
    at_risk: pl.Int64 = integer("Units watched so long.", required=True)
    mean_count: float = number("Mean cumulative failures a unit.")
    count_low: float = number("Lower robust 95 % limit.")
    count_high: float = number("Upper robust 95 % limit.")
    mean_cost: float = number("Mean cumulative cost a unit.", "currency")
    cost_low: float = number("Lower robust 95 % limit.", "currency")
    cost_high: float = number("Upper robust 95 % limit.", "currency")
    shown: bool = flag("Whether 20 units and 5 % of its units are at risk so late.", required=True)


class Cohorts(Sliced):
    """One row is a quarter of entry at an age in months, as reported and completed."""

    cohort: str = text("The quarter of entry, such as 2025-Q3.", required=True)
    event: str = word("Which failures.", EVENT_WORDS, required=True)
    months: pl.Int64 = integer("Months in service.", required=True)
    units: pl.Int64 = integer("Units of the cohort.", required=True)
    at_risk: pl.Int64 = integer("Of them, those watched so long.", required=True)
    failures: pl.Int64 = integer("Failures reported by that age.", required=True)
    mean_per_100: float = number("100 x the mean failures a unit still watched, as reported.")
    mean_low: float = number("Its lower robust 95 % limit.")
    mean_high: float = number("Its upper robust 95 % limit.")
    completed_per_100: float = number(
        "The same, completed for what is still unreported, or projected."
    )
    completed_low: float = number("Lower 95 % limit, robust; of a prediction where projected.")
    completed_high: float = number("Upper 95 % limit.")
    completed_low_80: float = number("Lower 80 % limit.")
    completed_high_80: float = number("Upper 80 % limit.")
    immature: bool = flag("Whether reports are still expected.", required=True)
    projected: bool = flag("Whether the cohort has not reached that age yet.", required=True)
    shown: bool = flag("Whether 20 units and 5 % of them are at risk so late.", required=True)


class TreatmentEffect(Sliced):
    """One row is the failure rate in one state of the treatment."""

    event: str = word("Which failures.", EVENT_WORDS, required=True)
    state: str = word("The state.", codes.TREATMENT_STATES, required=True)
    failures: pl.Int64 = integer("Failures in that state.", required=True)
    unit_years: float = number("Time in that state.", "unit-years", required=True)
    rate_per_100: float = number("Failures per 100 unit-years.")
    low: float = number("Lower exact Poisson 95 % limit.")
    high: float = number("Upper exact Poisson 95 % limit.")


class TreatmentRatios(Sliced):
    """One row is a ratio of failure rates between two states of the treatment."""

    event: str = word("Which failures.", EVENT_WORDS, required=True)
    comparison: str = text("The two states, the second the reference.", required=True)
    method: str = word("How.", ("crude", "mantel_haenszel", "cox", "cox_first"), required=True)
    ratio: float = number("The ratio.")
    low: float = number("Its lower 95 % limit.")
    high: float = number("Its upper 95 % limit.")


class Warnings(Sliced):
    """One row is a month of one family and cause class under early warning."""

    month: pl.Date = day("The month's first day.", required=True)
    failures: pl.Int64 = integer("Failures of the month.", required=True)
    expected: float = number("Failures expected at the pair's own rates of 24 months.")
    completeness: float = number("Share of its failures that have a cause by now.")
    cusum: float = number("Poisson CUSUM.")
    decision_value: float = number("The value at which it alarms.")
    average_run_length: float = number("Months between false alarms of the pair.", "months")
    false_alarms_a_year: float = number("False alarms a year over all pairs.")
    alarm: bool = flag("Whether the CUSUM stands at that value or beyond.", required=True)


class Costs(Sliced):
    """One row is what one slice costs, line by line."""

    parts: CENTS = money("Parts payable.", required=True)
    labor: CENTS = money("Labor payable.", required=True)
    travel: CENTS = money("Travel payable.", required=True)
    total: CENTS = money("All three.", required=True)
    pending: CENTS = money(
        "What claims that wait would pay if covered, times the share that come to be covered.",
        required=True,
    )
    pending_low: CENTS = money("The same by the share's lower 95 % limit.", required=True)
    pending_high: CENTS = money("The same by its upper 95 % limit.", required=True)
    pending_claims: pl.Int64 = integer("Claims that wait.", required=True)
    unit_years: float = number("Time watched.", "unit-years", required=True)
    cost_per_unit_year: float = number("Cost a unit-year.", "currency")
    cause: str = text("The recorded cause; `all` where not by cause.", required=True)
    agency: str = text("The agency of the call; `all` where not by agency.", required=True)


class AgencyFigures(Table):
    """One row is one agency by one measure, beside what its peers' work would lead to expect."""

    agency: str = text("The agency; `all` for all together.", required=True, key=True)
    measure: str = word("What is compared.", codes.AGENCY_MEASURES, required=True)
    unit: str = text("What `observed` counts.", required=True)
    cases: pl.Int64 = integer("Repairs or claims of the agency that say something.", required=True)
    value: float = number("The share of them, or the mean a claim.")
    low: float = number("Lower 95 % limit: Clopper-Pearson, or Student's t for a mean.")
    high: float = number("Upper 95 % limit.")
    compared: pl.Int64 = integer(
        "Cases with peers of the same family and class; labor hours: and cause."
    )
    observed: float = number("Events, hours or money of those.")
    expected: float = number("The same at the peers' mean of each of those.")
    ratio: float = number("Observed over expected.")
    funnel_95_low: float = number("Lower 95 % funnel limit of the ratio.")
    funnel_95_high: float = number("Upper 95 % funnel limit.")
    funnel_998_low: float = number("Lower 99.8 % funnel limit.")
    funnel_998_high: float = number("Upper 99.8 % funnel limit.")
    spread: float = number("How far agencies differ beyond chance; limits are widened by its root.")
    p_value: float = number("Chance of so much or more, were the agency as its peers.")
    q_value: float = number("The same after Benjamini-Hochberg over the agencies of the measure.")
    flagged: bool = flag("A reason to ask, at a false-discovery rate of 10 %.", required=True)
    thin: bool = flag("Too few cases or events: never ranked.", required=True)
    sentence: str = text("What it says, as a reason to ask and no blame.", required=True)
    note: str = text("Why a figure is missing.")


class ClockStarts(Table):
    """One row is how far the clock starts of one region's units can be relied on."""

    region: str = text("The region; `all` for the whole fleet.", required=True, key=True)
    units: pl.Int64 = integer("Units watched for a day or more.", required=True)
    from_shipment: pl.Int64 = integer(
        "Of them, those whose clock start had to be taken from shipment.", required=True
    )
    from_shipment_share: float = number("Their share.")
    unsound: pl.Int64 = integer("Units left out for an unsound clock start.", required=True)
    unsound_reasons: str = text("How many for each reason.")


class Sensitivity(Table):
    """One row is the failure rate of one region under one assumption on exposure or reports."""

    region: str = text("The region; `all` for the whole fleet.", required=True, key=True)
    assumption: str = text("What is assumed.", required=True, key=True)
    units: pl.Int64 = integer("Units counted.", required=True)
    failures: float = number("Failures; fractional where completed.", required=True)
    unit_years: float = number("Time watched.", "unit-years", required=True)
    rate_per_100: float = number("Failures per 100 unit-years.")
    low: float = number("Lower 95 % limit.", "per 100 unit-years")
    high: float = number("Upper 95 % limit.", "per 100 unit-years")
    thin: bool = flag("Fewer than 5 failures or 10 units at risk.", required=True)
    note: str = text("Why a figure is missing.")


class ReportingLags(Table):
    """One row is the share of reports that have come in so many days after what they report."""

    stage: str = text("From what to what.", required=True, key=True)
    days: pl.Int64 = integer("Days since.", required=True, key=True)
    share_reported: float = number("Share of all that come within a year.", required=True)
    failures: pl.Int64 = integer("Failures behind it.", required=True)


FIELD_TABLES: dict[str, type[Table]] = {
    "rates": Rates,
    "slice_rates": SliceRates,
    "field_failures": FieldFailures,
    "regions": Regions,
    "survival": Survival,
    "weibull": Weibull,
    "probability_plot": ProbabilityPlot,
    "first_causes": FirstCauses,
    "repeat_failures": RepeatFailures,
    "cohorts": Cohorts,
    "treatment_effect": TreatmentEffect,
    "treatment_ratios": TreatmentRatios,
    "warnings": Warnings,
    "costs": Costs,
    "agency_figures": AgencyFigures,
    "clock_starts": ClockStarts,
    "sensitivity": Sensitivity,
    "reporting_lags": ReportingLags,
    **CAUSE_FIGURES,
    **TO_COME,
}
