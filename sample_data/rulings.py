"""What the claims desk decided by hand.

Belongs here: the feed rulings. Does not belong here: how a claim is decided from the records; the
desk of the sample rules by its own lights, mostly where the records leave something open.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from sample_data.columns import money, words
from sample_data.days import to_dates
from sample_data.draws import Draws
from sample_data.population import AS_OF

SETTLED_AFTER = 62  # days: younger claims are still open
_REASONS = (
    (
        "order confirmation seen on paper",
        "goodwill, first failure of a large customer",
        "cartridge receipts sent by mail",
        "agency showed that the part was defective",
    ),
    ("labor outside the window, part defective all the same", "travel shared with a second call"),
    (
        "impact damage in the photographs",
        "same failure as the earlier claim",
        "site declined treatment in writing",
        "filed a quarter late without a reason",
    ),
)
_RULINGS = ("covered", "covered_in_part", "not_covered")


def rulings(calls: pl.DataFrame, share: float, seed: int) -> pl.DataFrame:
    """Rulings on a share of the settled claims, a few of them ruled on twice."""
    draws = Draws(seed, "rulings")
    claims = calls.filter(pl.col("claim").is_not_null(), pl.col("claimed_on").is_not_null())
    claims = claims.select("claim", pl.col("claimed_on").to_physical()).sort("claim")
    filed = claims["claimed_on"].to_numpy().astype(np.int64)
    chosen = np.flatnonzero((filed <= AS_OF - SETTLED_AFTER) & draws.chance(share, len(filed)))
    second = chosen[draws.chance(0.06, len(chosen))]
    row = np.concatenate([chosen, second])
    n = len(row)
    first = np.arange(n) < len(chosen)
    day = np.minimum(
        filed[row] + np.where(first, draws.whole(12, 40, n), draws.whole(41, 58, n)), AS_OF
    )
    ruling = draws.pick([0.6, 0.15, 0.25], n)
    number = np.array([len(reasons) for reasons in _REASONS])
    reason = np.floor(draws.uniform(n) * number[ruling]).astype(np.int64)
    start = np.concatenate([[0], np.cumsum(number)[:-1]])
    amount = np.where((ruling < 2) & draws.chance(0.3, n), draws.whole(40, 400, n), np.nan)
    hour = pl.Series(draws.whole(8, 17, n)).cast(pl.String).str.zfill(2)
    minute = pl.Series(draws.whole(0, 59, n)).cast(pl.String).str.zfill(2)
    frame = pl.DataFrame(
        {
            "claim": claims["claim"].gather(row),
            "ruled_at": to_dates("", day).cast(pl.String) + "T" + hour + ":" + minute + ":00",
            "ruled_by": words(draws.whole(0, 2, n), ["desk-1", "desk-2", "desk-3"]),
            "ruling": words(ruling, _RULINGS),
            "reason": words(start[ruling] + reason, [r for some in _REASONS for r in some]),
            "parts_amount": money(amount),
            "labor_amount": money(np.where(ruling == 1, 0.0, np.nan)),
            "travel_amount": money(np.full(n, np.nan)),
            "ruled_on": to_dates("", day),
        }
    )
    return frame.sort("ruled_at", "claim")
