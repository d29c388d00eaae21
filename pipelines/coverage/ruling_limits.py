"""Who may rule, and up to what amount, by the settings of the company.

Belongs here: the limit of a person, and whether a ruling keeps it. Does not belong here: what a
ruling does (`standing`): one beyond its limit stands all the same, and is marked.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

import polars as pl

from pipelines.coverage.money import LINES

ANYONE = "*"  # in the settings: whoever is not named
_EXACT = pl.Decimal(38, 6)
Limits = Mapping[str, Decimal]


def limit_of(person: str, limits: Limits) -> Decimal | None:
    """The most that a person's ruling may grant; None where the person may not rule."""
    return _by_name(limits).get(_name(person), limits.get(ANYONE))


def granted(
    ruling: str, given: Mapping[str, Decimal | None], decision: Mapping[str, Decimal]
) -> Decimal:
    """What a ruling grants in all; see `granted_lines`."""
    return sum(granted_lines(ruling, given, decision).values(), Decimal(0))


def granted_lines(
    ruling: str, given: Mapping[str, Decimal | None], decision: Mapping[str, Decimal]
) -> dict[str, Decimal]:
    """What a ruling grants by line, as `standing` will tell it.

    Args:
        ruling: covered, covered_in_part or not_covered.
        given: by line, the ruling's own amount; None where it gives none.
        decision: `<line>_if_covered` and `<line>_payable` of the claim.
    """
    column = {"covered": "{}_if_covered", "covered_in_part": "{}_payable"}.get(ruling)
    otherwise = {line: decision[column.format(line)] if column else Decimal(0) for line in LINES}
    own = {line: given.get(line) for line in LINES}
    return {line: otherwise[line] if (amount := own[line]) is None else amount for line in LINES}


def beyond_limit(limits: Limits | None) -> pl.Expr:
    """Whether the ruling that stands is by someone who may not rule, or grants too much.

    Reads ruling, ruled_by and `<line>_standing`. Without limits everyone may rule.
    """
    if limits is None:
        return pl.lit(False)
    by_name = {name: amount for name, amount in _by_name(limits).items() if name != ANYONE}
    person = pl.col("ruled_by").str.strip_chars().str.to_lowercase()
    most = pl.lit(limits.get(ANYONE)).cast(_EXACT)
    for name, amount in by_name.items():
        most = pl.when(person == name).then(pl.lit(amount).cast(_EXACT)).otherwise(most)
    total = pl.sum_horizontal(pl.col(f"{line}_standing").cast(_EXACT) for line in LINES)
    return pl.col("ruling").is_not_null() & (total > most).fill_null(True)


def _name(person: str) -> str:
    return person.strip().lower()


def _by_name(limits: Limits) -> dict[str, Decimal]:
    return {_name(name): amount for name, amount in limits.items()}
