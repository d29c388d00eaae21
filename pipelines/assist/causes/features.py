"""What the model sees of each call, as a sparse matrix with a name a column.

Belongs here: weights of words (TF-IDF), parts, readings and phrases side by side. Does not belong
here: classes of causes, which features know nothing of.

A note's words are weighted by term frequency times inverse document frequency, smoothed as if one
more note held every word, idf = ln((1 + n) / (1 + df)) + 1, and scaled to length 1 a note
(Salton & Buckley 1988, in the smoothed form of scikit-learn). Parts and readings count a half where
they are there, so that they do not drown the words; phrases count by class with their weights,
together at most 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from pipelines.assist.causes.words import words_of

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

LEAST_CALLS = 3  # a word of fewer calls tells of these calls and not of causes
MOST_WORDS = 20_000
HALF = 0.5
WORD, PART, READING, PHRASE = "word", "part", "reading", "phrase"


@dataclass(frozen=True)
class Features:
    """A matrix (call x feature) as a frame of its entries, and the features' names.

    `entries` holds row, column and value; `names` holds column, sort (word, part, reading or
    phrase) and name.
    """

    rows: int
    entries: pl.DataFrame
    names: pl.DataFrame

    @property
    def matrix(self) -> csr_matrix:
        """The same as a matrix."""
        from scipy.sparse import csr_matrix

        row, column, value = (self.entries[name].to_numpy() for name in ("row", "column", "value"))
        return csr_matrix((value, (row, column)), shape=(self.rows, self.names.height))


def features_of(calls: pl.DataFrame, tokens: pl.DataFrame, hits: pl.DataFrame) -> Features:
    """Features of all calls.

    Args:
        calls: in the shape of `calls.CALLS`.
        tokens: of their notes, by position in `calls`.
        hits: the phrases found in them.
    """
    rows = calls.with_row_index("row")
    part = pl.col("part").str.to_lowercase().str.strip_chars().alias("name")
    readings = rows.select("row", name="readings").explode("name", empty_as_null=True)
    phrases = hits.group_by("row", name="cause_class").agg(
        value=pl.col("weight").sum().clip(upper_bound=1.0)
    )
    half = pl.lit(HALF).alias("value")
    blocks = {
        WORD: tf_idf(words_of(tokens)),
        PART: rows.select("row", part, half).drop_nulls("name"),
        READING: readings.drop_nulls().select("row", "name", half),
        PHRASE: phrases.select("row", "name", "value"),
    }
    listed = pl.concat(
        block.select(pl.col("row").cast(pl.UInt32), pl.lit(sort).alias("sort"), "name", "value")
        for sort, block in blocks.items()
    )
    of = pl.len().over("sort", "name")
    listed = listed.filter((of >= LEAST_CALLS) | (pl.col("sort") == PHRASE))
    names = listed.select("sort", "name").unique().sort("sort", "name").with_row_index("column")
    entries = listed.join(names, on=["sort", "name"]).select("row", "column", "value")
    return Features(calls.height, entries.sort("row", "column"), names)


def tf_idf(words: pl.DataFrame) -> pl.DataFrame:
    """row, name, value: the weight of every word of every note, of length 1 a note.

    Args:
        words: row, name, times; one row a word of a note.
    """
    notes = words["row"].n_unique()
    kept = words.with_columns(df=pl.len().over("name")).filter(pl.col("df") >= LEAST_CALLS)
    if kept["name"].n_unique() > MOST_WORDS:
        usual = kept.select("name", "df").unique().sort("df", "name", descending=[True, False])
        kept = kept.join(usual.head(MOST_WORDS).select("name"), on="name", how="semi")
    idf = ((1 + notes) / (1 + pl.col("df"))).log() + 1
    weighed = kept.sort("row", "name").with_columns(value=pl.col("times") * idf)
    length = pl.col("value").pow(2).sum().over("row").sqrt()
    return weighed.select("row", "name", value=pl.col("value") / length)
