"""Corrections that people made of landed rows, put in before their values are checked.

Belongs here: what a row says, in one spelling, finding the rows that say it, and putting other
values in. Does not belong here: who may correct what (`pipelines.actions`), or whether a
correction is still needed (`pipelines.queries.corrections`).

A row is known by its content, as duplicates are: all the feed's columns as read, whatever file and
line they stand in. A cell that is no value counts as typed. What a person puts in is written as
feeds have it: ISO dates, decimal points, the feed's units.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

import polars as pl

from pipelines.records.long_corrections import ANALYTE, as_results, as_rows
from pipelines.records.mapping import Mapping as FeedMapping
from pipelines.records.parsing import parse_columns
from pipelines.records.reasons import no_reasons
from schemas.columns import column_names, fields
from schemas.feeds import FEED_TABLES

CORRECTED = pl.Schema({"line": pl.Int64(), "correction": pl.Int64()})
# Kinds by whose values rows are looked for: each is the same text in every export.
_LOOKED_UP = ("serial", "text", "region", "word")
# Checks of a row as a whole: they are asked again once its cells are corrected.
_OF_ROWS = ("site_or_serial", "some_amount")


@dataclass(frozen=True)
class Correction:
    """Other values for the rows of one content.

    content: the feed's columns in one spelling, without the empty ones.
    unsound: those of them that are no value, as typed.
    values: what stands instead; an empty text empties a cell.
    """

    event: int
    feed: str
    content: Mapping[str, str]
    unsound: tuple[str, ...]
    values: Mapping[str, str]

    def corrected(self) -> dict[str, str]:
        """The content with what stands instead."""
        return {name: text for name, text in {**self.content, **self.values}.items() if text}


@dataclass(frozen=True)
class Content:
    """What one row says, in one spelling; which of its cells are no value; and as it was typed."""

    texts: dict[str, str]
    unsound: tuple[str, ...]
    typed: dict[str, str] = field(default_factory=dict, compare=False)


def corrected(
    feed: str,
    texts: pl.DataFrame,
    rows: pl.DataFrame,
    parsed_reasons: pl.DataFrame,
    timezone: str,
    corrections: Sequence[Correction],
    *,
    is_long: bool = False,
) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Puts corrections into the rows of a file.

    Args:
        texts, rows, parsed_reasons: as `parsing.parse_columns` takes and gives them.
        corrections: of the feed, in the order in which they were made; the later one counts.
        is_long: whether the rows are results, one a row, as `long_layout.parse_results` gives them.

    Returns:
        rows and reasons as they then are, and which row is corrected by which (CORRECTED).
    """
    none = pl.DataFrame(schema=CORRECTED)
    candidates = rows.filter(_looked_for(feed, rows, corrections)) if corrections else rows.clear()
    if candidates.is_empty():
        return rows, parsed_reasons, none
    merged: list[tuple[int, dict[str, str], Collection[str]]] = []
    applied: list[tuple[int, int]] = []
    of_them = parsed_reasons.join(candidates.select(line="source_line"), on="line", how="semi")
    seen = as_rows(candidates, of_them, texts) if is_long else (candidates, of_them, texts)
    for line, content in contents(feed, *seen):
        mine = [one for one in corrections if dict(one.content) == content.texts]
        if not mine:
            continue
        values = dict(content.texts)
        for one in mine:
            values |= one.values
            applied.append((line, one.event))
        changed = {name for one in mine for name in one.values}
        merged.append((line, values, set(content.unsound) - changed))
    if not merged:
        return rows, parsed_reasons, none
    again, reasons = typed_texts(feed, [(line, values) for line, values, _ in merged], timezone)
    if is_long:
        again = as_results(again, {line: values[ANALYTE] for line, values, _ in merged})
    left = {line: unsound for line, _, unsound in merged}
    kept = seen[1].filter(_is_left("line", left))
    reasons = reasons.filter(~_is_left("line", left))
    place = rows.select("source_line")
    hit = pl.col("source_line").is_in(list(left))
    both = pl.concat([rows.filter(~hit), again.select(rows.columns).cast(rows.schema)])
    return (
        place.join(both, on="source_line", maintain_order="left").select(rows.columns),
        pl.concat([parsed_reasons.filter(~pl.col("line").is_in(list(left))), kept, reasons]),
        pl.DataFrame(applied, schema=CORRECTED, orient="row"),
    )


