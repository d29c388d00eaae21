"""What each ruling grants, and whether it stands: for whoever adds rulings up.

Belongs here: by line, the ruling's own amount, else what it means for the claim as decided. Does
not belong here: what stands of a claim (`standing`).
"""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipelines.coverage.money import LINES
from schemas.columns import CENTS


def with_grants(rulings: pl.DataFrame, decisions: pl.DataFrame, as_of: dt.date) -> pl.DataFrame:
    """Adds `<line>_granted` and `stands` to rulings, in their order.

    Args:
        rulings: claim, ruled_at, ruling, `<line>_amount`.
        decisions: claim, `<line>_if_covered`, `<line>_payable`.
        as_of: rulings of later days do not stand yet.

    Returns:
        The rulings; what a ruling grants of a claim that is not decided is null where it does not
        say it itself.
    """
    amounts = [f"{line}_{kind}" for line in LINES for kind in ("if_covered", "payable")]
    joined = rulings.join(
        decisions.select("claim", *amounts), on="claim", how="left", maintain_order="left"
    )
    ruling, seen = pl.col("ruling"), pl.col("ruled_at").dt.date() <= as_of
    last = pl.when(seen).then("ruled_at").max().over("claim")
    return joined.with_columns(
        *(
            pl.when(pl.col(f"{line}_amount").is_not_null())
            .then(f"{line}_amount")
            .when(ruling == "covered")
            .then(f"{line}_if_covered")
            .when(ruling == "covered_in_part")
            .then(f"{line}_payable")
            .otherwise(pl.lit(0))
            .cast(CENTS)
            .alias(f"{line}_granted")
            for line in LINES
        ),
        stands=(seen & (pl.col("ruled_at") == last)).fill_null(False),
    ).drop(amounts)
