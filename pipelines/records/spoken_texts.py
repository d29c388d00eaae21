"""Texts of an export in the feed's own words, before they are typed.

Belongs here: steps, phrases, translations and aliases of a column, in this order. Does not belong
here: what each of them does (`steps`, `phrases`, `aliases`), reading values (`parsing`).
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipelines.records.aliases import meant
from pipelines.records.mapping import Mapping
from pipelines.records.phrases import coded
from pipelines.records.steps import changed, number_part, unit_part

UNIT = "\x00unit "  # before the name of a column: the units that its cells hold
_SAMPLE, _REPEATED = 2_000, 4  # texts of which each comes so many times are changed once


def spoken_texts(texts: pl.DataFrame, mapping: Mapping, names: Sequence[str]) -> pl.DataFrame:
    """The columns in the feed's words.

    Where cells may hold a unit it is parted from the number, and stands in a column of its own.

    Args:
        texts: the columns as text, null where empty.
        mapping: how they are written.
        names: the columns that are read.
    """
    spoken = [
        name
        for name in names
        if any(
            name in part
            for part in (mapping.transforms, mapping.phrases, mapping.values, mapping.aliases)
        )
    ]
    return texts.with_columns(
        column
        for name in spoken
        for column in _each_once(texts.select(name), mapping).get_columns()
    )


def _each_once(texts: pl.DataFrame, mapping: Mapping) -> pl.DataFrame:
    """What one column says; where its texts repeat, each is looked at once."""
    (name,) = texts.columns
    sample = texts[name].head(_SAMPLE)
    if texts.height <= _SAMPLE or sample.n_unique() * _REPEATED > _SAMPLE:
        return _spoken(texts, mapping)
    different = texts.unique()
    key = "\x00text"
    known = pl.concat(
        [different.rename({name: key}), _spoken(different, mapping)], how="horizontal"
    )
    return (
        texts.rename({name: key})
        .join(known, on=key, how="left", nulls_equal=True, maintain_order="left")
        .drop(key)
    )


def _spoken(texts: pl.DataFrame, mapping: Mapping) -> pl.DataFrame:
    (name,) = texts.columns
    text, unit = pl.col(name), None
    if name not in mapping.constants:
        steps, marks = mapping.transforms.get(name, ()), mapping.marks_of(name)
        units = [place for place, step in enumerate(steps) if step.verb == "cell_unit"]
        if units:
            texts = texts.select(changed(text, steps[: units[0]], marks).alias(name))
            unit, text, steps = unit_part(text), number_part(text), steps[units[0] :]
        text = changed(text, steps, marks)
        if name in mapping.phrases:
            text = coded(text, mapping.phrases[name])
    if name in mapping.values:
        text = _translated(text, mapping.values[name])
    if name in mapping.aliases:
        text = meant(text, mapping.aliases[name])
    # Lazily, since what two parts have in common is then worked out once.
    columns = [text.alias(name)] if unit is None else [text.alias(name), unit.alias(UNIT + name)]
    return texts.lazy().select(columns).collect()


def _translated(text: pl.Expr, words: dict[str, str]) -> pl.Expr:
    """The mapping's translations in place of the export's words."""
    lowered = text.str.to_lowercase()
    put = lowered.replace_strict(words, default=None, return_dtype=pl.String)
    return pl.when(lowered.is_in(list(words))).then(pl.when(put != "").then(put)).otherwise(text)
