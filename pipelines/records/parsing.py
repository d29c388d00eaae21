"""Text columns of a feed to a typed frame, with a reason for every value that is not one.

Belongs here: reading all columns of a feed at once, and why a value failed. Does not belong here:
what one kind of value looks like (`typed_values`), files and headers (`feed_file`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import polars as pl

from pipelines.records.dates import has_two_readings, looks_like_day
from pipelines.records.mapping import Mapping
from pipelines.records.moments import has_two_moments
from pipelines.records.numerals import Marks
from pipelines.records.reasons import no_reasons, reasons
from pipelines.records.spoken_texts import UNIT, spoken_texts
from pipelines.records.typed_values import Typed, typed
from pipelines.records.units_of_measure import RowConversion, conversion, is_unit
from schemas.columns import fields
from schemas.feeds import FEED_TABLES
from schemas.validation import SchemaErrors

# The column that is blamed where a check looks at several.
_BLAMED = {"site_or_serial": "site", "some_amount": "parts_amount"}
# No column of a feed has a name with a NUL.
_FAILED, _TEXT = "\x00failed ", "\x00text"
_UNIT_OK = "\x00unit ok "
_REPEATED = 4  # texts that come so many times on average are looked up, not read again
_KIND_RULES = {
    "flag": "yes_no",
    "word": "word",
    "integer": "whole_number",
    "money": "amount",
    "hours": "hours",
    "number": "number",
    "analyte": "result",
}
_CHECK_RULES = {
    "not_nullable": "required",
    "greater_than_or_equal_to(0)": "negative",
    "greater_than_or_equal_to(1)": "below_one",
    "site_or_serial": "site_or_serial",
    "some_amount": "some_amount",
}


def parse_columns(
    feed: str, texts: pl.DataFrame, mapping: Mapping, timezone: str, names: Sequence[str]
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Types the text columns.

    Args:
        feed: the feed.
        texts: `source_line` and the columns `names` as text, null where empty.
        mapping: how the texts are written; its translations are applied here.
        timezone: the IANA name of the workspace's time zone.
        names: the columns that are read; the feed's other columns come out null.

    Returns:
        All rows, with `source_line`, the feed's columns and the bounds of non-detects; and the
        reasons (`REASON_SCHEMA`) of the rows that must be set aside.
    """
    table = fields(FEED_TABLES[feed])
    # What a mapping gives for every row is written as in the mapping, not as in the exports.
    own = replace(mapping, marks=Marks(), dates=())
    written = {
        name: own if name in mapping.constants else _of_column(mapping, name) for name in names
    }
    spoken = spoken_texts(texts, mapping, names)
    given: list[pl.Expr] = [pl.col("source_line")]
    read: list[pl.DataFrame] = []
    failed: list[str] = []
    for name, column in table.items():
        kind = (column.metadata or {})["kind"]
        if name not in names:
            given.append(pl.lit(None, column.dtype.type).alias(name))
            if kind == "analyte":
                given.append(pl.lit(None, pl.Float64).alias(f"{name}_below"))
            continue
        unit = _cell_units(spoken, name, written[name]) if UNIT + name in spoken.columns else None
        reading = _typed(name, written[name], timezone, unit)
        values = {name: reading.value}
        if reading.below is not None:
            values[f"{name}_below"] = reading.below
        if kind not in ("text", "serial", "region"):
            values[_FAILED + name] = ~reading.ok
            failed.append(name)
        if unit is None:
            read.append(_read_column(spoken.select(name), values))
            continue
        known = unit.known.alias(_UNIT_OK + name)
        read.append(
            spoken.join(
                unit.factors, on=UNIT + name, how="left", nulls_equal=True, maintain_order="left"
            ).select(known, **values)
        )
    out = pl.concat([spoken.select(given), *read], how="horizontal")
    frames = [_failures(feed, name, texts, spoken, out, written[name], timezone) for name in failed]
    frames += [
        _unit_failures(name, texts, spoken, out) for name in names if _UNIT_OK + name in out.columns
    ]
    helpers = [_FAILED + name for name in failed] + [_UNIT_OK + name for name in names]
    rows = out.drop(helpers, strict=False)
    read_failures = pl.concat([no_reasons(), *frames])
    return rows, pl.concat([read_failures, _check_failures(feed, texts, rows, read_failures)])


def _of_column(mapping: Mapping, name: str) -> Mapping:
    """The mapping with the marks of the column's file, and the date formats of its own step."""
    mapping = replace(mapping, marks=mapping.marks_of(name)) if mapping.joins else mapping
    for step in mapping.transforms.get(name, ()):
        if step.verb == "date":
            return replace(mapping, dates=step.texts)
    return mapping


def _cell_units(spoken: pl.DataFrame, name: str, mapping: Mapping) -> RowConversion:
    """How each unit that cells of a column hold is converted; without one the column's holds."""
    rows = []
    for unit in spoken[UNIT + name].unique():
        change = mapping.conversion(name) if unit is None else conversion(name, unit)
        scale, shift = (change.scale, change.shift) if change else (None, None)
        rows.append((unit, scale, shift))
    return RowConversion.of(UNIT + name, rows)


