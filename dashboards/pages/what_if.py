"""The page of other terms: what moves and through which condition, and the money either way.

Belongs here: what stands on the page and its sentences. Does not belong here: deciding, sums, or
how a chart looks (`charts`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import polars as pl

from dashboards import formats
from dashboards.charts import before_after, two_courses
from schemas.polars_types import sum_of_money

BY = {
    "family": "By family",
    "region": "By region",
    "profile": "By water profile of the terms in force",
    "month": "By month of failure",
}
MOST_CLAIMS = 200
_WIDE = 860
# Conditions whose reasons name agencies.
_NAMES_AGENCIES = ("agency_authorized", "earlier_repair_held")


@dataclass(frozen=True)
class OtherTerms:
    """What the page shows.

    `claims`, `moves`, `verdicts`, `lines` and `groups` are frames with the columns of
    `Comparison`; `forecast` has family (`all` for the fleet), month, failures and cost before and
    after; `total` counts all claims; `reading` and `method` are sentences.
    """

    reading: str
    method: str
    total: int
    claims: pl.DataFrame
    moves: pl.DataFrame
    verdicts: pl.DataFrame
    lines: pl.DataFrame
    groups: pl.DataFrame
    forecast: pl.DataFrame


def content(other: OtherTerms, currency: str, hide: Sequence[str]) -> dict[str, Any]:
    """What the template needs; charts as specifications with their rows."""
    before, after = (sum_of_money(other.lines[f"payable_{side}"]) for side in ("before", "after"))
    return {
        "title": "Other terms",
        "reading": other.reading,
        "answer": _answer(other, before, after, currency),
        "verdicts": [
            [formats.VERDICTS[name], formats.whole(old), formats.whole(new), _signed(new - old)]
            for name, old, new in other.verdicts.iter_rows()
        ],
        "money": _money(other.lines),
        "stands": _stands(other.lines, currency),
        "moves": [_move(row) for row in other.moves.iter_rows(named=True)],
        "groups": [group for by in BY if (group := _group(other.groups, by, currency))],
        "forecast": _forecast(other, currency),
        "claims": _claims(other.claims, hide),
        "left_out": max(0, other.claims.height - MOST_CLAIMS),
    }


def _answer(other: OtherTerms, before: Decimal, after: Decimal, currency: str) -> str:
    moved = other.claims.height
    if not moved:
        return f"None of {formats.counted(other.total, 'claim')} moves; the money stays as it is."
    share = f" ({(after - before) / before:+.1%})" if before else ""
    return (
        f"{formats.whole(moved)} of {formats.counted(other.total, 'claim')} would move: "
        f"{formats.money(after, currency)} payable in place of {formats.money(before, currency)}, "
        f"a change of {_signed_money(after - before)}{share}."
    )


def _money(lines: pl.DataFrame) -> list[list[str]]:
    total = lines.select(pl.lit("total").alias("line"), pl.exclude("line").sum())
    return [
        [
            row["line"].capitalize(),
            formats.money(row["claimed"]),
            formats.money(row["payable_before"]),
            formats.money(row["payable_after"]),
            _signed_money(row["payable_after"] - row["payable_before"]),
        ]
        for row in pl.concat([lines, total.cast(lines.schema)]).iter_rows(named=True)
    ]


def _stands(lines: pl.DataFrame, currency: str) -> str:
    before, after = (sum_of_money(lines[f"standing_{side}"]) for side in ("before", "after"))
    return (
        f"With the rulings in force, {formats.money(after, currency)} would be to be paid in "
        f"place of {formats.money(before, currency)}."
    )


def _move(row: Mapping[str, Any]) -> list[str]:
    through = row["through"]
    return [
        formats.whole(row["claims"]),
        formats.VERDICTS[row["verdict_before"]],
        formats.VERDICTS[row["verdict_after"]],
        formats.CONDITIONS[through] if through else "What is paid",
        _signed_money(row["payable_after"] - row["payable_before"]),
    ]


def _group(groups: pl.DataFrame, by: str, currency: str) -> dict[str, Any] | None:
    """One cut of the money with its chart; None where nothing changes in it."""
    rows = groups.filter(pl.col("by") == by)
    changed = rows.filter(pl.col("change") != 0)
    if changed.is_empty():
        return None
    most = changed.sort(pl.col("change").cast(pl.Float64).abs(), descending=True).row(0, named=True)
    names = changed["group"].to_list()
    marks, spans = [], []
    for row in changed.iter_rows(named=True):
        old, new = float(row["payable_before"]), float(row["payable_after"])
        spans.append({"name": row["group"], "low": min(old, new), "high": max(old, new)})
        for side, amount in zip(before_after.SIDES, (old, new), strict=True):
            text = f"{row['group']}, {side}: {amount:,.2f} {currency}"
            marks.append({"name": row["group"], "side": side, "amount": amount, "text": text})
    return {
        "key": by,
        "title": BY[by],
        "says": (
            f"The largest change is {_signed_money(most['change'])} {currency} in {most['group']}; "
            f"{formats.whole(changed.height)} of {formats.whole(rows.height)} change at all, and "
            "the others are in one line below."
        ),
        "label": f"Payable as it is and under the other terms, {BY[by].lower()}",
        "chart": before_after.draw(currency).properties(width=_WIDE),
        "data": {"rows": {"rows": marks, "spans": spans}, "lists": {"names": names}},
        "rows": [
            [
                row["group"],
                formats.whole(row["claims"]),
                formats.whole(row["moved"]),
                formats.money(row["payable_before"]),
                formats.money(row["payable_after"]),
                _signed_money(row["change"]),
            ]
            for row in _with_rest(rows).iter_rows(named=True)
        ],
    }


def _with_rest(rows: pl.DataFrame) -> pl.DataFrame:
    """The groups that change, then all others in one line."""
    sums = ("claims", "moved", "payable_before", "payable_after", "change")
    same = rows.filter(pl.col("change") == 0)
    rest = same.group_by("by").agg(pl.col(sums).sum()).with_columns(group=pl.lit("no change"))
    changed = rows.filter(pl.col("change") != 0)
    return pl.concat([changed, rest.select(rows.columns).cast(rows.schema)])


def _forecast(other: OtherTerms, currency: str) -> dict[str, Any] | None:
    fleet = other.forecast.filter(pl.col("family") == "all").drop_nulls(
        ["cost_before", "cost_after"]
    )
    if fleet.is_empty():
        return None
    before, after = fleet["cost_before"].sum(), fleet["cost_after"].sum()
    marks = [
        {
            "month": formats.chart_day(row["month"]),
            "side": side,
            "value": row[f"cost_{name}"],
            "text": f"{row['month']:%B %Y}, {side}: {row[f'cost_{name}']:,.0f} {currency}",
        }
        for row in fleet.iter_rows(named=True)
        for side, name in zip(before_after.SIDES, ("before", "after"), strict=True)
    ]
    families = (
        other.forecast.group_by("family")
        .agg(pl.col("failures_before", "failures_after", "cost_before", "cost_after").sum())
        .sort(pl.col("family") == "all", "family")
    )
    return {
        "says": (
            f"The {fleet.height} months to come are expected to cost {before:,.0f} {currency} as "
            f"it is and {after:,.0f} {currency} under the other terms. {other.method}"
        ),
        "chart": two_courses.draw(f"Cost a month, {currency}").properties(width=_WIDE),
        "data": {"rows": {"rows": marks}},
        "rows": [
            [
                "All" if row["family"] == "all" else row["family"],
                formats.number(row["failures_before"]),
                formats.number(row["failures_after"]),
                f"{row['cost_before']:,.0f}",
                f"{row['cost_after']:,.0f}",
                f"{row['cost_after'] - row['cost_before']:+,.0f}",
            ]
            for row in families.iter_rows(named=True)
        ],
    }


def _claims(claims: pl.DataFrame, hide: Sequence[str]) -> list[list[str]]:
    """The claims that move, those of the largest change first."""
    change = pl.col("payable_after") - pl.col("payable_before")
    shown = claims.with_columns(change=change).sort(
        pl.col("change").cast(pl.Float64).abs(), "claim", descending=[True, False]
    )
    hidden = _NAMES_AGENCIES if "agency" in hide else ()
    return [
        [
            row["claim"],
            formats.VERDICTS[row["verdict_before"]],
            formats.VERDICTS[row["verdict_after"]],
            formats.CONDITIONS[row["through"]] if row["through"] else "What is paid",
            "" if row["through"] in hidden else row["reason_after"] or "",
            _signed_money(row["change"]),
        ]
        for row in shown.head(MOST_CLAIMS).iter_rows(named=True)
    ]


def _signed(count: int) -> str:
    return f"{count:+,}".replace("-", "\u2212") if count else "0"


def _signed_money(value: Decimal) -> str:
    return f"{value:+,.2f}".replace("-", "\u2212") if value else "0.00"
