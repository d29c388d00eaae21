"""The landed rows that findings cite, as a person would see them in the file.

Belongs here: finding the rows and parting them into cells under their headers. Does not belong
here: what a finding says of them.
"""

from __future__ import annotations

import csv
import io
from typing import Any

import duckdb
import polars as pl

from dashboards import data as shown
from pipelines.events.recorded import correction_text
from pipelines.records.headers import match_headers
from pipelines.records.mapping import Mapping
from pipelines.store.database import has_table, read_frame
from pipelines.store.inputs import Inputs
from pipelines.store.lookups import landed_rows
from schemas.codes import FEEDS


def cited_rows(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, findings: pl.DataFrame
) -> pl.DataFrame:
    """The landed rows that findings cite, parted into cells as they came."""
    cited = findings.select(cited=pl.col("evidence").explode()).drop_nulls().unnest("cited")
    forms = read_frame(con, "file_parts")
    parts = []
    for feed in FEEDS:
        rows = cited.filter(pl.col("feed") == feed).unique()
        if rows.is_empty():
            continue
        landed = landed_rows(con, feed, rows)
        of_feed = forms.filter((pl.col("feed") == feed) & (pl.col("joined_as") == ""))
        for (file, sheet), of_file in landed.group_by("file", "sheet"):
            place = (pl.col("file") == file) & (pl.col("sheet") == sheet)
            form = of_feed.row(by_predicate=place, named=True)
            parts.append(_cells(inputs, feed, form, of_file))
    return _corrected(inputs, con, pl.concat([pl.DataFrame(schema=shown.EVIDENCE_ROWS), *parts]))


def _corrected(inputs: Inputs, con: duckdb.DuckDBPyConnection, rows: pl.DataFrame) -> pl.DataFrame:
    """The rows, those that people corrected with one more cell that says how, who and why."""
    in_force = [one for one in inputs.recorded.made if one.withdrawn is None]
    by_event = {one.event: correction_text(one) for one in in_force}
    if not by_event:
        return rows
    place = ["feed", "file", "line"]
    # Those that a refresh has put in, wherever the content stands, and those made since.
    made = [(one.correction.feed, one.file, one.line, one.event) for one in in_force]
    kinds = {"feed": pl.String, "file": pl.String, "line": pl.Int64, "correction": pl.Int64}
    corrected = [pl.DataFrame(made, schema=kinds, orient="row")]
    if has_table(con, "parsed_corrected"):
        refreshed = read_frame(con, "parsed_corrected", columns=[*place, "correction"])
        corrected.append(refreshed.cast(pl.Schema(kinds)))
    texts = (
        pl.concat(corrected)
        .join(rows.select(place), on=place, how="semi")
        .unique()
        .sort("correction")
        .with_columns(
            text=pl.col("correction").replace_strict(by_event, default=None, return_dtype=pl.String)
        )
        .group_by(place)
        .agg(pl.col("text").drop_nulls().str.join("; "))
        .filter(pl.col("text") != "")
    )
    more = {"headers": pl.lit("corrected"), "columns": pl.lit(""), "cells": pl.col("text")}
    return (
        rows.join(texts, on=place, how="left", maintain_order="left")
        .with_columns(
            pl.when(pl.col("text").is_null())
            .then(name)
            .otherwise(pl.concat_list(name, value))
            .alias(name)
            for name, value in more.items()
        )
        .select(rows.columns)
    )


def _cells(inputs: Inputs, feed: str, form: dict[str, Any], rows: pl.DataFrame) -> pl.DataFrame:
    serving = (one for one in inputs.mappings.of(feed) if one.file == form["mapping"])
    mapping = next(serving, Mapping.plain(feed))
    headers = list(form["headers"])
    places = {place: name for name, place in match_headers(feed, headers, mapping).places.items()}
    columns = [places.get(place, "") for place in range(len(headers))]
    cells = [_parted(raw, form["delimiter"], len(headers)) for raw in rows["raw"]]
    return pl.DataFrame(
        {
            "feed": rows["feed"],
            "key": rows["key"],
            "file": rows["file"],
            "line": rows["line"],
            "headers": [headers] * rows.height,
            "columns": [columns] * rows.height,
            "cells": cells,
        },
        schema=shown.EVIDENCE_ROWS,
    )


def _parted(raw: str, delimiter: str, width: int) -> list[str]:
    """The cells of a row under a header of `width` names."""
    if not delimiter:  # of a sheet, whose last cells that are empty do not stand there
        cells = [cell.strip() for cell in raw.split("\t")]
        return [*cells, *[""] * (width - len(cells))][:width]
    csv.field_size_limit(2**31 - 1)
    reader = csv.reader(io.StringIO(raw, newline=""), delimiter=delimiter)
    return [cell.strip() for cell in next(reader, [])]
