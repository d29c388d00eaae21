"""The feeds: one class each, in the order and with the names of the exports.

Belongs here: columns, types, keys and the checks that one row can answer alone. Does not belong
here: checks against other tables or rows (`pipelines.records`), and what a record means for a
claim (`pipelines.coverage`).
"""

from functools import cache

import polars as pl

from schemas import codes
from schemas.columns import (
    HOURS,
    MOMENT,
    MONEY,
    Table,
    analyte,
    day,
    flag,
    hours,
    integer,
    moment,
    money,
    number,
    region_code,
    serial_number,
    signed_money,
    text,
    word,
)
from schemas.validation import pa


class Units(Table):
    """One row is one steam cooker of the installed-base register."""

    serial: str = serial_number("The unit's serial.", required=True, key=True)
    model: str = text("The unit's model, as in models.csv.", required=True)
    shipped_on: pl.Date = day("The day the unit left the maker.", required=True)
    purchased_on: pl.Date = day("The day the first user bought it.")
    installed_on: pl.Date = day("The day it was installed.")
    site: str = text("The kitchen where it stands; one water supply.")
    site_name: str = text("The kitchen's name.")
    region: str = region_code("The region of the site (ISO 3166-2).")
    postal_code: str = text("The site's postal code.")
    retired_on: pl.Date = day("The last day in service.")
    replaces: str = serial_number("The serial of the unit that this one took over from.")


class Startups(Table):
    """One row is one start-up report."""

    report: str = text("The report's number.", required=True, key=True)
    serial: str = serial_number("The unit that was started up.", required=True)
    requested_on: pl.Date = day("The day the start-up was asked for.")
    completed_on: pl.Date = day("The day the start-up was completed.")
    agency: str = text("The service agency that did it.")
    flowing_pressure_psi: float = number("Water supply pressure while flowing.", "psi")
    static_pressure_psi: float = number("Water supply pressure at rest.", "psi")
    supply_temperature_f: float = number("Temperature of the water supply.", "°F")
    gas: str = word("The gas that the unit burns.", codes.GASES)
    gas_pressure_in_wc: float = number("Gas pressure at the unit.", "inches of water")
    drain_air_gap_in: float = number("Air gap between drain and floor drain.", "in")
    side_clearance_in: float = number("Free space beside the unit.", "in")
    level: bool = flag("Whether the unit stands level.")
    under_hood: bool = flag("Whether the unit stands under a hood.")
    water_lines: pl.Int64 = integer("Water lines connected.", isin=[1, 2])
    sample_taken: bool = flag("Whether a water sample was taken.")
    treatment_product: str = text("The water treatment found or fitted.")
    treatment_installed_on: pl.Date = day("The day that treatment was installed.")
    notes: str = text("Free notes.")


class WaterTests(Table):
    """One row is one water sample with its laboratory results."""

    sample: str = text("The laboratory's sample number.", required=True, key=True)
    site: str = text("The site whose water it is.")
    serial: str = serial_number("The unit at which it was taken.")
    point: str = word("Where it was taken.", codes.POINTS, required=True)
    sampled_on: pl.Date = day("The day the sample was taken.", required=True)
    reported_on: pl.Date = day("The day the laboratory reported.")
    lab: str = text("The laboratory.")
    ph: float = analyte("pH.", None)
    tds_mg_l: float = analyte("Total dissolved solids.", "mg/L")
    conductivity_us_cm: float = analyte("Electrical conductivity at 25 °C.", "uS/cm")
    hardness_mg_l_caco3: float = analyte("Total hardness, as calcium carbonate.", "mg/L")
    calcium_mg_l_caco3: float = analyte("Calcium hardness, as calcium carbonate.", "mg/L")
    alkalinity_mg_l_caco3: float = analyte("Total alkalinity, as calcium carbonate.", "mg/L")
    free_chlorine_mg_l: float = analyte("Free chlorine.", "mg/L")
    total_chlorine_mg_l: float = analyte("Total chlorine.", "mg/L")
    chloride_mg_l: float = analyte("Chloride.", "mg/L")
    sulfate_mg_l: float = analyte("Sulfate.", "mg/L")
    silica_mg_l: float = analyte("Silica, as SiO2.", "mg/L")
    iron_mg_l: float = analyte("Iron.", "mg/L")
    sediment_um: float = analyte("Largest undissolved particle.", "um")
    temperature_c: float = number("Temperature of the sample.", "°C")

    @pa.dataframe_check(name="site_or_serial")
    def site_or_serial(cls, data: pa.PolarsData) -> pl.LazyFrame:
        """A test names the site or the unit."""
        return data.lazyframe.select(pl.col("site").is_not_null() | pl.col("serial").is_not_null())


class TreatmentPurchases(Table):
    """One row is one line of an order for water treatment."""

    order: str = text("The order's number.", required=True, key=True)
    line: str = text("The line of the order.", required=True, key=True)
    ordered_on: pl.Date = day("The day of the order.", required=True)
    product: str = text("What was bought, as in treatments.csv.", required=True)
    quantity: pl.Int64 = integer("How many.", required=True, ge=1)
    condition: str = word("New, used or refurbished.", codes.CONDITION_OF_GOODS, required=True)
    seller: str = text("Who sold it.", required=True)
    site: str = text("The site it was bought for.")
    serial: str = serial_number("The unit it was bought for.")

    @pa.dataframe_check(name="site_or_serial")
    def site_or_serial(cls, data: pa.PolarsData) -> pl.LazyFrame:
        """A purchase names the site or the unit."""
        return data.lazyframe.select(pl.col("site").is_not_null() | pl.col("serial").is_not_null())


