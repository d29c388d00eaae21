"""How far people and rules agree, for the page of the data.

Belongs here: sentences and tables of second opinions. Does not belong here: estimates
(`pipelines.assist.second_opinions`).
"""

from __future__ import annotations

from typing import Any

import polars as pl

from dashboards import formats
from dashboards.data import PageData

_MOST = 50
_WEIGHTING = {"none": "Claims that were checked", "claims": "Weighted to all claims"}


def content(data: PageData) -> dict[str, Any]:
    """What the template needs; `rows` is empty where nobody has checked a claim."""
    opinions = data.second_opinions.filter(pl.col("counts"))
    by_weighting = {
        row["weighting"]: row for row in data.second_opinion_agreement.iter_rows(named=True)
    }
    differing = opinions.filter(~pl.col("agrees")).sort("claim")
    known = [row for row in by_weighting.values() if row["agreement"] is not None]
    left_out = differing.height - _MOST
    return {
        "says": _says(opinions, by_weighting.get("claims") or {}),
        "rows": [_row(row) for row in known],
        "notes": list(dict.fromkeys(f"{row['note']}." for row in known if row["note"])),
        "confusion": _confusion(opinions),
        "differing": [
            [
                row["claim"],
                formats.VERDICTS[row["computed"]],
                formats.VERDICTS[row["verdict"]],
                row["checked_by"],
                formats.day(row["checked_at"].date()),
                row["note"] or "",
            ]
            for row in differing.head(_MOST).iter_rows(named=True)
        ],
        "left_out": f"{left_out:,} more are in the file data/second_opinions.csv."
        if left_out > 0
        else "",
    }


def _says(opinions: pl.DataFrame, weighted: dict[str, Any]) -> str:
    if opinions.is_empty():
        return (
            "No second opinion has been recorded yet: draw claims with limeledger second-opinion "
            "--sample 30, let a person decide them blind, and record what they say."
        )
    agreeing = int(opinions["agrees"].sum())
    says = (
        f"A person who did not see the verdict checked "
        f"{formats.counted(opinions.height, 'claim')} and agreed on {agreeing:,}."
    )
    if weighted.get("agreement") is not None:
        says += (
            f" Weighted to {weighted['claims']:,} claims "
            f"({formats.percent(weighted['claims_share'])} of all), "
            f"{formats.percent(weighted['agreement'], 1)} agree "
            f"({formats.percent(weighted['agreement_low'], 1)} to "
            f"{formats.percent(weighted['agreement_high'], 1)})."
        )
    return says


def _row(row: dict[str, Any]) -> list[str]:
    return [
        _WEIGHTING[row["weighting"]],
        formats.whole(row["opinions"]),
        formats.percent(row["agreement"], 1),
        f"{formats.percent(row['agreement_low'], 1)} to "
        f"{formats.percent(row['agreement_high'], 1)}",
        formats.percent(row["expected_agreement"], 1),
        formats.number(row["kappa"]),
        formats.interval(row["kappa_low"], row["kappa_high"]),
    ]


def _confusion(opinions: pl.DataFrame) -> list[list[str]]:
    """A row a computed verdict, a column a person's."""
    counts = {
        (computed, verdict): count
        for computed, verdict, count in opinions.group_by("computed", "verdict").len().iter_rows()
    }
    return [
        [label, *(formats.whole(counts.get((word, other), 0)) for other in formats.VERDICTS)]
        for word, label in formats.VERDICTS.items()
        if any(word == computed for computed, _ in counts)
    ]
