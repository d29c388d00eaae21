"""The page of the data: row accounts, what must be fixed, through dates, second opinions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import polars as pl
from markupsafe import Markup

from dashboards import formats
from dashboards.charts.categories import FATES
from dashboards.data import PageData
from dashboards.pages import agreement, causes, data_steps
from schemas.codes import MISS_CAUSES, OPTIONAL_FEEDS

MOST_ROWS = 50
MOST_MISSES = 200
_COLUMNS = ("records", "superseded", "duplicates", "set_aside", "left_out", "joined")


def content(data: PageData, pages: frozenset[str] = frozenset()) -> dict[str, Any]:
    """What the template needs; `pages` names the claims that have a page."""
    totals = _totals(data.row_accounts)
    aside, settled = data_steps.by_settled(data)
    problems = _problems(aside)
    return {
        "title": "Data",
        "summary": _summary(data.row_accounts),
        "feeds": _feeds(data),
        **data_steps.content(data),
        **_checks(data.night_checks),
        "accounts": _accounts(totals) if totals.height else None,
        "accounts_says": "Every row read is a record, replaced by a newer version, the same row "
        "again, set aside, left out by a mapping, or joined to one of another file; the six add up "
        "to the rows read and those added by splitting.",
        "files": _files(data.row_accounts),
        "left_out": _left_out(data),
        **_joins(data),
        "problems": problems,
        "problems_says": f"{formats.counted(len(problems), 'kind of fault', 'kinds of faults')}, "
        "the most frequent first. Correct them at the source; the next refresh takes them in.",
        "settled": settled,
        "suggestions": _near(data.suggestions, "serial"),
        "claim_suggestions": _near(data.claim_suggestions, "claim"),
        "agreement": agreement.content(data),
        "verdicts": list(formats.VERDICTS.values()),
        "causes": causes.content(data, pages),
        "tables": _tables(data.tables),
    }


def _tables(files: Sequence[str]) -> list[tuple[str, bool]]:
    """Each published table, and whether it has a CSV beside its Parquet file."""
    return [(name, f"{name}.csv" in files) for name in sorted({f.split(".")[0] for f in files})]


def _near(suggestions: pl.DataFrame, column: str) -> list[list[str]]:
    return [
        [
            formats.FEEDS.get(row["feed"] or "", "–"),
            row["file"],
            formats.whole(row["line"]),
            row[column],
            row["suggestion"],
        ]
        for row in suggestions.sort("feed", "file", "line").iter_rows(named=True)
    ]


def _left_out(data: PageData) -> list[list[str]]:
    """Rows that mappings leave out, by mapping and reason; of a whole sheet, all its rows."""
    place = ["feed", "mapping", "file", "sheet"]
    of_place = data.left_out.group_by(*place, "reason").agg(pl.len().cast(pl.Int64).alias("rows"))
    accounts = data.row_accounts.select(*place, "left_out")
    counted = of_place.join(accounts, on=place, how="left", nulls_equal=True).with_columns(
        rows=pl.when(pl.len().over(place) == 1)
        .then(pl.coalesce("left_out", "rows"))
        .otherwise("rows")
    )
    by_reason = counted.group_by("feed", "mapping", "reason").agg(pl.col("rows").sum())
    return [
        [formats.FEEDS.get(row["feed"], "–"), row["mapping"], row["reason"], f"{row['rows']:,}"]
        for row in by_reason.sort("feed", "mapping", "reason").iter_rows(named=True)
    ]


def _joins(data: PageData) -> dict[str, Any]:
    """The join report, and the misses that concern most rows."""
    below, misses = int(data.joins["below"].sum()), data.join_misses
    shown = misses.sort("rows", descending=True, maintain_order=True).head(MOST_MISSES)
    more = f", the {MOST_MISSES} most frequent" if misses.height > MOST_MISSES else ""
    return {
        "joins": [_join(row) for row in data.joins.iter_rows(named=True)],
        "joins_says": f"{formats.counted(below, 'join')} below what the settings ask."
        if below
        else "Every join matches what the settings ask.",
        "misses": [_miss(row) for row in shown.iter_rows(named=True)],
        "misses_says": f"{formats.counted(misses.height, 'value')} without a match{more}",
    }


def _join(row: dict[str, Any]) -> list[str]:
    share = row["share"]
    # Cut, not rounded: what is below its share must not read like it.
    return [
        formats.FEEDS.get(row["feed"], row["feed"]),
        row["column"],
        row["to"],
        *(formats.whole(row[name]) for name in ("rows", "matched")),
        "–" if share is None else f"{100 * row['matched'] // row['rows']} %",
        *(formats.whole(row[cause]) for cause in MISS_CAUSES),
        f"{100 * row['min_share']:g} %",
        _state_of_join(row),
    ]


def _state_of_join(row: dict[str, Any]) -> str:
    """Whether a join is below; one of few rows that is not judged is not called enough."""
    if row["below"]:
        return "below"
    is_short = row["share"] is not None and row["share"] < row["min_share"]
    return "too few rows to judge" if is_short else "–" if row["share"] is None else "enough"


def _miss(row: dict[str, Any]) -> list[str]:
    return [
        formats.FEEDS.get(row["feed"], row["feed"]),
        row["column"],
        row["written"],
        "not known" if row["cause"] == "unknown" else row["cause"].replace("_", " "),
        row["likely"] or "–",
        formats.whole(row["rows"]),
        row["first_file"],
        str(row["first_line"]),
    ]


def _totals(accounts: pl.DataFrame) -> pl.DataFrame:
    order = {feed: place for place, feed in enumerate(formats.FEEDS)}
    return (
        accounts.group_by("feed")
        .agg(pl.col("rows_read", *_COLUMNS).sum())
        .sort(pl.col("feed").replace_strict(order, default=len(order), return_dtype=pl.Int64))
    )


def _summary(accounts: pl.DataFrame) -> str:
    if accounts.is_empty():
        return "No export was read."
    rows, aside = int(accounts["rows_read"].sum()), int(accounts["set_aside"].sum())
    files = formats.counted(accounts["file"].n_unique(), "export")
    share = f" ({formats.percent(aside / rows, 1)})" if rows else ""
    return f"{rows:,} rows in {files}; {aside:,} set aside{share}."


def _feeds(data: PageData) -> list[list[str]]:
    through = {row["feed"]: row for row in data.feeds.iter_rows(named=True)}
    rows = []
    for feed, name in formats.FEEDS.items():
        row = through.get(feed)
        if row is None and feed in OPTIONAL_FEEDS:
            continue
        day = row["through_date"] if row else None
        behind = formats.whole((data.as_of - day).days) if day else "–"
        state = "stale" if row and row["stale"] else "current"
        state = "no date known" if day is None else state
        rows.append([name, formats.day(day), behind, state])
    return rows


def _checks(checks: pl.DataFrame) -> dict[str, Any]:
    """What the checks of the night found, those that warn first."""
    compared = checks.filter(pl.col("check").is_in(["claim_count", "laboratory_values"]))
    warned = checks.filter(~pl.col("passed"))["sentence"].to_list()
    words = {None: "too little known", True: "as usual", False: "look at it"}
    return {
        "warned": warned,
        "checks_says": _said_of_checks(checks.height, len(warned)),
        "checks": [
            [row["subject"], words[row["passed"]], row["sentence"], row["statistic"]]
            for row in compared.sort("passed", "check", "subject", nulls_last=True).iter_rows(
                named=True
            )
        ],
    }


def _said_of_checks(checks: int, warned: int) -> str:
    if not checks:
        return ""
    said = formats.counted(checks, "check", "checks")
    return f"{said} of the latest refresh: {warned or 'none'} {'warns' if warned == 1 else 'warn'}."


def _accounts(totals: pl.DataFrame) -> Markup:
    rows = [
        {
            "feed": formats.FEEDS.get(row["feed"] or "", "Of no feed"),
            "fate": fate,
            "rows": row[column],
            "order": order,
        }
        for row in totals.iter_rows(named=True)
        for order, (fate, column) in enumerate(zip(FATES, _COLUMNS, strict=True))
    ]
    return Markup(formats.script_json(formats.packed({"rows": {"rows": rows}})))


def _files(accounts: pl.DataFrame) -> list[list[str]]:
    ordered = accounts.sort("feed", "file", "sheet", "mapping", nulls_last=True)
    return [
        [
            formats.FEEDS.get(row["feed"] or "", "Of no feed"),
            row["file"] if row["sheet"] is None else f"{row['file']}, sheet {row['sheet']}",
            row["mapping"] or "–",
            formats.day(row["through_date"]),
            *(formats.whole(row[column]) for column in ("rows_read", "rows_split", *_COLUMNS)),
        ]
        for row in ordered.iter_rows(named=True)
    ]


def _problems(set_aside: pl.DataFrame) -> list[dict[str, Any]]:
    """Reasons grouped by feed, column and rule, the most frequent first."""
    groups = set_aside.sort("file", "line").group_by("feed", "column", "rule", maintain_order=True)
    grouped = [_problem(frame) for _, frame in groups]
    return sorted(grouped, key=lambda problem: (-problem["rows_count"], problem["title"]))


def _problem(frame: pl.DataFrame) -> dict[str, Any]:
    first = frame.row(0, named=True)
    feed = formats.FEEDS.get(first["feed"] or "", "Of no feed")
    column = f", {first['column']}" if first["column"] else ""
    files = frame["file"].unique().sort().to_list()
    where = formats.listed(files[:3]) + (f" and {len(files) - 3} more" if len(files) > 3 else "")
    rest = frame.height - MOST_ROWS
    return {
        "title": f"{feed}{column}: {first['rule'].replace('_', ' ')}",
        "says": f"{first['reason']} In {where}.",
        "count": formats.counted(frame.height, "row"),
        "rows_count": frame.height,
        "rows": [
            [row["file"], formats.whole(row["line"]), row["value"] or "", row["reason"]]
            for row in frame.head(MOST_ROWS).iter_rows(named=True)
        ],
        "left_out": f"{rest:,} more are in the table set_aside under data/." if rest > 0 else "",
    }