class ServiceCalls(Table):
    """One row is one service call; a repair with a claim number is a claim."""

    call: str = text("The call's number.", required=True, key=True)
    claim: str = text("The claim's number; empty where nothing was claimed.")
    serial: str = serial_number("The unit.", required=True)
    kind: str = word("What the call was for.", codes.KINDS, required=True)
    opened_on: pl.Date = day("The day the call was opened.", required=True)
    failed_on: pl.Date = day("The day the unit failed.")
    completed_on: pl.Date = day("The day the work was completed.")
    claimed_on: pl.Date = day("The day the claim was filed.")
    agency: str = text("The service agency.")
    performed_by: str = word("Who did the work.", codes.PERFORMERS)
    product: str = text("The treatment that was installed or serviced.")
    cause: str = text("The cause of the failure, as in causes.csv.")
    part: str = text("The part that was replaced.")
    parts_amount: MONEY = money("What the parts cost.")
    labor_hours: HOURS = hours("Hours of labor.")
    labor_rate: MONEY = money("The rate of an hour of labor.")
    travel_amount: MONEY = money("What the travel cost.")
    notes: str = text("Free notes.")


class Rulings(Table):
    """One row is what a person decided on a claim at one moment."""

    claim: str = text("The claim.", required=True, key=True)
    ruled_at: MOMENT = moment("When it was decided.", required=True, key=True)
    ruled_by: str = text("Who decided.", required=True)
    ruling: str = word("The decision.", codes.RULINGS, required=True)
    reason: str = text("Why.", required=True)
    parts_amount: MONEY = money("What is to be paid for parts, where the person sets it.")
    labor_amount: MONEY = money("What is to be paid for labor, where the person sets it.")
    travel_amount: MONEY = money("What is to be paid for travel, where the person sets it.")


class Credits(Table):
    """One row is one credit for a claim, as posted; a negative one takes back what was credited.

    Books are not corrected but posted anew, so every column is part of the key: only the same
    credit told again is the same row.
    """

    claim: str = text("The claim.", required=True, key=True)
    credited_on: pl.Date = day("The day on which it was posted.", required=True, key=True)
    credit: str = text("The credit's number, where the books give one.", key=True)
    parts_amount: MONEY = signed_money("What was credited for parts.", key=True)
    labor_amount: MONEY = signed_money("What was credited for labor.", key=True)
    travel_amount: MONEY = signed_money("What was credited for travel.", key=True)

    @pa.dataframe_check(name="some_amount")
    def some_amount(cls, data: pa.PolarsData) -> pl.LazyFrame:
        """A credit says how much."""
        amounts = ("parts_amount", "labor_amount", "travel_amount")
        return data.lazyframe.select(pl.any_horizontal(pl.col(amounts).is_not_null()))


FEED_TABLES: dict[str, type[Table]] = {
    "units": Units,
    "startups": Startups,
    "water_tests": WaterTests,
    "treatment_purchases": TreatmentPurchases,
    "service_calls": ServiceCalls,
    "rulings": Rulings,
    "credits": Credits,
}

# The first of these dates that a row has says from when on it is seen.
SEEN_BY = {
    "units": ("shipped_on",),
    "startups": ("requested_on", "completed_on"),
    "water_tests": ("reported_on", "sampled_on"),
    "treatment_purchases": ("ordered_on",),
    "service_calls": ("opened_on",),
    "rulings": ("ruled_at",),
    "credits": ("credited_on",),
}


# Since when the content of a record, and its key, are known.
ARRIVALS = pl.Schema({"arrived_on": pl.Date(), "first_arrived_on": pl.Date()})
# What the table of rulings tells beside the feed once everything is decided.
GRANTS = pl.Schema(
    {
        "parts_granted": pl.Decimal(18, 2),
        "labor_granted": pl.Decimal(18, 2),
        "travel_granted": pl.Decimal(18, 2),
        "stands": pl.Boolean(),
        "approved_by": pl.String(),
    }
)


@cache
def record_schema(feed: str) -> pl.Schema:
    """Columns and types of a feed's table of records: the feed's, bounds, and the source."""
    from schemas.columns import polars_schema

    schema = dict(polars_schema(FEED_TABLES[feed]))
    if feed == "water_tests":
        schema |= {f"{name}_below": pl.Float64() for name in codes.ANALYTES}
    source = {
        "source_file": pl.String(),
        "source_line": pl.Int64(),
        "source_sheet": pl.String(),  # empty for a text file
    }
    return pl.Schema(schema | source)


@cache
def stored_schema(feed: str) -> pl.Schema:
    """Columns and types of a feed's table in the store: a record's, and since when it is known."""
    return pl.Schema({**record_schema(feed), **ARRIVALS})
