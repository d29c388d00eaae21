"""Words and phrases of notes.

Belongs here: notes to tokens, tokens to words and pairs, phrases found in them. Does not belong
here: what a word tells (`model`).

A token is a run of letters and digits, small letters, with apostrophes and dashes inside. Words
that the model sees are tokens of two letters or more, and pairs of neighbors; numbers are left
out, since they are measurements, telephone numbers and dates.
"""

from __future__ import annotations

import polars as pl

_TOKEN = r"[\p{L}\p{N}]+(?:['’\-][\p{L}\p{N}]+)*"
_WORD = r"\p{L}.*\p{L}"


def tokens_of(notes: pl.Series) -> pl.DataFrame:
    """row (position in `notes`), at (position in the note), token; in order."""
    noted = pl.DataFrame({"token": notes}).with_row_index("row").drop_nulls("token")
    split = pl.col("token").str.to_lowercase().str.extract_all(_TOKEN)
    return (
        noted.with_columns(split)
        .explode("token", empty_as_null=True)
        .drop_nulls("token")
        .with_columns(at=pl.int_range(pl.len()).over("row"))
        .select("row", "at", "token")
    )


def words_of(tokens: pl.DataFrame) -> pl.DataFrame:
    """row, name, times: every word and every pair of neighbors, with how often it stands there."""
    is_word = pl.col("token").str.contains(_WORD)
    following = pl.col("token").shift(-1)
    near = (pl.col("row").shift(-1) == pl.col("row")) & is_word.shift(-1)
    words = tokens.filter(is_word).select("row", name="token")
    pair = pl.col("token") + " " + following
    pairs = tokens.select("row", name=pl.when(is_word & near).then(pair)).drop_nulls("name")
    return pl.concat([words, pairs]).group_by("row", "name").len("times")


def phrases_in(tokens: pl.DataFrame, phrases: pl.DataFrame) -> pl.DataFrame:
    """row, phrase, cause_class, weight: every phrase found whole, once a note.

    Case, punctuation and blanks do not matter. Phrases are looked up as runs of tokens, one join
    for each length that occurs.
    """
    split = tokens_of(phrases["phrase"]).group_by("row").agg("token", pl.len().alias("length"))
    listed = (
        phrases.with_row_index("row")
        .join(split, on="row")
        .select("phrase", "cause_class", "weight", "length", run=pl.col("token").list.join(" "))
    )
    matches = [
        tokens.select("row", run=pl.lit(""))
        .clear()
        .join(listed.drop("length"), on="run")
        .drop("run")
    ]
    for length in listed["length"].unique().sort():
        run = pl.concat_str([pl.col("token").shift(-n) for n in range(length)], separator=" ")
        inside = pl.col("row").shift(-(length - 1)) == pl.col("row")
        runs = tokens.select("row", run=pl.when(inside).then(run)).drop_nulls("run").unique()
        same = listed.filter(pl.col("length") == length).drop("length")
        matches.append(runs.join(same, on="run").drop("run"))
    return pl.concat(matches).sort("row", "phrase")