def typed_texts(
    feed: str, lines: Sequence[tuple[int, Mapping[str, str]]], timezone: str
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Types rows that people wrote, each with its number, as `parsing.parse_columns` does."""
    names = column_names(FEED_TABLES[feed])
    texts = written_texts(feed, lines)
    return parse_columns(feed, texts, FeedMapping.plain(feed), timezone, names)


def written_texts(feed: str, lines: Sequence[tuple[int, Mapping[str, str]]]) -> pl.DataFrame:
    """Rows that people wrote as texts: `source_line` and the feed's columns, null where empty."""
    names = column_names(FEED_TABLES[feed])
    return pl.DataFrame(
        [
            {"source_line": line, **{name: (values.get(name) or "").strip() for name in names}}
            for line, values in lines
        ],
        schema={"source_line": pl.Int64, **dict.fromkeys(names, pl.String)},
    ).with_columns(pl.when(pl.col(name) != "").then(pl.col(name)).alias(name) for name in names)


def contents(
    feed: str, rows: pl.DataFrame, parsed_reasons: pl.DataFrame, texts: pl.DataFrame
) -> list[tuple[int, Content]]:
    """The content of each row, with its number.

    Args:
        rows: typed rows with `source_line`.
        parsed_reasons: reasons by `source_line` as `line`; cells that they name are no value.
        texts: the same rows as text.
    """
    names = column_names(FEED_TABLES[feed])
    faulty: dict[int, set[str]] = {}
    for line, column, rule in parsed_reasons.select("line", "column", "rule").iter_rows():
        if rule not in _OF_ROWS:
            faulty.setdefault(line, set()).add(column)
    of_results = [ANALYTE] if ANALYTE in rows.columns else []
    spoken = rows.select("source_line", *spelled(feed, rows), *of_results)
    typed = texts.join(rows.select("source_line"), on="source_line", how="semi")
    as_typed = {row["source_line"]: row for row in typed.iter_rows(named=True)}
    numbered = []
    for row in spoken.iter_rows(named=True):
        line = row["source_line"]
        unsound = faulty.get(line, set())
        cells = {
            name: (as_typed[line].get(name) if name in unsound else row[name]) for name in names
        }
        sound = {name: text for name, text in cells.items() if text}
        if row.get(ANALYTE):
            sound[ANALYTE] = row[ANALYTE]
        typed_cells = {name: text for name in names if (text := as_typed[line].get(name))}
        numbered.append((line, Content(sound, tuple(sorted(unsound & set(sound))), typed_cells)))
    return numbered


def contents_of_sound(feed: str, rows: pl.DataFrame) -> list[tuple[int, Content]]:
    """The content of each of some rows that are sound, with its number.

    Args:
        rows: as typed, all wide ones or all of the long layout.
    """
    seen = (rows, no_reasons(), rows.select("source_line"))
    is_long = ANALYTE in rows.columns and rows[ANALYTE].null_count() < rows.height
    return contents(feed, *(as_rows(*seen) if is_long else seen))


def spelled(feed: str, rows: pl.DataFrame) -> list[pl.Expr]:
    """The feed's columns of typed rows as texts, each value in one spelling; null where empty."""
    table = fields(FEED_TABLES[feed])
    return [
        _spelled(name, (column.metadata or {})["kind"], rows).alias(name)
        for name, column in table.items()
    ]


def _spelled(name: str, kind: str, rows: pl.DataFrame) -> pl.Expr:
    value = pl.col(name)
    match kind:
        case "day":
            return value.dt.strftime("%Y-%m-%d")
        case "moment":
            return value.dt.strftime("%Y-%m-%dT%H:%M:%S")
        case "flag":
            return pl.when(value).then(pl.lit("yes")).when(~value).then(pl.lit("no"))
        case "money" | "hours":
            return _bare(value.cast(pl.String))
        case "number" | "analyte":
            text = _bare(value.cast(pl.String))
            if f"{name}_below" not in rows.columns:
                return text
            below = pl.concat_str(pl.lit("<"), _bare(pl.col(f"{name}_below").cast(pl.String)))
            return pl.coalesce(text, below)
    return value.cast(pl.String)


def _bare(number: pl.Expr) -> pl.Expr:
    """A decimal number without zeros at its end."""
    short = number.str.strip_chars_end("0").str.strip_suffix(".")
    return pl.when(number.str.contains(".", literal=True)).then(short).otherwise(number)


def _looked_for(feed: str, rows: pl.DataFrame, corrections: Sequence[Correction]) -> pl.Expr:
    """The rows that may have one of the contents, by one cell each."""
    kinds = {
        name: (column.metadata or {})["kind"] for name, column in fields(FEED_TABLES[feed]).items()
    }
    wanted: dict[str, set[str]] = {}
    for one in corrections:
        names = [
            name
            for name in one.content
            if kinds.get(name) in _LOOKED_UP and name not in one.unsound and name in rows.columns
        ]
        if not names:
            return pl.lit(True)
        wanted.setdefault(names[0], set()).add(one.content[names[0]])
    return pl.any_horizontal(pl.col(name).is_in(list(texts)) for name, texts in wanted.items())


def _is_left(line: str, left: Mapping[int, Collection[str]]) -> pl.Expr:
    """The reasons of cells that are no value and stay so."""
    cells = [f"{number}\0{column}" for number, columns in left.items() for column in columns]
    return pl.concat_str(pl.col(line).cast(pl.String), "column", separator="\0").is_in(cells)
