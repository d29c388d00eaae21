"""One export file as read to typed rows of its feed, with every row accounted for.

Belongs here: from the text of one file to what its rows say. Does not belong here: reading files
(`pipelines.exports`), what becomes of rows beside those of other files (`accounting`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping as MappingOf
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import polars as pl

from pipelines.exports.reading import Reading
from pipelines.records.corrections import (
    CORRECTED,
    Content,
    Correction,
    contents,
    corrected,
    typed_texts,
    written_texts,
)
from pipelines.records.cross_checks import reasons_besides
from pipelines.records.headers import (
    HeaderFault,
    Matched,
    Together,
    match_headers,
)
from pipelines.records.left_out import LEFT_OUT
from pipelines.records.long_corrections import as_rows
from pipelines.records.long_layout import PARTS, parse_results, parsed_long_schema
from pipelines.records.mapping import Mapping
from pipelines.records.parsing import parse_columns
from pipelines.records.reasons import REASON_SCHEMA, no_reasons
from pipelines.records.row_cells import (
    PART,
    Place,
    cell_of_place,
    in_marks,
    leave_rows_out,
)
from pipelines.records.spoken_texts import spoken_texts
from pipelines.records.steps import split_parts
from schemas.codes import ANALYTES
from schemas.columns import polars_schema
from schemas.feeds import FEED_TABLES, SEEN_BY

# What rows may name by a code or a name of which lists are kept.
CODED = ("agency", "site", "product", "treatment_product", "model", "cause", "region", "seller")
_PARTS = 2**20  # more parts than any cell has
_SPLIT = "\0split"


@dataclass(frozen=True)
class ParsedFile:
    """What one file, or one sheet of a workbook, says.

    Attributes:
        rows: the rows that are sound so far, by `parsed_schema`: `source_line`, `raw`, the feed's
            columns (of the long layout the parts of one result), the bounds of non-detects; where
            the mapping splits rows also `source_part`, from 1.
        set_aside: the reasons of all other rows: `line`, `column`, `value`, `rule`, `reason`; of a
            file set aside whole the one reason, at its header's line.
        besides: what `cross_checks.reasons_besides` has to say of rows in `set_aside`.
        rows_read: all data rows of the file.
        is_whole: whether the file as a whole is set aside.
        latest_seen: the latest day by which a sound row is seen; None where no row has one.
        rows_split: how many rows splitting added.
        left_out: the rows that the mapping leaves out, by `left_out.LEFT_OUT`.
        header_line: the line of the header, from 1.
        sheet_rows_left_out: the rows of a sheet that is left out whole.
        joined, duplicates: of a joined file the rows that are joined, and copies of such.
        corrected: which row is corrected by which event, by `corrections.CORRECTED`.
        unsound: of the rows that typing set aside `source_line`, the codes that they name, and the
            days by which they are seen.
    """

    rows: pl.DataFrame
    set_aside: pl.DataFrame
    besides: pl.DataFrame
    rows_read: int
    is_whole: bool
    latest_seen: dt.date | None
    rows_split: int = 0
    left_out: pl.DataFrame = field(default_factory=LEFT_OUT.to_frame)
    header_line: int = 1
    sheet_rows_left_out: int = 0
    joined: int = 0
    duplicates: int = 0
    corrected: pl.DataFrame = field(default_factory=CORRECTED.to_frame)
    unsound: pl.DataFrame = field(default_factory=pl.DataFrame)

    @property
    def left_out_rows(self) -> int:
        """How many rows are left out; a sheet that is left out stands in `left_out` once."""
        return self.sheet_rows_left_out or self.left_out.height


def parsed_schema(feed: str, mapping: Mapping) -> pl.Schema:
    """Columns and types of `ParsedFile.rows`."""
    part = {} if mapping.split_column is None else {"source_part": pl.Int64()}
    if mapping.is_long:
        return pl.Schema({**parsed_long_schema(), **part})
    columns = dict(polars_schema(FEED_TABLES[feed]))
    if feed == "water_tests":
        columns |= {f"{name}_below": pl.Float64() for name in ANALYTES}
    return pl.Schema({"source_line": pl.Int64(), "raw": pl.String(), **columns, **part})


def parse_file(
    feed: str,
    reading: Reading,
    mapping: Mapping,
    timezone: str,
    place: Place = Place(),  # noqa: B008 - frozen
    not_joined: pl.DataFrame | None = None,
    corrections: Sequence[Correction] = (),
) -> ParsedFile:
    """Types the rows of one file: rows are left out, then split, then read column by column.

    Args:
        feed: the file's feed.
        reading: the file as text.
        mapping: how this company writes the feed.
        timezone: the IANA name of the workspace's time zone.
        place: where the rows come from.
        not_joined: the reasons, by `exports.reading.FAULTS`, of rows whose joins set them aside.
        corrections: of the feed, in force.
    """
    if reading.fault is not None:
        fault = reading.fault
        return _whole(feed, reading, mapping, ("", "", fault.rule, fault.sentence), fault.line)
    matched = match_headers(feed, reading.header, mapping)
    if matched.fault is not None:
        return _whole(feed, reading, mapping, _reason_of(matched.fault), reading.header_line)
    reading = in_marks(reading, mapping.marks)
    reading, left_out = leave_rows_out(reading, mapping.leave_out, place, mapping.marks_of_header)
    reading, unjoined = _without(reading, not_joined)
    texts, rows_split = _texts(reading, mapping, matched, place)
    names = [name for name in texts.columns if name not in ("source_line", "raw", *PARTS)]
    rows, reasons = parse_columns(feed, texts, mapping, timezone, names)
    rows, reasons = _with_results(texts, rows, reasons, mapping)
    rows, reasons, applied = corrected(
        feed, texts, rows, reasons, timezone, corrections, is_long=mapping.is_long
    )
    sound, besides = _parted(feed, rows.with_columns(texts["raw"]), reasons)
    splits = mapping.split_column is not None
    sound = _with_place(sound, "source_line", splits).select(parsed_schema(feed, mapping).names())
    reasons, besides = (
        _with_place(why, "line", splits).select(list(REASON_SCHEMA)) for why in (reasons, besides)
    )
    applied = _with_place(applied, "line", splits).select(list(CORRECTED))
    reasons = pl.concat([_reader_faults(reading, matched.places), reasons])
    return ParsedFile(
        sound,
        reasons.sort("line", maintain_order=True),
        besides,
        reading.rows_read + left_out.height,
        False,
        latest_seen(feed, sound),
        rows_split,
        left_out,
        reading.header_line,
        corrected=applied,
        unsound=_with_unjoined(
            _unsound(feed, rows, sound, splits), replace(reading, rows=unjoined), mapping, timezone
        ),
    )


def _unsound(feed: str, rows: pl.DataFrame, sound: pl.DataFrame, splits: bool) -> pl.DataFrame:
    """What rows that are set aside name, for whoever lists codes."""
    if rows.height == sound.height:
        return pl.DataFrame()
    names = [name for name in (*CODED, *SEEN_BY[feed]) if name in rows.columns]
    with_places = _with_place(rows, "source_line", splits)
    key = ["source_line", *(["source_part"] if splits else [])]
    return with_places.join(sound.select(key), on=key, how="anti").select("source_line", *names)


def _with_unjoined(
    unsound: pl.DataFrame, reading: Reading, mapping: Mapping, timezone: str
) -> pl.DataFrame:
    """The same with rows that joins set aside, which are typed for this alone."""
    if reading.rows.is_empty():
        return unsound
    feed = mapping.feed
    texts, _ = _texts(reading, mapping, match_headers(feed, reading.header, mapping), Place())
    names = [name for name in texts.columns if name not in ("source_line", "raw", *PARTS)]
    rows, _ = parse_columns(feed, texts, mapping, timezone, names)
    splits = mapping.split_column is not None
    unjoined = _unsound(feed, rows, _with_place(rows.clear(), "source_line", splits), splits)
    return pl.concat([unsound, unjoined], how="diagonal")


def contents_of(
    feed: str, reading: Reading, mapping: Mapping, timezone: str, place: Place
) -> list[Content]:
    """What the rows of a text say before anything is corrected."""
    matched = match_headers(feed, reading.header, mapping)
    if reading.fault is not None or matched.fault is not None:
        return []
    texts, _ = _texts(in_marks(reading, mapping.marks), mapping, matched, place)
    names = [name for name in texts.columns if name not in ("source_line", "raw", *PARTS)]
    rows, reasons = parse_columns(feed, texts, mapping, timezone, names)
    if mapping.is_long:
        rows, reasons, texts = as_rows(*_with_results(texts, rows, reasons, mapping), texts)
    return [content for _, content in contents(feed, rows, reasons, texts)]


def _with_results(
    texts: pl.DataFrame, rows: pl.DataFrame, reasons: pl.DataFrame, mapping: Mapping
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Rows and reasons with those of the results, where the file has one row an analyte."""
    if not mapping.is_long:
        return rows, reasons
    of_value = replace(mapping, marks=mapping.marks_of("value"))
    parts = [part for part in PARTS if part in texts.columns]
    rows, more = parse_results(spoken_texts(texts, mapping, parts), rows, of_value)
    return rows, pl.concat([reasons, more])


