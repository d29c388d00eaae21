"""The clause that a reason rests on: the condition's number, and the terms behind it in words.

Belongs here: how the clause that a condition declares is put, without a key of the terms file. Does
not belong here: which terms a condition reads, which it says itself
(`pipelines.coverage.conditions`).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.calendar_days import counted_words
from pipelines.coverage.judging import CONDITIONS
from schemas import codes

# What each key of the terms says: `{day}` stands for its days in words; a list or table is only
# named.
WORDS = {
    "effective_from": "the day from which the terms hold",
    "claims.file_within_days": "claims are filed within {day}",
    "claims.duplicate_within_days": "failures up to {day} apart are taken for one",
    "claims.workmanship_days": "a repair holds for {day}",
    "startup.request_within_days": "the start-up is asked for within {day}",
    "startup.bonus_parts_months": "{more month} of parts cover with a start-up in time",
    "startup.bonus_labor_months": "{more month} of labor cover with a start-up in time",
    "coverage.parts_months": "{month} of parts cover",
    "coverage.labor_months": "{month} of labor cover",
    "installation.limits": "the limits on readings of the installation",
    "water.panel": "what a complete water test reports",
    "water.limits": "the limits on the water",
    "treatment.sellers": "the approved sellers of treatment systems",
    "treatment.grace_days": "{day} of grace for the treatment",
    "treatment.fresh_days": "a system of less than {day} says little of what was before",
    "maintenance.cartridge_months": "how long a cartridge lasts",
    "maintenance.cartridge_grace_days": "{day} of grace for a cartridge",
    "maintenance.delime_months": "deliming every {month}",
    "maintenance.delime_grace_days": "{day} of grace for deliming",
}
CLAUSES = {
    name: condition.CLAUSE.terms for name, condition in CONDITIONS.items() if condition.CLAUSE.terms
}
# What the others rest on instead.
RECORDS = {
    name: condition.CLAUSE.records
    for name, condition in CONDITIONS.items()
    if condition.CLAUSE.records is not None
}
_VALUES = {
    key: key.rpartition(".")[2]
    for keys in CLAUSES.values()
    for key in keys
    if key.endswith(("_days", "_months")) and key != "maintenance.cartridge_months"
}
VALUE_COLUMNS = tuple(dict.fromkeys(_VALUES.values()))


def clause() -> pl.Expr:
    """The clause of a finding, such as `Condition 4 of 20, filed in time; terms 2024-A: claims are
    filed within 60 days`.

    Reads position, condition, edition and VALUE_COLUMNS; without an edition no term is told.
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
    """The edition and what its keys say; null without an edition."""
    listed = pl.concat_str(map(_words, keys), separator=", ", ignore_nulls=True)
    return pl.format("terms {}: {}", pl.col("edition"), listed)


def _words(key: str) -> pl.Expr:
    before, _, rest = WORDS[key].partition("{")
    noun, _, after = rest.partition("}")
    if not noun:
        return pl.lit(before)
    return pl.format(f"{before}{{}}{after}", counted_words(_VALUES[key], noun))
