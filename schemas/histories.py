"""What is known of units and their water: histories, profiles and what is coming up.

Belongs here: the shape of the tables. Does not belong here: how they are computed.
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

CLOCK_SOURCES = (
    "installed_on",
    "purchased_on",
    "shipped_on",
    "latest_after_shipment",
    "replaced_unit",
)
PROFILE_WORDS = ("within limits", *codes.PROFILES.values(), "mixed", "untested")


class UnitHistories(Table):
    """One row is one unit: its clock, cover, start-up, water and upkeep."""

    serial: str = serial_number("The unit.", required=True, key=True)
    model: str = text("Its model.", required=True)
    family: str = text("Its family.", required=True)
    region: str = text("Its region.")
    site: str = text("Its site.")
    edition: str = text("The edition of its terms.")
    clock_start: pl.Date = day("The day on which its warranty starts to run.")
    clock_source: str = word("The date that set the clock.", CLOCK_SOURCES)
    startup_requested_on: pl.Date = day("The earliest request of a start-up.")
    startup_completed_on: pl.Date = day("The earliest completion of a start-up.")
    startup_earned: str = word("Whether the start-up bonus is earned.", codes.OUTCOMES)
    coverage_end: pl.Date = day("First day after the longest coverage window.")
    water_profile: str = word("The class of its water.", PROFILE_WORDS, required=True)
    needs: TEXTS = texts("What its water needs.", required=True, words=codes.ABILITIES)
    treatment_installed_on: pl.Date = day("The day the fitting treatment was installed.")
    covered_until: pl.Date = day("The day to which its cartridges last.")
    days_covered_share: float = number("Share of days since then that cartridges covered.")
    last_delimed_on: pl.Date = day("The latest deliming.")
    watched_from: pl.Date = day("First day on which failures are counted.")
    watched_until: pl.Date = day("First day on which they no longer are.")
    treatment_unmet: TEXTS = texts(
        "What its fitted treatments leave of its needs; null where none or untested.",
        words=codes.ABILITIES,
    )
    membrane_keeps_up: bool = flag("Whether its reverse osmosis keeps up in the coldest month.")
    membrane_output_l_per_day: float = number("What it makes then.", "L/d")
    membrane_demand_l_per_day: float = number("What the kitchen draws.", "L/d")
    entry: str = text("The quarter of its own clock start, such as 2025-Q3.")
    shipped: str = text("The quarter in which it was shipped.")
    lot: str = text("Its lot by lots.csv; `none` where in none.", required=True)
    cold_supply: str = word(
        "Its region's coldest supply water: cold to 6 °C, cool to 12, mild above.",
        ("cold", "cool", "mild", "unknown"),
        required=True,
    )
    replaces: str = serial_number("The unit that it took over from.")
    replacement: str = text("What became of the clock of the unit that it took over from.")


class WatchSpans(Table):
    """One row is one stretch of the days watched of a unit, of one water, treatment and product."""

    serial: str = serial_number("The unit.", required=True, key=True)
    from_on: pl.Date = day("Its first day.", required=True, key=True)
    until_on: pl.Date = day("The first day that is not of it.", required=True)
    sample: str = text("The water test in force.", null="no test is in force.")
    needs: str = text(
        "What the water of the day needs: abilities joined by `+`, `none` or `untested`.",
        required=True,
    )
    severity: str = word(
        "How severe that water is.", ("mild", "normal", "severe", "untested"), required=True
    )
    treatment: str = word("The state of the treatment.", codes.TREATMENT_STATES, required=True)
    product: str = text(
        "The systems that count as good and are installed, joined by `+`, or `none`.", required=True
    )


class WaterProfiles(Table):
    """One row is one water sample: its class, its needs and its indices."""

    sample: str = text("The sample.", required=True, key=True)
    site: str = text("The site.")
    sampled_on: pl.Date = day("The day it was taken.", required=True)
    profile: str = word("The class of the water.", PROFILE_WORDS, required=True)
    needs: TEXTS = texts("What the water needs.", required=True, words=codes.ABILITIES)
    worst_ratio: float = number("Largest value over its maximum.")
    chloramine_mg_l: float = number("Total less free chlorine.", "mg/L")
    langelier_25c: float = number("Calcite saturation index at 25 °C.")
    langelier_60c: float = number("The same at 60 °C, heated closed.")
    langelier_100c: float = number("The same at 100 °C, heated closed.")
    langelier_100c_fixed_ph: float = number("The same at 100 °C with the cold pH carried over.")
    ryznar_25c: float = number("Ryznar index at 25 °C: 2 pHs - pH.")
    ph_100c: float = number("pH at 100 °C, heated closed.")
    ccpp_closed_mg_l_25c: float = number("Calcite that can deposit, closed, 25 °C.", "mg/L")
    ccpp_open_mg_l_100c: float = number("The same, vented at 100 °C.", "mg/L")
    scale_ceiling_mg_l: float = number("All the scale that a litre can lay down.", "mg/L")
    larson_skold: float = number("Larson-Skold ratio; mild steel only.")
    silica_index_25c: float = number("Amorphous silica saturation at 25 °C, log10.")
    silica_index_100c: float = number("The same at 100 °C.")
    doubts: TEXTS = texts("What does not add up in the test.", required=True)
    assumed: TEXTS = texts("What was assumed or derived.", required=True)


class Upcoming(Table):
    """One row is one matter that will cost a unit its cover unless someone acts."""

    serial: str = serial_number("The unit.", required=True, key=True)
    site: str = text("Its site.")
    region: str = text("Its region.")
    matter: str = word("What is due.", codes.MATTERS, required=True)
    due_on: pl.Date = day("The day by which to act.", required=True)
    days_left: pl.Int64 = integer("Days from the as-of date to then.", required=True)
    at_stake: str = text("What cover lapses.", required=True)
    site_name: str = text("The site's name.")
    sentence: str = text("What to write to the site.", required=True)
