"""The sentences of early warning.

Belongs here: what alarms and charts say. Does not belong here: the other sentences (`sentences`),
the charts.
"""

from __future__ import annotations

import polars as pl

from schemas.wording import counted

FEWEST_NAMED = 10


def alarmed(table: pl.DataFrame) -> str:
    """The alarms that go on, of ten failures or more."""
    standing = table.filter(
        "standing", ~pl.col("thin"), pl.col("failures") >= FEWEST_NAMED, pl.col("low") > 1
    )
    if standing.is_empty():
        return "No alarm with ten failures or more goes on."
    ranked = standing.sort("low", descending=True)
    parts = [
        f"{row['family']} {row['cause_class']} since {row['first_month']:%Y-%m}, "
        f"{row['ratio']:.1f} times what is expected ({row['low']:.1f} to {row['high']:.1f})"
        for row in ranked.head(3).to_dicts()
    ]
    rest = ranked.height - 3
    more = f"; {counted(rest, 'more goes', 'more go')} on" if rest > 0 else ""
    return f"In alarm: {'; '.join(parts)}{more}."


def watched(table: pl.DataFrame) -> str:
    """How many pairs are watched, and how many false alarms a year they give."""
    known = table.drop_nulls("false_alarms_a_year")
    if known.is_empty():
        return "No pair can be charted yet."
    last = known.filter(pl.col("month") == pl.col("month").max())
    yearly = last["false_alarms_a_year"].to_list()[0]
    if last.height == 1:
        return (
            f"1 pair is watched; were it not to change, {yearly:.1f} false alarms a year would "
            "come of it."
        )
    return (
        f"{last.height:,} pairs are watched; were none of them to change, {yearly:.1f} false "
        "alarms a year would come of all together."
    )
