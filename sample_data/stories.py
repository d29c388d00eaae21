"""The stories planted in the sample, as tests of the figures can look for them.

Belongs here: what each story is about and the sign that a figure must show. Does not belong here:
how it is planted (`failures`, `treatment`).
"""

from __future__ import annotations

from sample_data.calls import LONG_HOURS_AGENCY
from sample_data.failures import BATCH_FAMILY, COLD_SUPPLY_C, COME_BACK_AGENCY

STORIES: dict[str, dict[str, object]] = {
    "water_not_the_region": {
        "region": "US-AZ",
        "crude_ratio_above": 1.2,
        "adjusted_ratio_below": 1.2,
    },
    "treatment_kept_up": {"event": "water", "ratio_above": 0.3, "ratio_below": 0.75},
    "chloramine_through_membrane": {
        "cause": "CHLORAMINE-SEAL",
        "system": "OSMO",
        "needed": "CARBON-X",
    },
    "cold_winter": {
        "cause": "TANK-DRY",
        "coldest_supply_c_at_most": COLD_SUPPLY_C,
        "months": [12, 1, 2],
    },
    "repairs_come_back": {"agency": COME_BACK_AGENCY, "ratio_to_others_above": 2.0},
    "early_batch": {
        "family": BATCH_FAMILY,
        "cohort": "2025-Q2",
        "cause": "BOARD",
        "cause_class": "electrical",
    },
    "long_hours": {"agency": LONG_HOURS_AGENCY, "ratio_to_others_above": 1.15},
}