def _unit_failures(
    name: str, texts: pl.DataFrame, spoken: pl.DataFrame, out: pl.DataFrame
) -> pl.DataFrame:
    """The reasons of cells whose unit is not known or does not fit."""
    rows = texts.select("source_line", _value=name).with_columns(_unit=spoken[UNIT + name])
    wrong = rows.filter(~out[_UNIT_OK + name])
    known = [unit for unit in wrong["_unit"].unique().drop_nulls() if is_unit(unit)]
    rule = (
        pl.when(pl.col("_unit").is_in(known))
        .then(pl.lit("unfit_unit"))
        .otherwise(pl.lit("unknown_unit"))
    )
    return reasons(wrong, name, "_value", rule)


def _typed(name: str, mapping: Mapping, timezone: str, unit: RowConversion | None = None) -> Typed:
    meta = fields(FEED_TABLES[mapping.feed])[name].metadata or {}
    return typed(
        meta["kind"],
        pl.col(name),
        meta["words"] or (),
        mapping.marks,
        mapping.date_patterns,
        timezone,
        unit or mapping.conversion(name),
    )


def _read_column(texts: pl.DataFrame, values: dict[str, pl.Expr]) -> pl.DataFrame:
    """What expressions make of a text column; where its texts repeat, each is read once."""
    if len(values) > 1:  # a column of which nothing can fail is no dearer to read than to look up
        different = texts.unique()
        if different.height * _REPEATED <= texts.height:
            (name,) = texts.columns
            key = pl.col(name).alias(_TEXT)
            known = different.select(key, **values)
            rows = texts.select(key).join(
                known, on=_TEXT, how="left", nulls_equal=True, maintain_order="left"
            )
            return rows.drop(_TEXT)
    # Lazily, since what two of them have in common is then worked out once.
    return texts.lazy().select(**values).collect()


def _failures(
    feed: str,
    name: str,
    texts: pl.DataFrame,
    spoken: pl.DataFrame,
    out: pl.DataFrame,
    mapping: Mapping,
    timezone: str,
) -> pl.DataFrame:
    """The reasons of one column's values that were not understood."""
    failed = out[_FAILED + name]
    if not failed.any():
        return no_reasons()
    rows = texts.select("source_line", _value=name).with_columns(spoken[name].alias("_spoken"))
    meta = fields(FEED_TABLES[feed])[name].metadata or {}
    rule = _rule(meta["kind"], pl.col("_spoken"), mapping, timezone)
    return reasons(rows.filter(failed), name, "_value", rule, meta["words"] or ())


def _rule(kind: str, text: pl.Expr, mapping: Mapping, timezone: str) -> pl.Expr:
    """Which rule a text breaks that is no value of the kind."""
    patterns = mapping.date_patterns
    if kind == "day":
        return (
            pl.when(has_two_readings(text, patterns))
            .then(pl.lit("ambiguous_date"))
            .when(looks_like_day(text, patterns))
            .then(pl.lit("impossible_date"))
            .otherwise(pl.lit("date"))
        )
    if kind == "moment":
        two = has_two_moments(text, patterns, timezone)
        return pl.when(two).then(pl.lit("ambiguous_date")).otherwise(pl.lit("moment"))
    rule = pl.lit(_KIND_RULES[kind])
    if kind in ("flag", "word"):
        return rule
    number = text.str.strip_prefix("<").str.strip_chars() if kind == "analyte" else text
    unsure = number.str.contains(mapping.marks.single_group)
    return pl.when(unsure).then(pl.lit("ambiguous_number")).otherwise(rule)


def _check_failures(
    feed: str, texts: pl.DataFrame, rows: pl.DataFrame, read_failures: pl.DataFrame
) -> pl.DataFrame:
    """What the table's pandera class finds, save what was told of the same value already."""
    table = FEED_TABLES[feed]
    try:
        table.validate(rows.select(list(fields(table))), lazy=True)
        return no_reasons()
    except SchemaErrors as error:
        cases = error.failure_cases.select("index", "column", "check")
    if cases["index"].null_count():
        raise AssertionError(f"{feed}: a check did not run: {cases.rows()[:3]}")
    frames = []
    for (column, check), of_check in cases.group_by(["column", "check"], maintain_order=True):
        name = _BLAMED.get(str(check), str(column))
        place = of_check["index"].cast(pl.UInt32).sort()
        value = texts[name] if name in texts.columns else pl.lit("").alias(name)
        failing = texts.select("source_line").with_columns(_value=value)[place]
        known = read_failures.filter(pl.col("column") == name)
        fresh = failing.join(known, left_on="source_line", right_on="line", how="anti")
        frames.append(reasons(fresh, name, "_value", _CHECK_RULES.get(str(check), _other(check))))
    return pl.concat([no_reasons(), *frames])


def _other(check: object) -> str:
    return "region" if str(check).startswith("str_matches") else "one_or_two"
