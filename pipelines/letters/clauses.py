"""The clause that a reason rests on: the condition's number, and the keys of the terms behind it.

Belongs here: which keys of the terms a condition reads, in the words of the terms files. Does not
belong here: the conditions themselves (`pipelines.coverage.conditions`).
"""

from __future__ import annotations

import polars as pl

from schemas import codes

# Keys that hold one number are told with their value; a list or table is only named.
CLAUSES: dict[str, tuple[str, ...]] = {
    "terms_in_force": ("effective_from",),
    "filed_in_time": ("claims.file_within_days",),
    "only_claim_for_failure": ("claims.duplicate_within_days",),
    "earlier_repair_held": ("claims.workmanship_days",),
    "startup_requested_in_time": ("startup.request_within_days",),
    "startup_completed": ("startup.bonus_parts_months", "startup.bonus_labor_months"),
    "within_parts_window": ("coverage.parts_months", "startup.bonus_parts_months"),
    "within_labor_window": ("coverage.labor_months", "startup.bonus_labor_months"),
    "installation_sound": ("installation.limits",),
    "water_tested": ("water.panel",),
    "treatment_bought_new": ("treatment.sellers",),
    "treatment_suits_water": ("water.limits",),
    "treatment_installed": ("treatment.grace_days",),
    "treatment_maintained": ("maintenance.cartridge_months", "maintenance.cartridge_grace_days"),
    "delimed": ("maintenance.delime_months", "maintenance.delime_grace_days"),
}
# What the others rest on instead.
RECORDS = {
    "unit_on_register": "the register of units",
    "records_agree": "the dates of the call, the unit and its start-up",
    "agency_authorized": "the list of authorized agencies",
    "cause_established": "the list of causes",
    "cause_not_excluded": "the list of causes",
}
_VALUES = {
    key: key.rpartition(".")[2]
    for keys in CLAUSES.values()
    for key in keys
    if key.endswith(("_days", "_months")) and key != "maintenance.cartridge_months"
}
VALUE_COLUMNS = tuple(dict.fromkeys(_VALUES.values()))


def clause() -> pl.Expr:
    """The clause of a finding, such as `Condition 4 of 20, filed in time; terms 2024-A,
    claims.file_within_days = 60`.

    Reads position, condition, edition and VALUE_COLUMNS; without an edition no key is named.
    """
    number = pl.format(
        "Condition {} of {}, {}",
        "position",
        len(codes.CONDITIONS),
        pl.col("condition").str.replace_all("_", " "),
    )
    rests_on = pl.coalesce(
        *(_when(name, _keys(keys)) for name, keys in CLAUSES.items()),
        *(_when(name, pl.lit(words)) for name, words in RECORDS.items()),
    )
    return pl.concat_str(number, rests_on, separator="; ", ignore_nulls=True)


def _when(condition: str, words: pl.Expr) -> pl.Expr:
    return pl.when(pl.col("condition") == condition).then(words)


def _keys(keys: tuple[str, ...]) -> pl.Expr:
    """The edition and its keys; null without an edition."""
    told = [
        pl.format("{} = {}", pl.lit(key), pl.col(_VALUES[key])) if key in _VALUES else pl.lit(key)
        for key in keys
    ]
    listed = pl.concat_str(told, separator=", ", ignore_nulls=True)
    return pl.format("terms {}, {}", pl.col("edition"), listed)
