"""The stories planted in the sample, as tests of the figures can look for them.

Belongs here: what each story is about and the sign that a figure must show. Does not belong here:
how it is planted (`failures`, `treatment`, `bills`).
"""

from __future__ import annotations

from sample_data.before_claims import NEVER_LEVELS_AGENCY, WAITING_REGION
from sample_data.bills import LONG_HOURS_AGENCY
from sample_data.failures import BATCH_FAMILY, COLD_SUPPLY_C, COME_BACK_AGENCY

# The bounds leave room for another way to estimate the same figure.
STORIES: dict[str, dict[str, object]] = {
    "water_not_the_region": {
        "figure": "regions",
        "event": "any",
        "region": "US-AZ",
        "crude_ratio_above": 1.3,
        "adjusted_ratio_below": 1.25,
        "false_discovery_rate": 0.10,
    },
    "treatment_kept_up": {
        "figure": "treatment_ratios",
        "event": "water",
        "comparison": "treated vs untreated",
        "ratio_above": 0.35,
        "ratio_below": 0.7,
    },
    "chloramine_through_membrane": {
        "feed": "service_calls",
        "cause": "CHLORAMINE-SEAL",
        "systems": ["OSMO-25", "OSMO-60"],
        "needed": "CARBON-X",
        "rate_ratio_above": 1.5,
    },
    "cold_winter": {
        "feed": "service_calls",
        "cause": "TANK-DRY",
        "coldest_supply_c_at_most": COLD_SUPPLY_C,
        "months": [12, 1, 2],
        "share_in_those_months_above": 0.7,
    },
    "repairs_come_back": {
        "figure": "findings",
        "condition": "earlier_repair_held",
        "agency": COME_BACK_AGENCY,
        "share_disputed_ratio_above": 2.0,
    },
    "early_batch": {
        "figure": "cohorts",
        "family": BATCH_FAMILY,
        "cohort": "2025-Q2",
        "cause": "BOARD",
        "cause_class": "electrical",
        "months": 4,
        "ratio_to_other_cohorts_above": 2.0,
        "alarm_from": "2025-06",
        "alarm_until": "2025-09",
    },
    "long_hours": {
        "feed": "service_calls",
        "agency": LONG_HOURS_AGENCY,
        "hours_ratio_to_others_above": 1.15,
    },
    "never_levels": {
        "figure": "startup_reviews",
        "agency": NEVER_LEVELS_AGENCY,
        "fault": "level",
        "share_unsound_above": 0.9,
    },
    "samples_wait": {
        "figure": "journey_rates",
        "region": WAITING_REGION,
        "step": "reported",
        "median_days_above": 30,
        "others_median_days_below": 15,
    },
}
