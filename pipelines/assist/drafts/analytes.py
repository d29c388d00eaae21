"""Which analyte a laboratory means by a name.

Belongs here: names of analytes to columns of water tests. Does not belong here: units and bases
(`units`).
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipelines.assist.drafts.names import alike, likeness
from pipelines.assist.drafts.plain_names import plain_words
from pipelines.assist.drafts.vocabulary import OTHER_ANALYTES
from pipelines.records.mapping_checks import LONG_ANALYTES

SURE, PERHAPS = 0.8, 0.6


def likely_analytes(names: Sequence[str]) -> dict[str, tuple[str, float]]:
    """By the laboratory's name, the column that it is probably and the likeness from 0 to 1.

    Several names may be of one column, as where two laboratories fill one file.
    """
    by_name = {}
    for name in names:
        score, column = max(
            (likeness("water_tests", column, name), column) for column in LONG_ANALYTES
        )
        other = max(alike(plain_words(name), plain_words(one)) for one in OTHER_ANALYTES)
        if score >= PERHAPS and score > other:
            by_name[name] = (column, score)
    return by_name


def known_share(texts: pl.DataFrame) -> float:
    """The share of rows whose text names an analyte, also one that no feed has."""
    names = texts.head(80)
    known = [
        name
        for name in names["text"].to_list()
        if max(likeness("water_tests", column, name) for column in LONG_ANALYTES) >= SURE
        or max(alike(plain_words(name), plain_words(one)) for one in OTHER_ANALYTES) >= SURE
    ]
    rows = names.filter(pl.col("text").is_in(known))["rows"].sum()
    total = texts["rows"].sum()
    return float(rows) / float(total) if total else 0.0
