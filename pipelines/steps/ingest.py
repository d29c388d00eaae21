"""From the exports folder to landed rows and records: only what is new or changed is read.

Belongs here: moving rows between the readers and the store. Does not belong here: which files
are there (`pipelines.store.deliveries`), how a file is read (`pipelines.exports`), typed or
accounted (`pipelines.records`).

Tables: `export_files` (file), `landed_<feed>` (row as it came), `parsed.<feed>` (row as typed),
`parsed.set_aside` (reason), `<feed>` (record), `row_fates` (row).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pipelines.exports.delivery import through_date_in_name
from pipelines.exports.limits import Limits
from pipelines.exports.reading import Reading
from pipelines.exports.sheets import read_workbook, sheet_reading
from pipelines.exports.text_rows import read_rows
from pipelines.records.accounting import FILES, SET_ASIDE, Accounted, account
from pipelines.records.cross_checks import References
from pipelines.records.feed_file import ParsedFile, parse_file, parsed_schema
from pipelines.records.headers import expected_headers
from pipelines.records.reasons import no_reasons
from pipelines.store.deliveries import Delivered, mapping_of
from pipelines.store.inputs import Inputs
from pipelines.workspace.settings import Settings
from schemas.codes import FEEDS, OPTIONAL_FEEDS

LANDED = pl.Schema({"file": pl.String, "line": pl.Int64, "raw": pl.String})
REFUSED_LINE = 1


@dataclass(frozen=True)
class ReadFile:
    """One file as read and typed."""

    facts: dict
    landed: pl.DataFrame
    parsed: ParsedFile


def read_files(inputs: Inputs, files: list[Delivered]) -> Iterator[ReadFile]:
    """Reads and types each file in turn."""
    for file in files:
        yield _read_file(inputs, file)


def _read_file(inputs: Inputs, file: Delivered) -> ReadFile:
    found = file.found
    facts = {
        "feed": found.feed or "",
        "file": found.path,
        "sha256": file.sha256,
        "size_bytes": found.size,
        "read_by": file.read_by,
        "named_date": through_date_in_name(found.path),
    }
    if found.refusal is not None or found.feed is None:
        rule, sentence = found.refusal or ("no_feed", f"{found.path} is of no feed.")
        return _refused(facts, rule, sentence, _unplaced(inputs, found.absolute, rule))
    mapping = mapping_of(inputs, found)
    assert mapping is not None
    reading = _reading(inputs, found.absolute, expected_headers(found.feed, mapping))
    parsed = parse_file(found.feed, reading, mapping, inputs.settings.timezone)
    facts |= {
        "rows_read": parsed.rows_read,
        "is_whole": parsed.is_whole,
        "encoding": reading.encoding,
        "delimiter": reading.delimiter,
        "headers": reading.header,
    }
    return ReadFile(facts, _landed(found.path, reading), parsed)


def _reading(inputs: Inputs, path: Path, known_names: list[str]) -> Reading:
    limits = limits_of(inputs.settings)
    if path.suffix.casefold() == ".xlsx":
        return sheet_reading(read_workbook(path, limits)[0], limits)
    return read_rows(
        path,
        known_names=known_names,
        max_file_bytes=limits.max_file_bytes,
        max_field_chars=limits.max_field_chars,
        max_columns=limits.max_columns,
    )


def limits_of(settings: Settings) -> Limits:
    """What may be read of one file at most."""
    return Limits(
        max_file_bytes=settings.max_file_mb * 1_000_000,
        max_field_chars=settings.max_field_chars,
        max_columns=settings.max_columns,
        max_cells=settings.max_cells,
        max_workbook_bytes=settings.max_workbook_mb << 20,
        max_workbook_seconds=settings.max_workbook_seconds,
    )


def _landed(path: str, reading: Reading) -> pl.DataFrame:
    """All rows of a file as they came; of a row that could not be parted, what was told of it."""
    faulty = reading.faults.group_by("line").agg(raw=pl.col("value").first())
    return (
        pl.concat([reading.rows.select("line", "raw"), faulty.select("line", "raw")])
        .select(pl.lit(path).alias("file"), "line", "raw")
        .cast(dict(LANDED))
        .sort("line")
    )


def _unplaced(inputs: Inputs, path: Path, rule: str) -> Reading | None:
    """A file that is of no feed, read only so that its rows are counted."""
    return _reading(inputs, path, []) if rule == "no_feed" else None


def _refused(facts: dict, rule: str, sentence: str, counted: Reading | None) -> ReadFile:
    """A file that is set aside whole before its rows mean anything."""
    line = counted.header_line if counted else REFUSED_LINE
    reason = pl.DataFrame(
        [(max(line, REFUSED_LINE), "", "", rule, sentence)],
        schema=["line", "column", "value", "rule", "reason"],
        orient="row",
    )
    rows = counted.rows_read if counted else 0
    facts |= {"rows_read": rows, "is_whole": True, "encoding": "", "delimiter": "", "headers": []}
    parsed = ParsedFile(pl.DataFrame(), reason, no_reasons(), rows, True, None)
    return ReadFile(facts, LANDED.to_frame(), parsed)


def settle(
    inputs: Inputs, feed: str, parsed: pl.DataFrame, files: pl.DataFrame, set_aside: pl.DataFrame
) -> Accounted:
    """Records and accounts of one feed from all rows typed so far.

    Args:
        parsed: `parsed.<feed>`.
        files: `export_files`.
        set_aside: `parsed.set_aside`.
    """
    reference = inputs.reference
    return account(
        feed,
        parsed,
        files.filter(pl.col("feed") == feed).select(FILES.names()),
        set_aside.filter(pl.col("feed") == feed).select(SET_ASIDE.names()),
        References.of(reference.models, reference.treatments, reference.causes),
    )


def stored_schema(inputs: Inputs, feed: str) -> pl.Schema:
    """Columns and types of `parsed.<feed>`."""
    schema = dict(parsed_schema(feed, inputs.mappings[feed]))
    schema.pop("raw")
    return pl.Schema(schema | {"source_file": pl.String()})


def row_accounts(files: pl.DataFrame, accounted: dict[str, Accounted]) -> pl.DataFrame:
    """The accounts of every file, also of those of no feed."""
    counted = [
        result.accounts.with_columns(feed=pl.lit(feed)) for feed, result in accounted.items()
    ]
    names = ["rows_read", "records", "superseded", "duplicates", "set_aside"]
    placeless = files.filter(pl.col("feed") == "").select(
        "feed",
        "file",
        pl.lit(None, pl.Date).alias("through_date"),
        "rows_read",
        *(pl.lit(0, pl.Int64).alias(name) for name in names[1:4]),
        pl.col("rows_read").alias("set_aside"),
    )
    columns = ["feed", "file", "through_date", *names]
    return (
        pl.concat([*(frame.select(columns) for frame in counted), placeless])
        .join(files.select("file", "sha256"), on="file", how="left")
        .select("feed", "file", pl.col("sha256").replace("", None), *columns[2:])
        .with_columns(pl.col("feed").replace("", None))
        .sort("feed", "file", nulls_last=True)
    )


def all_set_aside(set_aside: pl.DataFrame, accounted: dict[str, Accounted]) -> pl.DataFrame:
    """Every reason of every feed, and of the files of no feed."""
    columns = ["feed", "file", "line", "column", "value", "rule", "reason"]
    told = [
        result.set_aside.with_columns(feed=pl.lit(feed)).select(columns)
        for feed, result in accounted.items()
    ]
    placeless = set_aside.filter(pl.col("feed") == "").select(columns)
    return (
        pl.concat([*told, placeless])
        .with_columns(pl.col("feed", "column", "value").replace("", None))
        .sort("feed", "file", "line", "column", "rule", nulls_last=True)
    )


def feed_states(
    inputs: Inputs, accounts: pl.DataFrame, accounted: dict[str, Accounted]
) -> pl.DataFrame:
    """One row a feed: its through date, whether it is stale, and what share was set aside.

    A feed without a file is complete up to no day; it is stale only where rows of it have come, or
    a file that tells by its name how far it goes.
    An optional feed without a file is left out.
    """
    oldest = inputs.as_of - dt.timedelta(days=inputs.settings.stale_after_days)
    totals = accounts.group_by("feed").agg(
        pl.len().alias("files"), pl.col("rows_read", "set_aside").sum()
    )
    through = pl.DataFrame(
        {
            "feed": list(FEEDS),
            "through_date": [_capped(accounted[feed].through_date, inputs.as_of) for feed in FEEDS],
        },
        schema={"feed": pl.String, "through_date": pl.Date},
    )
    share = pl.col("set_aside") / pl.col("rows_read")
    missed = pl.col("feed").is_in(OPTIONAL_FEEDS) & pl.col("files").is_null()
    return (
        through.join(totals, on="feed", how="left")
        .filter(~missed)
        .with_columns(pl.col("files", "rows_read", "set_aside").fill_null(0).cast(pl.Int64))
        .with_columns(
            stale=(pl.col("through_date").fill_null(dt.date.min) < oldest)
            & ((pl.col("rows_read") > 0) | pl.col("through_date").is_not_null()),
            set_aside_share=pl.when(pl.col("rows_read") > 0).then(share).otherwise(0.0),
        )
        .with_columns(
            beyond_tolerance=pl.col("set_aside_share") > inputs.settings.set_aside_tolerance
        )
    )


def _capped(day: dt.date | None, as_of: dt.date) -> dt.date | None:
    return None if day is None else min(day, as_of)
