"""What to do next about the data, in the order of what it is worth.

Belongs here: joins that match too little, files and sheets that nothing reads, codes that are known
nowhere, each with its way out. Does not belong here: single rows (`data`).
"""

from __future__ import annotations

import csv
import io
import shlex
from typing import Any

import polars as pl

from dashboards import formats
from dashboards.data import PageData
from schemas.accounts import WHOLE_RULES
from schemas.codes import ALIAS_KINDS
from schemas.columns import column_names
from schemas.reference import ALL_REFERENCE_TABLES

MOST_CODES = 100
_UNMAPPED = ("no_feed", "no_mapping", "missing_column")
_CODES = {"unknown_model": "models", "unknown_product": "treatments", "unknown_cause": "causes"}
_KINDS = {"treatment_product": "product"}


def content(data: PageData) -> dict[str, Any]:
    """What the section needs: sentences on joins and files, and one row a code."""
    codes = _codes(data)
    more = codes.height - MOST_CODES
    shown = codes.head(MOST_CODES).iter_rows(named=True)
    return {
        "joins_below": list(data.joins_below),
        "whole": _whole(data),
        "codes": [_code(row) for row in shown],
        "codes_more": f"{more:,} more are in the table join_misses." if more > 0 else "",
    }


def _whole(data: PageData) -> list[dict[str, str]]:
    """Files and sheets that are set aside whole, those with most rows first."""
    rows = data.row_accounts.group_by("file", "sheet").agg(pl.col("set_aside").max().alias("rows"))
    whole = (
        data.set_aside.filter(pl.col("rule").is_in(WHOLE_RULES))
        .join(rows, on=["file", "sheet"], how="left", nulls_equal=True)
        .with_columns(pl.col("rows").fill_null(0))
        .sort(["rows", "file", "sheet"], descending=[True, False, False], nulls_last=True)
    )
    return [
        {
            "says": row["reason"]
            if row["file"] in row["reason"]
            else f"{row['file']}: {row['reason']}",
            "rows": formats.counted(row["rows"], "row"),
            "line": _drafting(row["file"], row["sheet"]) if row["rule"] in _UNMAPPED else "",
        }
        for row in whole.iter_rows(named=True)
    ]


def _drafting(file: str, sheet: str | None) -> str:
    """The command that drafts a mapping, as it can be pasted whatever the names are."""
    of_sheet = [] if sheet is None else ["--sheet", sheet]
    return shlex.join(["limeledger", "map", f"exports/{file}", ".", *of_sheet])


def _codes(data: PageData) -> pl.DataFrame:
    """Codes that a reference file lacks: table, written, kind, likely and rows, most rows first."""
    table, kind = pl.col("to").str.split(".").list.first(), pl.col("column").replace(_KINDS)
    has_file = table.is_in(list(ALL_REFERENCE_TABLES))
    is_spelling = kind.is_in(ALIAS_KINDS) & pl.col("likely").is_not_null()
    misses = data.join_misses.filter(has_file | is_spelling).select(
        table.alias("table"), "column", "written", "likely", "rows"
    )
    aside = (
        data.set_aside.filter(pl.col("rule").is_in(list(_CODES)))
        .select(
            pl.col("rule").replace_strict(_CODES, return_dtype=pl.String).alias("table"),
            "column",
            pl.col("value").alias("written"),
            pl.lit(None, pl.String).alias("likely"),
        )
        .join(misses, on=["table", "column", "written"], how="anti")
        .group_by("table", "column", "written", "likely")
        .agg(pl.len().cast(pl.Int64).alias("rows"))
    )
    return (
        pl.concat([misses, aside.select(misses.columns)])
        .with_columns(kind=pl.col("column").replace(_KINDS))
        .group_by("table", "kind", "written")
        .agg(pl.col("likely").drop_nulls().first(), pl.col("rows").sum())
        .sort(["rows", "table", "written"], descending=[True, False, False])
    )


def _code(row: dict[str, Any]) -> list[str]:
    """Code, rows, the file to add a line to, and that line."""
    if row["likely"] and row["kind"] in ALIAS_KINDS:
        file, line = "reference/aliases.csv", [row["kind"], row["written"], row["likely"]]
    else:
        columns = column_names(ALL_REFERENCE_TABLES[row["table"]])
        file = f"reference/{row['table']}.csv"
        line = [row["written"], *("" for _ in columns[1:])]
    return [row["written"], formats.whole(row["rows"]), file, _csv(line)]


def _csv(cells: list[str]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="").writerow(cells)
    return text.getvalue()


def by_settled(data: PageData) -> tuple[pl.DataFrame, list[list[str]]]:
    """Rows set aside that still have to be fixed, and those for which a record was entered."""
    place = ["feed", "file", "line"]
    open_rows = data.set_aside.join(data.settled_rows, on=place, how="anti", maintain_order="left")
    settled = data.set_aside.join(data.settled_rows, on=place).sort(*place)
    listed = [
        [
            formats.FEEDS.get(row["feed"] or "", "Of no feed"),
            row["file"],
            formats.whole(row["line"]),
            row["reason"],
            f"record {row['record']}",
        ]
        for row in settled.iter_rows(named=True)
    ]
    return open_rows, listed
