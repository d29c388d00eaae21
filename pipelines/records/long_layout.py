"""Laboratory files with one row an analyte: reading a result, and one line a sample.

Belongs here: analyte, value, unit and remark. Does not belong here: the columns that every layout
has (`parsing`), which rows win (`accounting`).
"""

from __future__ import annotations

import polars as pl

from pipelines.records.cross_checks import RANK
from pipelines.records.mapping import Mapping
from pipelines.records.mapping_checks import LONG_ANALYTES, LONG_PARTS
from pipelines.records.reasons import no_reasons, reasons
from pipelines.records.spoken_texts import UNIT
from pipelines.records.typed_values import analytes
from pipelines.records.units_of_measure import Conversion, conversion, is_unit
from schemas.codes import ANALYTES
from schemas.columns import polars_schema
from schemas.feeds import WaterTests, record_schema

PARTS = LONG_PARTS
KEY = ("sample", "analyte")
# One of the marks as a word of its own, alone or among others, as in `U, J` or `ND (RL)`; `<` also
# before the limit that it is about, as in `<RL` and `< LOQ`.
_BOUND_REMARK = r"(^|[\s,;/()])(nd|bdl|u|<)([\s,;/()]|$)|(^|[\s,;/()])<[a-z]"
# What tells how a result is converted: a unit behind it in its cell goes first.
_TOLD_BY = ["_column", "unit", "_cell", "_basis"]
_OTHER_COLUMNS = [name for name in polars_schema(WaterTests).names() if name not in ANALYTES]


def parsed_long_schema() -> pl.Schema:
    """Columns of a parsed row: the sample's, then `analyte` (the feed's column, or the lab's name
    in quotes where the mapping does not name it), `result`, `result_below` in the feed's unit, and
    `unread`, what stands in a row whose analyte is not mapped.
    """
    kinds = polars_schema(WaterTests)
    columns = {name: kinds[name] for name in _OTHER_COLUMNS}
    return pl.Schema(
        {
            "source_line": pl.Int64(),
            "raw": pl.String(),
            **columns,
            "analyte": pl.String(),
            "result": pl.Float64(),
            "result_below": pl.Float64(),
            "unread": pl.String(),
        }
    )


