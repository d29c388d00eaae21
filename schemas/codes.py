"""The closed word lists that the whole product shares.

Belongs here: words with one meaning each. Does not belong here: what follows from a word.
"""

from __future__ import annotations

# Under which name rows of the desk are cited, as a path below exports/ like every other.
DESK_FILE = "../desk"
FEEDS = (
    "units",
    "startups",
    "water_tests",
    "treatment_purchases",
    "service_calls",
    "rulings",
    "credits",
)
# Feeds that a company may do without: where none has come, nothing is said of them.
OPTIONAL_FEEDS = ("credits",)
REFERENCES = ("models", "treatments", "causes", "agencies", "regions")

CONDITIONS = (
    "unit_on_register",
    "terms_in_force",
    "records_agree",
    "filed_in_time",
    "agency_authorized",
    "only_claim_for_failure",
    "earlier_repair_held",
    "startup_requested_in_time",
    "startup_completed",
    "within_parts_window",
    "within_labor_window",
    "cause_established",
    "cause_not_excluded",
    "installation_sound",
    "water_tested",
    "treatment_bought_new",
    "treatment_suits_water",
    "treatment_installed",
    "treatment_maintained",
    "delimed",
)
OUTCOMES = ("met", "unmet", "unknown", "disputed", "not_needed", "not_evaluated")
VERDICTS = ("covered", "covered_in_part", "not_covered", "needs_evidence", "needs_review")
RULINGS = ("covered", "covered_in_part", "not_covered")
PAYMENT_STATES = (
    "unpaid",
    "paid_in_part",
    "paid",
    "overpaid",
    "credited_twice",
    "paid_though_not_covered",
    "paid_while_open",
    "taken_back",
    "claim_unknown",
)
# Those that nobody has to act on.
SETTLED_PAYMENTS = ("paid", "taken_back")
FATES = ("record", "superseded", "duplicate", "set_aside")

KINDS = ("repair", "treatment_install", "cartridge_change", "delime", "inspection")
POINTS = ("supply", "treated")
CONDITION_OF_GOODS = ("new", "used", "refurbished")
GASES = ("natural", "propane", "none")
PERFORMERS = ("technician", "owner")
DELIMERS = ("none", "owner", "technician")
# Why a value finds nothing, in the order in which causes are looked for.
MISS_CAUSES = ("lost_zeros", "case_or_punctuation", "close_spelling", "unknown")
# What names something elsewhere, as the settings call it; `pipelines.records.joins` says what.
JOINED_COLUMNS = (
    "startups.serial",
    "water_tests.serial",
    "treatment_purchases.serial",
    "service_calls.serial",
    "water_tests.site",
    "treatment_purchases.site",
    "startups.agency",
    "service_calls.agency",
    "startups.treatment_product",
    "service_calls.product",
    "treatment_purchases.product",
    "service_calls.cause",
    "units.model",
    "units.region",
    "rulings.claim",
    "credits.claim",
)
TREATMENT_KINDS = ("system", "cartridge")
# What an alias may stand for; each is a column, of one or more feeds.
ALIAS_KINDS = ("agency", "site", "product", "model", "cause", "region", "seller")

CAUSE_CLASSES = (
    "scale",
    "corrosion",
    "chlorine",
    "silica",
    "sediment",
    "gasket",
    "electrical",
    "gas",
    "control",
    "installation",
    "misuse",
    "wear",
)
ABILITIES = (
    "scale",
    "tds",
    "chloride",
    "silica",
    "chlorine",
    "chloramine",
    "sediment",
    "ph",
)

# The reported analytes of a water test, in the order of the feed; each has a `_below` bound.
ANALYTES = (
    "ph",
    "tds_mg_l",
    "conductivity_us_cm",
    "hardness_mg_l_caco3",
    "calcium_mg_l_caco3",
    "alkalinity_mg_l_caco3",
    "free_chlorine_mg_l",
    "total_chlorine_mg_l",
    "chloride_mg_l",
    "sulfate_mg_l",
    "silica_mg_l",
    "iron_mg_l",
    "sediment_um",
)
# What the terms may limit: the reported analytes and the one that is derived from two of them.
LIMITED_ANALYTES = (*ANALYTES, "chloramine_mg_l")

READINGS = (
    "flowing_pressure_psi",
    "static_pressure_psi",
    "supply_temperature_f",
    "gas_pressure_in_wc",
    "drain_air_gap_in",
    "side_clearance_in",
    "level",
    "under_hood",
    "water_lines",
)
# What a complete start-up report may have to have, in the order of the feed: its columns from
# flowing_pressure_psi to sample_taken.
REPORTED = (
    "flowing_pressure_psi",
    "static_pressure_psi",
    "supply_temperature_f",
    "gas",
    "gas_pressure_in_wc",
    "drain_air_gap_in",
    "side_clearance_in",
    "level",
    "under_hood",
    "water_lines",
    "sample_taken",
)
READING_UNITS = ("psi", "F", "in wc", "in")
READING_OUTCOMES = ("sound", "unsound", "not_reported", "reported", "to_check")
REVIEW_RESULTS = ("sound", "incomplete", "unsound")
# How far the treatment of a unit has come; the last three without a complete test.
RECOMMENDATION_STATES = (
    "none_needed",
    "kept_up",
    "lapsed",
    "bought",
    "unsuitable",
    "nothing_serves",
    "overdue",
    "open",
    "waiting_for_result",
    "no_sample",
    "no_startup",
)
JOURNEY_STEPS = (
    "purchased",
    "requested",
    "completed",
    "sampled",
    "reported",
    "bought",
    "installed",
)
JOURNEY_SLICES = ("all", "family", "region", "purchased", "agency")

PROFILES = {
    "scale": "scale-forming",
    "chloride": "chloride",
    "silica": "silica",
    "chlorine": "chlorine",
    "chloramine": "chloramine",
    "sediment": "sediment",
    "ph": "acidic or alkaline",
    "tds": "high solids",
}
TREATMENT_STATES = ("treated", "lapsed", "untreated", "not needed", "untested")
EVENTS = ("any", "water")
# What agencies are compared by: repairs that came back, hours and travel a claim, claims whose
# verdict waits on documents.
AGENCY_MEASURES = ("returns", "labor_hours", "travel", "documents")
# Thirds of the claims by the amount claimed.
MONEY_BANDS = ("lower third", "middle third", "upper third")
MATTERS = (
    "start-up request due",
    "start-up outstanding",
    "test outstanding",
    "treatment due",
    "cartridge due",
    "deliming due",
    "installation fault",
)

# Columns of the feeds that the settings may keep off everything that is published.
HIDEABLE = ("site_name", "agency", "postal_code", "lab", "notes")
# How far a letter of the register has come.
# Letters about a claim, a reminder of one, and those about a unit.
UNIT_LETTER_KINDS = ("installation", "recommendation")
LETTER_KINDS = ("decision", "documents", "question", "ruling", "reminder", *UNIT_LETTER_KINDS)
LETTER_STATES = ("to_send", "sent", "answered", "closed", "overtaken", "told_before")
