"""What an agency's figure says, as a sentence that asks.

Belongs here: the wording, without any name. Does not belong here: figures (`agencies`).
"""

from __future__ import annotations

import polars as pl

from pipelines.field.slices import ALL

UNITS = {
    "returns": "repairs",
    "labor_hours": "hours",
    "travel": "currency",
    "documents": "claims",
}
# What was counted, of so many cases (one, several).
_PLAIN = {
    "returns": "{} of {} came back with the same class of cause",
    "documents": "{} of {} on documents",
    "labor_hours": "{} hours of labor were billed over {}",
    "travel": "travel of {} was billed over {}",
}
_REPAIRS = "repair that was followed to the end", "repairs that were followed to the end"
_CLAIMS = "claim", "claims"
# What else may lie behind a figure that stands out.
_ASK = {
    "returns": "the water at those sites, the parts that were sent, how the cause was found",
    "labor_hours": "access at those sites, what else was done on the visit, how hours are rounded",
    "travel": "how far apart the sites are, whether one trip served several units",
    "documents": "which documents lack, and whether the agency was ever asked for them",
}


def sentences(rows: pl.DataFrame) -> pl.DataFrame:
    """The rows with `sentence`; `rows` are those of one or more measures."""
    total = pl.col("value") * pl.col("cases")
    whole, short = total.round(0).cast(pl.Int64), _short(total)
    counted = {name: short if name == "labor_hours" else whole for name in _PLAIN}
    claims = _cases(*_CLAIMS)
    waits = pl.when(whole == 1).then(pl.lit("waits")).otherwise(pl.lit("wait"))
    cases = {
        "returns": _cases(*_REPAIRS),
        "documents": pl.format("{} {}", claims, waits),
        "labor_hours": claims,
        "travel": claims,
    }
    sentences = [
        pl.when(pl.col("measure") == measure).then(
            pl.format(words, counted[measure], cases[measure])
        )
        for measure, words in _PLAIN.items()
    ]
    plain = pl.coalesce(sentences)
    expected = pl.format("against {} expected from what other agencies do", _short("expected"))
    beside = (
        pl.when(pl.col("compared") == pl.col("cases"))
        .then(pl.format("{}, {}", plain, expected))
        .otherwise(
            pl.format(
                "{}; {} of them have peers, with {}, {}",
                plain,
                "compared",
                _short("observed"),
                expected,
            )
        )
    )
    ask = pl.col("measure").replace_strict(_ASK, return_dtype=pl.String)
    return rows.with_columns(
        sentence=pl.when(pl.col("agency") == ALL)
        .then(pl.format("All agencies together: {}.", plain))
        .when(pl.col("compared").is_null())
        .then(pl.format("{}; there is nothing to compare that with.", plain))
        .when(pl.col("flagged"))
        .then(
            pl.format(
                "{}: more than chance explains, so a reason to ask, and no finding against "
                "anyone. Ask about {}.",
                beside,
                ask,
            )
        )
        .when(pl.col("thin"))
        .then(pl.format("{}: too few to say more.", beside))
        .otherwise(pl.format("{}: nothing to ask about.", beside))
    )


def _cases(one: str, many: str) -> pl.Expr:
    """The cases with their noun, singular or plural."""
    noun = pl.when(pl.col("cases") == 1).then(pl.lit(one)).otherwise(pl.lit(many))
    return pl.format("{} {}", "cases", noun)


def _short(value: pl.Expr | str) -> pl.Expr:
    """A number with one decimal, as text."""
    number = pl.col(value) if isinstance(value, str) else value
    return number.round(1).cast(pl.Decimal(18, 1)).cast(pl.String)