def parse_results(
    texts: pl.DataFrame, rows: pl.DataFrame, mapping: Mapping
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Adds the parts of the long layout to rows whose other columns are typed already.

    Args:
        texts: the parts as `spoken_texts` gives them, row by row with `rows`; `unit` and `remark`
            may be missing.
        rows: the typed columns of the samples.
        mapping: names the analytes and units.

    Returns:
        The rows with the columns of `parsed_long_schema`, and the reasons of those to set aside.
    """
    may_lack = (*PARTS[2:], UNIT + "value")
    parts = (
        texts.with_columns(
            pl.lit(None, pl.String).alias(n) for n in may_lack if n not in texts.columns
        )
        .select("source_line", "analyte", "value", *PARTS[2:], _cell=UNIT + "value")
        .with_columns(_column=_feed_column(mapping), _basis=_basis(mapping))
    )
    units = _conversions(parts, mapping)
    parts = parts.join(
        units, on=_TOLD_BY, how="left", nulls_equal=True, maintain_order="left"
    ).with_columns(remark=pl.col("remark").str.to_lowercase())
    results = parts.select(pl.all(), *_results(mapping))
    reasons = _reasons(results, mapping)
    mapped = pl.col("_column").is_not_null()
    unread = pl.concat_str(pl.col("value", "unit", "remark").fill_null(""), separator=" ")
    lab_name = pl.format('"{}"', pl.col("analyte"))
    both = rows.select("source_line", *_OTHER_COLUMNS).with_columns(
        results.select(
            analyte=pl.coalesce("_column", lab_name),
            result=pl.when(mapped).then("_value"),
            result_below=pl.when(mapped).then("_below"),
            unread=pl.when(~mapped).then(unread),
        )
    )
    return both, reasons


def pivoted(records: pl.DataFrame) -> pl.DataFrame:
    """One line a sample, with the columns of the records of water_tests.

    Args:
        records: the winning rows, with `source_file`, `source_line` and `RANK`; the other
            columns of a sample are those of its last row.
    """
    last = (
        records.sort(RANK)
        .unique("sample", keep="last", maintain_order=True)
        .select("source_file", "source_line", "source_sheet", *_OTHER_COLUMNS)
    )
    columns = []
    for name in LONG_ANALYTES:
        # Each sample has one row of an analyte, so its greatest value is its only one.
        mine = pl.when(pl.col("analyte") == name)
        columns.append(mine.then("result").max().alias(f"{name}_result"))
        if name in ANALYTES:
            columns.append(mine.then("result_below").max().alias(f"{name}_below"))
    read = records.filter(pl.col("unread").is_null())
    wide = last.join(
        read.group_by("sample").agg(columns), on="sample", how="left", maintain_order="left"
    )
    values = [pl.col(f"{name}_result").alias(name) for name in ANALYTES]
    warmth = pl.coalesce("temperature_c_result", "temperature_c").alias("temperature_c")
    schema = record_schema("water_tests")
    return wide.with_columns(*values, warmth).select(
        pl.col(name).cast(kind) for name, kind in schema.items()
    )


def _feed_column(mapping: Mapping) -> pl.Expr:
    """The feed's column of an analyte; null where the mapping does not name it."""
    names = mapping.analytes
    if names is None:
        names = {name: name for name in LONG_ANALYTES}
    return (
        pl.col("analyte")
        .str.to_lowercase()
        .replace_strict(names, default=None, return_dtype=pl.String)
    )


def _basis(mapping: Mapping) -> pl.Expr:
    """What the laboratory expresses an analyte as; null where the mapping does not tell."""
    lower = pl.col("analyte").str.to_lowercase()
    return lower.replace_strict(mapping.bases, default=None, return_dtype=pl.String)


def _conversions(parts: pl.DataFrame, mapping: Mapping) -> pl.DataFrame:
    """How each column is converted by what tells its unit; `_fits` is false where it cannot be."""
    pairs = parts.select(_TOLD_BY).unique()
    pairs = pairs.filter(pl.col("_column").is_not_null())
    rows = []
    for column, unit, cell, basis in pairs.rows():
        given_unit = cell or mapping.units.get(column, unit)
        to_feed_unit = Conversion() if given_unit is None else conversion(column, given_unit)
        if basis is not None:  # a unit that says itself what is meant takes no other
            to_feed_unit = conversion(column, f"{given_unit or 'mg/L'} as {basis}") or to_feed_unit
        known = to_feed_unit is not None or is_unit(given_unit)
        scale, shift = (to_feed_unit.scale, to_feed_unit.shift) if to_feed_unit else (1.0, 0.0)
        rows.append((column, unit, cell, basis, scale, shift, to_feed_unit is not None, known))
    kinds = {
        **dict.fromkeys(_TOLD_BY, pl.String),
        "_scale": pl.Float64,
        "_shift": pl.Float64,
        "_fits": pl.Boolean,
        "_known": pl.Boolean,
    }
    return pl.DataFrame(rows, schema=kinds, orient="row")


def _results(mapping: Mapping) -> list[pl.Expr]:
    """Value and bound in the feed's unit, and whether the text was understood."""
    read = analytes(pl.col("value"), mapping.marks, Conversion())
    same = (pl.col("_scale") == 1.0) & (pl.col("_shift") == 0.0)

    def in_feed_unit(value: pl.Expr) -> pl.Expr:
        changed = (value * pl.col("_scale") + pl.col("_shift")).round(9)
        return pl.when(same).then(value).otherwise(changed)

    assert read.below is not None
    is_bound = pl.col("remark").str.contains(_BOUND_REMARK).fill_null(False)
    value = pl.when(~is_bound).then(read.value)
    below = pl.coalesce(read.below, pl.when(is_bound).then(read.value))
    # Only analytes have a column for the bound of a non-detect; without a bound it is missing.
    no_bound = ~pl.col("_column").is_in(list(ANALYTES))
    return [
        in_feed_unit(value).alias("_value"),
        in_feed_unit(below).alias("_below"),
        (read.ok & (~no_bound | below.is_null())).alias("_ok"),
    ]


def _reasons(results: pl.DataFrame, mapping: Mapping) -> pl.DataFrame:
    mapped = pl.col("_column").is_not_null()
    frames = [reasons(results.filter(pl.col("analyte").is_null()), "analyte", None, "required")]
    wrong_unit = results.filter(mapped & ~pl.col("_fits"))
    unit_rule = (
        pl.when(pl.col("_known")).then(pl.lit("unfit_unit")).otherwise(pl.lit("unknown_unit"))
    )
    in_cell = pl.col("_cell").is_not_null()
    cells = wrong_unit.filter(in_cell).with_columns(pl.concat_str("value", pl.lit(" "), "_cell"))
    frames.append(reasons(wrong_unit.filter(~in_cell), "unit", "unit", unit_rule))
    frames.append(reasons(cells, "value", "value", unit_rule))
    wrong = results.filter(mapped & ~pl.col("_ok"))
    unsure = pl.col("value").str.strip_prefix("<").str.strip_chars()
    value_rule = (
        pl.when(unsure.str.contains(mapping.marks.single_group))
        .then(pl.lit("ambiguous_number"))
        .when(pl.col("_column").is_in(list(ANALYTES)))
        .then(pl.lit("result"))
        .otherwise(pl.lit("no_bound"))
    )
    frames.append(reasons(wrong, "value", "value", value_rule))
    return pl.concat([no_reasons(), *frames])


def one_layout(ranked: pl.DataFrame, fates: pl.Series) -> pl.Series:
    """A sample told in both layouts is that of the later row; the other rows are superseded."""
    is_wide = pl.col("analyte").is_null()
    won = ranked.select("sample", "analyte", RANK).filter(fates == "record")
    last = won.group_by("sample").agg(
        wide=pl.col(RANK).filter(is_wide).max(), long=pl.col(RANK).filter(~is_wide).max()
    )
    both = last.filter(pl.col("wide").is_not_null() & pl.col("long").is_not_null())
    if both.is_empty():
        return fates
    lost = both.select("sample", lost_wide=pl.col("wide") < pl.col("long"))
    layouts = ranked.select("sample", is_wide.alias("is_wide")).join(
        lost, on="sample", how="left", maintain_order="left"
    )
    beaten = (layouts["is_wide"] == layouts["lost_wide"]).fill_null(False) & (fates == "record")
    return pl.select(
        pl.when(beaten).then(pl.lit("superseded")).otherwise(fates).alias("fate")
    ).to_series()