def parse_written(
    feed: str,
    lines: Sequence[tuple[int, MappingOf[str, str]]],
    timezone: str,
    corrections: Sequence[Correction] = (),
) -> ParsedFile:
    """Types rows that people entered, each with its number as its line."""
    rows, reasons = typed_texts(feed, lines, timezone)
    texts = written_texts(feed, lines)
    rows, reasons, applied = corrected(feed, texts, rows, reasons, timezone, corrections)
    sound, besides = _parted(feed, rows.with_columns(raw=pl.lit("")), reasons)
    return ParsedFile(
        sound.select(parsed_schema(feed, Mapping.plain(feed)).names()),
        reasons.select(list(REASON_SCHEMA)).sort("line", maintain_order=True),
        besides,
        len(lines),
        False,
        None,
        header_line=1,
        corrected=applied,
    )


def _without(reading: Reading, not_joined: pl.DataFrame | None) -> tuple[Reading, pl.DataFrame]:
    """The reading with rows among its faults that are not left out and that joins set aside, and
    these rows."""
    if not_joined is None:
        return reading, reading.rows.clear()
    here = not_joined.join(reading.rows.select("line"), on="line", how="semi")
    lines = here.select("line").unique()
    kept = replace(
        reading,
        rows=reading.rows.join(lines, on="line", how="anti"),
        faults=pl.concat([reading.faults, here]),
    )
    return kept, reading.rows.join(lines, on="line", how="semi")


