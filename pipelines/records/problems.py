"""What was set aside, gathered so that a person can correct the source.

Belongs here: grouping reasons and the sentence of a group. Does not belong here: the rules
(`reasons`), pages and commands.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import polars as pl

from pipelines.records.reasons import RULES
from schemas.accounts import WHOLE_RULES
from schemas.wording import counted

PROBLEMS = pl.Schema(
    {
        "feed": pl.String(),
        "column": pl.String(),
        "rule": pl.String(),
        "rows": pl.Int64(),
        "value": pl.String(),
        "other_values": pl.Int64(),
        "first_file": pl.String(),
        "first_line": pl.Int64(),
        "sentence": pl.String(),
        "remedy": pl.String(),
    }
)
_LONGEST = 60


def problems(set_aside: pl.DataFrame, whole_files: Collection[str] = ()) -> pl.DataFrame:
    """One row a problem: files set aside whole first, then by the number of rows.

    Args:
        set_aside: by `schemas.accounts.SetAside`.
        whole_files: the files of which all, or a sheet, was set aside whole; each of these is a
            problem of its own. Single rows of a workbook's other sheets are counted as all are.

    Returns:
        A frame by `PROBLEMS`. `sentence` reads as in `412 rows: purchased_on "31/02/2025" is no
        date; first at sales_may.csv line 88`; `value` is what stands at that first place, and
        `other_values` counts what else stands in the group.
    """
    ordered = set_aside.with_columns(
        pl.col("feed", "column", "value").fill_null(""),
        _is_whole=pl.col("file").is_in(list(whole_files)) & pl.col("rule").is_in(WHOLE_RULES),
    ).sort("file", "line", "column", "rule")
    whole = ordered.filter("_is_whole").select(
        "feed",
        "column",
        "rule",
        rows=pl.lit(0, pl.Int64),
        value="value",
        other_values=pl.lit(0, pl.Int64),
        first_file="file",
        first_line="line",
        sentence=pl.when(pl.col("reason").str.starts_with(pl.col("file")))
        .then(pl.col("reason"))
        .otherwise(pl.format("{}: {}", "file", "reason")),
        remedy=pl.lit(""),
    )
    grouped = (
        ordered.filter(~pl.col("_is_whole"))
        .group_by("feed", "column", "rule", maintain_order=True)
        .agg(
            rows=pl.len().cast(pl.Int64),
            value=pl.col("value").first(),
            other_values=pl.col("value").n_unique().cast(pl.Int64) - 1,
            first_file=pl.col("file").first(),
            first_line=pl.col("line").first(),
            reason=pl.col("reason").first(),
        )
        .sort("rows", descending=True, maintain_order=True)
    )
    spoken = grouped.with_columns(_what_is_wrong(), remedy=_half("reason", 1)).with_columns(
        sentence=pl.format(
            "{} {}: {}; first at {} line {}",
            "rows",
            pl.when(pl.col("rows") == 1).then(pl.lit("row")).otherwise(pl.lit("rows")),
            "told",
            "first_file",
            "first_line",
        )
    )
    names = PROBLEMS.names()
    return pl.concat([whole.select(names).cast(PROBLEMS), spoken.select(names)])


def whole_files_in_words(files: Sequence[str], set_aside: pl.DataFrame) -> dict[str, str]:
    """By file set aside whole, or with a sheet so, a sentence with the first reason.

    Args:
        files: their paths.
        set_aside: `file`, `rule` and `reason` of all that is set aside.
    """
    whole = set_aside.filter(pl.col("rule").is_in(WHOLE_RULES))
    first = whole.unique("file", keep="first", maintain_order=True)
    wanted = pl.DataFrame({"file": files}, schema={"file": pl.String()}).join(
        first, on="file", how="left", maintain_order="left"
    )
    is_sheet = pl.col("rule").eq_missing("no_mapping")
    sentences = wanted.select(
        pl.format(
            "{} {} was set aside: {}",
            pl.when(is_sheet).then(pl.lit("A sheet of the file")).otherwise(pl.lit("The file")),
            "file",
            pl.col("reason").fill_null("it could not be read."),
        )
    ).to_series()
    return dict(zip(files, sentences, strict=True))


def ends_in_words(totals: Mapping[str, int]) -> str:
    """How many rows ended as what, whatever reads them.

    Args:
        totals: numbers of rows by the names of `row_accounts`.
    """
    return (
        f"{counted(totals['records'], 'record')}, {totals['superseded']:,} superseded, "
        f"{counted(totals['duplicates'], 'duplicate')}, {totals['set_aside']:,} set aside"
    )


def ends_of_mappings(totals: Mapping[str, int]) -> str:
    """The ends that only mappings bring about, where there are such rows, to go on with a sentence.

    Args:
        totals: numbers of rows by the names of `row_accounts`.
    """
    words = {"left_out": "left out", "joined": "joined", "rows_split": "added by splitting"}
    return "".join(f", {totals[name]:,} {phrase}" for name, phrase in words.items() if totals[name])


def _what_is_wrong() -> pl.Expr:
    """What the group has in common, with the first value and how many others there are."""
    phrases = {name: rule.phrase for name, rule in RULES.items()}
    phrase = pl.col("rule").replace_strict(phrases, default=None, return_dtype=pl.String)
    flat = pl.col("value").str.replace_all(r"\s+", " ")
    shown = pl.when(flat.str.len_chars() > _LONGEST).then(flat.str.head(57) + "…").otherwise(flat)
    others = (
        pl.when((pl.col("other_values") == 0) | (pl.col("rule") == "required"))
        .then(pl.lit(""))
        .when(pl.col("other_values") == 1)
        .then(pl.lit(" (and 1 other value)"))
        .otherwise(pl.format(" (and {} other values)", "other_values"))
    )
    value = pl.when(shown == "").then(pl.lit("")).otherwise(pl.format(' "{}"', shown))
    return (
        pl.when(phrase.is_null())
        .then(_half("reason", 0))
        .otherwise(pl.format("{}{}{} {}", "column", value, others, phrase))
        .alias("told")
    )


def _half(column: str, half: int) -> pl.Expr:
    """A sentence before its last semicolon, or what follows it, without the period."""
    parts = pl.col(column).str.strip_suffix(".").str.extract_groups(r"^(?s)(.*?)(?:; (.*))?$")
    return parts.struct.field(str(half + 1)).fill_null("")
