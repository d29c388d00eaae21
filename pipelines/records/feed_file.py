"""One export file as read to typed rows of its feed, with every row accounted for.

Belongs here: from the text of one file to what its rows say. Does not belong here: reading files
(`pipelines.exports`), what becomes of rows beside those of other files (`accounting`).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import polars as pl

from pipelines.exports.reading import Reading
from pipelines.records.cross_checks import reasons_besides
from pipelines.records.headers import HeaderFault, match_headers
from pipelines.records.long_layout import PARTS, parse_results, parsed_long_schema
from pipelines.records.mapping import Mapping
from pipelines.records.parsing import parse_columns
from pipelines.records.reasons import REASON_SCHEMA, no_reasons
from schemas.codes import ANALYTES
from schemas.columns import polars_schema
from schemas.feeds import FEED_TABLES, SEEN_BY


@dataclass(frozen=True)
class ParsedFile:
    """What one file says.

    Attributes:
        rows: the rows that are sound so far, by `parsed_schema`: `source_line`, `raw`, the feed's
            columns (of the long layout the parts of one result), the bounds of non-detects.
        set_aside: the reasons of all other rows: `line`, `column`, `value`, `rule`, `reason`; of a
            file set aside whole the one reason, at its header's line.
        besides: what `cross_checks.reasons_besides` has to say of rows in `set_aside`.
        rows_read: all data rows of the file.
        is_whole: whether the file as a whole is set aside.
        latest_seen: the latest day by which a sound row is seen; None where no row has one.
    """

    rows: pl.DataFrame
    set_aside: pl.DataFrame
    besides: pl.DataFrame
    rows_read: int
    is_whole: bool
    latest_seen: dt.date | None


def parsed_schema(feed: str, mapping: Mapping) -> pl.Schema:
    """Columns and types of `ParsedFile.rows`."""
    if mapping.is_long:
        return parsed_long_schema()
    columns = dict(polars_schema(FEED_TABLES[feed]))
    if feed == "water_tests":
        columns |= {f"{name}_below": pl.Float64() for name in ANALYTES}
    return pl.Schema({"source_line": pl.Int64(), "raw": pl.String(), **columns})


def parse_file(feed: str, reading: Reading, mapping: Mapping, timezone: str) -> ParsedFile:
    """Types the rows of one file.

    Args:
        feed: the file's feed.
        reading: the file as text.
        mapping: how this company writes the feed.
        timezone: the IANA name of the workspace's time zone.
    """
    if reading.fault is not None:
        fault = reading.fault
        return _whole(feed, reading, mapping, ("", "", fault.rule, fault.sentence), fault.line)
    matched = match_headers(feed, reading.header, mapping)
    if matched.fault is not None:
        return _whole(feed, reading, mapping, _told(matched.fault), reading.header_line)
    texts = _texts(reading, mapping, matched.places)
    names = [name for name in texts.columns if name not in ("source_line", *PARTS)]
    rows, reasons = parse_columns(feed, texts, mapping, timezone, names)
    if mapping.is_long:
        rows, more = parse_results(texts, rows, mapping)
        reasons = pl.concat([reasons, more])
    unread = rows.join(reasons.select(source_line="line").unique(), on="source_line", how="semi")
    reasons = pl.concat([_reader_faults(reading, matched.places), reasons]).sort(
        "line", maintain_order=True
    )
    sound = rows.with_columns(reading.rows["raw"]).join(
        reasons.select(source_line="line").unique(),
        on="source_line",
        how="anti",
        maintain_order="left",
    )
    sound = sound.select(parsed_schema(feed, mapping).names())
    besides = reasons_besides(feed, unread)
    return ParsedFile(sound, reasons, besides, reading.rows_read, False, latest_seen(feed, sound))


def latest_seen(feed: str, rows: pl.DataFrame) -> dt.date | None:
    """The latest day by which one of the rows is seen."""
    day: dt.date | None = rows.select(seen_on(feed).max()).item()
    return day


def seen_on(feed: str) -> pl.Expr:
    """The day by which a row of the feed is seen."""
    return pl.coalesce(SEEN_BY[feed]).cast(pl.Date)


def _texts(reading: Reading, mapping: Mapping, places: dict[str, int]) -> pl.DataFrame:
    """The matched columns as text, null where empty, with the mapping's constants."""
    rows = reading.rows
    if reading.typed is not None and mapping.marks.decimal == ",":
        rows = _with_decimal_commas(rows, reading.typed)
    columns = [pl.col("line").alias("source_line")]
    for name, place in places.items():
        text = pl.col(f"c{place}")
        columns.append(pl.when(text != "").then(text).alias(name))
    columns += [pl.lit(value).alias(name) for name, value in mapping.constants.items()]
    return rows.select(columns)


def _with_decimal_commas(rows: pl.DataFrame, typed: pl.DataFrame) -> pl.DataFrame:
    """Numbers that a sheet itself types, written as the mapping expects them."""
    kinds = rows.select("line").join(typed, on="line", how="left", maintain_order="left")
    names = [name for name in rows.columns if name not in ("line", "raw")]
    return rows.with_columns(
        pl.when(kinds[name] == "number")
        .then(pl.col(name).str.replace(".", ",", literal=True))
        .otherwise(pl.col(name))
        .alias(name)
        for name in names
        if name in kinds.columns
    )


def _reader_faults(reading: Reading, places: dict[str, int]) -> pl.DataFrame:
    """The rows that the reader set aside, with the feed's column instead of the file's."""
    if reading.faults.is_empty():
        return no_reasons()
    names = {place: name for name, place in places.items()}
    column = pl.col("column_index").replace_strict(names, default="", return_dtype=pl.String)
    return reading.faults.with_columns(column=column.fill_null("")).select(
        pl.col(name).cast(kind) for name, kind in REASON_SCHEMA.items()
    )


def _told(fault: HeaderFault) -> tuple[str, str, str, str]:
    return fault.column, fault.value, fault.rule, fault.reason


def _whole(
    feed: str, reading: Reading, mapping: Mapping, told: tuple[str, str, str, str], line: int
) -> ParsedFile:
    reason = pl.DataFrame([(line, *told)], schema=REASON_SCHEMA, orient="row")
    empty = pl.DataFrame(schema=parsed_schema(feed, mapping))
    return ParsedFile(empty, reason, no_reasons(), reading.rows_read, True, None)