def _parted(
    feed: str, rows: pl.DataFrame, reasons: pl.DataFrame
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The rows without a reason, and what else is to be said of the others."""
    faulty = reasons.select(source_line="line").unique()
    unread = rows.join(faulty, on="source_line", how="semi")
    sound = rows.join(faulty, on="source_line", how="anti", maintain_order="left")
    return sound, reasons_besides(feed, unread)


def _with_place(rows: pl.DataFrame, line: str, splits: bool) -> pl.DataFrame:
    """Line and part of rows whose line may hold both (see `_texts`)."""
    if not splits:
        return rows
    return rows.with_columns(pl.col(line) // _PARTS, source_part=pl.col(line) % _PARTS)


def latest_seen(feed: str, rows: pl.DataFrame) -> dt.date | None:
    """The latest day by which one of the rows is seen."""
    day: dt.date | None = rows.select(seen_on(feed).max()).item()
    return day


def seen_on(feed: str) -> pl.Expr:
    """The day by which a row of the feed is seen."""
    return pl.coalesce(SEEN_BY[feed]).cast(pl.Date)


def _texts(
    reading: Reading, mapping: Mapping, matched: Matched, place: Place
) -> tuple[pl.DataFrame, int]:
    """The matched columns as text, null where empty, with the mapping's constants.

    Where the mapping splits rows, `source_line` is the line and the part of its row in one number
    (see `_with_place`), so that a row of the text is one row here. The count is of rows added.
    """
    rows = reading.rows
    columns = {name: _filled(pl.col(f"c{at}")) for name, at in matched.places.items()}
    columns |= {name: _together(several, place) for name, several in matched.together.items()}
    line, added = pl.col("line"), 0
    rows = rows.with_columns(pl.lit(1, pl.Int64).alias(PART))
    split = mapping.split_column
    if split is not None and split in columns:
        separators = mapping.transforms[split][0].texts
        parts = split_parts(columns[split], separators).alias(_SPLIT)
        numbers = pl.int_ranges(1, pl.col(_SPLIT).list.len() + 1).alias(PART)
        apart = rows.with_columns(parts).with_columns(numbers).explode(_SPLIT, PART)
        added = apart.height - rows.height
        rows, columns[split] = apart, pl.col(_SPLIT)
        if split in matched.places:  # whatever else comes from this header is of the part too
            rows = rows.with_columns(
                pl.col(_SPLIT).fill_null("").alias(f"c{matched.places[split]}")
            )
    if split is not None:
        line = line * _PARTS + pl.col(PART)
    texts = rows.select(
        line.alias("source_line"),
        "raw",
        *(text.alias(name) for name, text in columns.items()),
        *(pl.lit(value).alias(name) for name, value in mapping.constants.items()),
    )
    return texts, added


def _filled(text: pl.Expr) -> pl.Expr:
    return pl.when(text != "").then(text)


def _together(several: Together, place: Place) -> pl.Expr:
    """A column from several places."""
    cells = [
        _filled(pl.col(f"c{at}")) if isinstance(at, int) else cell_of_place(at, place)
        for at in several.places
    ]
    if several.between is None:
        return pl.coalesce(cells)
    return _filled(pl.concat_str(cells, separator=several.between, ignore_nulls=True))


def _reader_faults(reading: Reading, places: dict[str, int]) -> pl.DataFrame:
    """The rows that the reader set aside, with the feed's column instead of the file's."""
    if reading.faults.is_empty():
        return no_reasons()
    names = {place: name for name, place in places.items()}
    column = pl.col("column_index").replace_strict(names, default="", return_dtype=pl.String)
    return reading.faults.with_columns(column=column.fill_null("")).select(
        pl.col(name).cast(kind) for name, kind in REASON_SCHEMA.items()
    )


def _reason_of(fault: HeaderFault) -> tuple[str, str, str, str]:
    return fault.column, fault.value, fault.rule, fault.reason


def _whole(
    feed: str,
    reading: Reading,
    mapping: Mapping,
    reason_parts: tuple[str, str, str, str],
    line: int,
) -> ParsedFile:
    reason = pl.DataFrame([(line, *reason_parts)], schema=REASON_SCHEMA, orient="row")
    empty = pl.DataFrame(schema=parsed_schema(feed, mapping))
    return ParsedFile(
        empty, reason, no_reasons(), reading.rows_read, True, None, header_line=max(line, 1)
    )
