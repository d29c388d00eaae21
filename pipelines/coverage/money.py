"""What is claimed and what is payable, exact and to the cent.

Belongs here: amounts and caps. Does not belong here: which window is met (`verdict`) and what a
ruling makes of the amounts (`standing`).
"""

from __future__ import annotations

from decimal import Decimal
from functools import reduce
from operator import add

import polars as pl

from schemas.columns import CENTS

LINES = ("parts", "labor", "travel")
# Hours have ten decimals and rates six, so their product needs sixteen.
_EXACT = pl.Decimal(38, 16)
# What the column can hold: absurd hours at an absurd rate must not stop everyone else's claims.
_MOST = Decimal("9999999999999999.99")


def to_cents(amount: pl.Expr) -> pl.Expr:
    """The amount to the cent, half away from zero, no more than the column holds; null stays."""
    return pl.min_horizontal(
        amount.round(2, mode="half_away_from_zero"),
        pl.when(amount.is_not_null()).then(pl.lit(_MOST, dtype=CENTS)),
    ).cast(CENTS)


def _amount(column: str) -> pl.Expr:
    """A claimed figure, exact; a missing one counts as 0."""
    return pl.col(column).cast(_EXACT).fill_null(0)


def _capped(column: str, cap: str) -> pl.Expr:
    """The lesser of a figure and its cap; a cap that is not on file does not bind."""
    return pl.min_horizontal(_amount(column), pl.col(cap).cast(_EXACT))


def with_amounts(claims: pl.DataFrame) -> pl.DataFrame:
    """Adds `<line>_claimed` and `<line>_if_covered`, what a covered claim pays, for each line.

    Reads the amounts of the call, labor_hours_allowed, agency_rate and agency_travel_cap.
    """
    return claims.with_columns(
        parts_claimed=to_cents(_amount("parts_amount")),
        labor_claimed=to_cents(_amount("labor_hours") * _amount("labor_rate")),
        travel_claimed=to_cents(_amount("travel_amount")),
        parts_if_covered=to_cents(_amount("parts_amount")),
        labor_if_covered=to_cents(
            _capped("labor_hours", "labor_hours_allowed") * _capped("labor_rate", "agency_rate")
        ),
        travel_if_covered=to_cents(_capped("travel_amount", "agency_travel_cap")),
    )


def with_payable(claims: pl.DataFrame) -> pl.DataFrame:
    """Adds `<line>_payable` from verdict, parts_outcome and labor_outcome.

    Only covered and covered_in_part pay; travel goes with labor.
    """
    paid = _payable("verdict", "parts_outcome", "labor_outcome")
    return claims.with_columns(amount.alias(f"{line}_payable") for line, amount in paid.items())


def with_payable_if_settled(claims: pl.DataFrame) -> pl.DataFrame:
    """Adds `payable_if_settled`, what `if_settled` would pay in all; null where that is null.

    Reads if_settled, parts_if_settled and labor_if_settled (the outcomes of both windows then).
    """
    paid = _payable("if_settled", "parts_if_settled", "labor_if_settled").values()
    # Added one by one: polars takes a horizontal sum for as narrow as its parts, and casts nothing.
    total = to_cents(reduce(add, paid))
    return claims.with_columns(
        payable_if_settled=pl.when(pl.col("if_settled").is_not_null()).then(total)
    )


def _payable(verdict: str, parts: str, labor: str) -> dict[str, pl.Expr]:
    """By line, what a verdict pays, given the outcomes of the windows."""
    pays = pl.col(verdict).is_in(["covered", "covered_in_part"])
    window = {"parts": parts, "labor": labor, "travel": labor}
    return {
        line: pl.when(pays & (pl.col(window[line]) == "met"))
        .then(f"{line}_if_covered")
        .otherwise(pl.lit(0).cast(CENTS))
        for line in LINES
    }
