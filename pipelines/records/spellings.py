"""Which known value a written one may be, and by which cause it is not equal to it.

Belongs here: forms of a text and distances between them. Does not belong here: which columns are
compared (`joins`), near-miss suggestions of numbers (`suggestions`).
"""

from __future__ import annotations

from collections.abc import Callable

import polars as pl
from rapidfuzz.distance import OSA
from rapidfuzz.process import cdist, cpdist

from pipelines.records.suggestions import one_taken_out

LIKELY = pl.Schema({"written": pl.String(), "cause": pl.String(), "likely": pl.String()})
# From so many letters and digits on a spelling is close by two edits, and by three.
TWO_EDITS_FROM, THREE_EDITS_FROM = 9, 17
# A page of text that slipped into the column is not worth a search.
_LONGEST = 256
# Comparisons for two and three edits; beyond them the last values, in their order, stay unknown.
MOST_PAIRS = 200_000_000
_BLOCK = 4_000_000


def likely(written: pl.Series, known: pl.Series, *, digits_count: bool) -> pl.DataFrame:
    """The cause by which values miss, and the known value that is meant where there is just one.

    Args:
        written: different values, none of which is known.
        known: different values of the other side.
        digits_count: whether a changed digit counts as an edit; else digits must be the same.

    Returns:
        A frame in the shape of LIKELY; values for which no cause holds are not in it.
    """
    open_, other = written.alias("written").to_frame(), known.alias("known").to_frame()
    by_cause = [LIKELY.to_frame()]
    for cause, form in (
        ("lost_zeros", _without_zeros),
        ("case_or_punctuation", _bare),
    ):
        if open_.is_empty():  # as mostly: each question costs as much as for many values
            return pl.concat(by_cause)
        pairs = _alike(open_, other, form)
        by_cause.append(_single(pairs, cause))
        open_ = open_.join(pairs, on="written", how="anti")
    if open_.height:
        by_cause.append(_single(_close(open_, other, digits_count), "close_spelling"))
    return pl.concat(by_cause)


def _single(pairs: pl.DataFrame, cause: str) -> pl.DataFrame:
    """Each written value once, with the known one where there is exactly one."""
    return (
        pairs.group_by("written")
        .agg(pl.col("known").n_unique().alias("many"), pl.col("known").first())
        .select(
            "written",
            cause=pl.lit(cause),
            likely=pl.when(pl.col("many") == 1).then("known"),
        )
    )


def _without_zeros(text: pl.Expr) -> pl.Expr:
    return text.str.replace(r"^0+", "")


def _bare(text: pl.Expr) -> pl.Expr:
    """Letters and digits alone, in lower case, without accents."""
    return text.str.normalize("NFKD").str.to_lowercase().str.replace_all(r"[^\p{L}\p{Nd}]", "")


def _alike(
    written: pl.DataFrame, known: pl.DataFrame, form: Callable[[pl.Expr], pl.Expr]
) -> pl.DataFrame:
    left = written.with_columns(form(pl.col("written")).alias("form"))
    right = known.with_columns(form(pl.col("known")).alias("form"))
    return left.filter(pl.col("form") != "").join(right, on="form").select("written", "known")


def _close(written: pl.DataFrame, known: pl.DataFrame, digits_count: bool) -> pl.DataFrame:
    """Pairs of values that are few edits apart: put in, taken out, replaced, neighbors swapped."""
    length = pl.col("form").str.len_chars()
    edits = (
        pl.when(length >= THREE_EDITS_FROM)
        .then(3)
        .when(length >= TWO_EDITS_FROM)
        .then(2)
        .otherwise(1)
    )
    digits = pl.lit("") if digits_count else pl.col("form").str.replace_all(r"\D", "")
    left = (
        written.with_columns(form=_bare(pl.col("written")))
        .filter(length.is_between(1, _LONGEST))
        .with_columns(edits=edits, digits=digits)
    )
    right = (
        known.with_columns(form=_bare(pl.col("known")))
        .filter(length.is_between(1, _LONGEST))
        .with_columns(digits=digits)
    )
    pairs = [_by_one(left, right), *_by_more(left.filter(pl.col("edits") > 1), right)]
    return pl.concat(pairs).unique(maintain_order=True)


def _by_one(left: pl.DataFrame, right: pl.DataFrame) -> pl.DataFrame:
    """Pairs one edit apart, found through the forms that both have with a character taken out."""
    forms = one_taken_out(left["form"].unique(), right["form"].unique())
    apart = cpdist(
        forms["typed"].to_list(), forms["known"].to_list(), scorer=OSA.distance, score_cutoff=1
    )
    near = forms.filter(pl.Series(apart, dtype=pl.Int64) <= 1)
    pairs = near.join(left, left_on="typed", right_on="form").join(
        right.rename({"known": "value"}), left_on=["known", "digits"], right_on=["form", "digits"]
    )
    return pairs.select("written", known="value")


def _by_more(left: pl.DataFrame, right: pl.DataFrame) -> list[pl.DataFrame]:
    """Pairs two or three edits apart: every form against all that are about as long."""
    pairs: list[pl.DataFrame] = []
    spent = 0
    length = pl.col("form").str.len_chars()
    groups = left.with_columns(length=length).sort("length", "digits", "form")
    for (long, digits, edits), group in groups.group_by(
        "length", "digits", "edits", maintain_order=True
    ):
        about = right.filter(
            (pl.col("digits") == digits) & length.is_between(long - edits, long + edits)
        )
        if about.is_empty():
            continue
        step = max(_BLOCK // about.height, 1)
        for start in range(0, group.height, step):
            part = group.slice(start, step)
            spent += part.height * about.height
            if spent > MOST_PAIRS:
                return pairs
            apart = cdist(
                part["form"].to_list(),
                about["form"].to_list(),
                scorer=OSA.distance,
                score_cutoff=edits,
                dtype="uint8",
            )
            rows, columns = (apart <= edits).nonzero()
            pairs.append(
                pl.DataFrame({"written": part["written"][rows], "known": about["known"][columns]})
            )
    return pairs
