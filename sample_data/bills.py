"""What each repair is billed at: parts, hours, rate and travel.

Belongs here: amounts. Does not belong here: what is paid of them.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from sample_data.columns import decimals, money, where
from sample_data.draws import Array, Draws
from sample_data.editions import reference
from sample_data.failures import repair_kinds

LONG_HOURS_AGENCY, LONG_HOURS_FACTOR = "LANTHORNE", 1.4


def bill_of(
    cause: Array, agency: Array, billed: Array, agencies: list[str], draws: Draws
) -> dict[str, pl.Series]:
    """The feed's columns of money and hours as text; hours in quarters, now and then a third.

    Args:
        cause: position in tables/repairs.csv.
        agency: position in `agencies`; its length for one that is not on file, NONE for none.
        billed: whether there is a bill yet.
    """
    n, kinds = len(cause), repair_kinds()
    parts = kinds["parts_usd"].to_numpy()[cause] * draws.spread(0.12, n)
    hours = kinds["hours"].to_numpy()[cause] * draws.spread(0.22, n)
    long = agency == agencies.index(LONG_HOURS_AGENCY)
    quarters = np.maximum(np.round(hours * 4 * np.where(long, LONG_HOURS_FACTOR, 1)), 1)
    text = decimals(quarters * 25, 2)
    thirds = pl.Series(draws.chance(0.02, n))
    text = pl.Series(["1.3333333333"]).new_from_index(0, n).zip_with(thirds, text)
    periods = reference("agencies").unique("agency", keep="first").sort("agency")
    rates = periods["labor_rate"].cast(pl.Float64).to_numpy()
    asked = np.append(rates, 115.0)[agency] * (0.95 + 0.2 * draws.uniform(n))
    travel = 35 + 85 * draws.uniform(n)
    unpriced = draws.chance(0.03, n)
    blank = np.nan
    return {
        "parts_amount": money(np.where(billed & ~unpriced, parts, blank)),
        "labor_hours": where(billed, text),
        "labor_rate": money(np.where(billed, np.round(asked * 2) / 2, blank)),
        "travel_amount": money(np.where(billed & ~draws.chance(0.1, n), np.round(travel), blank)),
    }
