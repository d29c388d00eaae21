"""Where the rows stand that a correction is of, as the last refresh left them.

Belongs here: finding them by content. Does not belong here: what then stands there
(`pipelines.queries.rows_now`).
"""

from __future__ import annotations

import duckdb
import polars as pl

from pipelines.queries.slices import parsed_rows
from pipelines.records.corrections import Correction, contents_of_sound
from pipelines.records.long_corrections import ANALYTE
from pipelines.steps.ingest import stored_schema
from pipelines.store.database import has_table, identifier, query_frame
from pipelines.store.inputs import Inputs
from schemas.codes import DESK_FILE
from schemas.feeds import record_schema

PLACE = ("source_file", "source_sheet", "source_line", "source_part")
RECORDED = "parsed_corrected"


def known_lines(con: duckdb.DuckDBPyConnection, feed: str) -> set[int]:
    """The events that the last refresh read as rows of the feed."""
    rows = con.execute(
        f"select line from {identifier(f'landed_{feed}')} where file = ?", [DESK_FILE]
    ).fetchall()
    return {line for (line,) in rows}


def places_of(
    con: duckdb.DuckDBPyConnection,
    inputs: Inputs,
    feed: str,
    correction: Correction,
    events: list[int],
) -> pl.DataFrame:
    """Where rows of a correction's content stand, whether sound, set aside or corrected."""
    schema = pl.Schema({name: stored_schema(feed)[name] for name in PLACE})
    places = [pl.DataFrame(schema=schema)]
    if not correction.unsound:
        alike = parsed_rows(con, feed, *_alike(feed, correction))
        if ANALYTE in alike.columns:
            is_long = ANALYTE in correction.content
            alike = alike.filter(pl.col(ANALYTE).is_not_null() == is_long)
        numbered = alike.with_row_index("_row").with_columns(
            source_line=pl.col("_row").cast(pl.Int64)
        )
        same = [
            line
            for line, content in contents_of_sound(feed, numbered)
            if content.texts == dict(correction.content)
        ]
        places.append(alike[same].select(list(PLACE)))
    if has_table(con, RECORDED):
        places.append(
            query_frame(
                con,
                "select file as source_file, sheet as source_sheet, line as source_line, "
                f"1 as source_part from {RECORDED} where feed = ? and correction in "
                "(select unnest(?))",
                [feed, events],
            ).cast(schema)
        )
    # Where one was made before the last refresh another row may lie by now.
    last = _last_known(con)
    seen_at = [
        (made.file, "", made.line, 1)
        for made in inputs.recorded.made
        if made.event in events and made.event > last and made.file != DESK_FILE
    ]
    at_desk = [
        (made.file, "", made.line, 1)
        for made in inputs.recorded.made
        if made.event in events
        and made.file == DESK_FILE
        and made.line in dict(inputs.recorded.rows(feed))
        and made.line in known_lines(con, feed)
    ]
    places.append(pl.DataFrame([*seen_at, *at_desk], schema=schema, orient="row"))
    return pl.concat(places).unique(
        ["source_file", "source_line", "source_part"], keep="first", maintain_order=True
    )


def _last_known(con: duckdb.DuckDBPyConnection) -> int:
    """The last event that the last refresh knew; 0 where it does not say."""
    if not has_table(con, "register_seen"):
        return 0
    seen = query_frame(con, "select max(last_event) as event from register_seen")["event"]
    return int(seen.item() or 0)


def _alike(feed: str, correction: Correction) -> tuple[str, list[object]]:
    """A condition that rows of the content meet, by one of its texts."""
    kinds = record_schema(feed)
    names = [name for name in correction.content if kinds.get(name) == pl.String]
    if not names:
        return "true", []
    return f"{identifier(names[0])} = ?", [correction.content[names[0]]]
