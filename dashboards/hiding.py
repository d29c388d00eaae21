"""Keeps names off the pages: what the settings hide is gone before any page is made.

Belongs here: removing hidden columns and their values from every frame. Does not belong here:
which columns a workspace hides (its settings).
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import polars as pl

from dashboards.data import PageData
from schemas.codes import HIDEABLE
from schemas.columns import CITATIONS

HIDDEN = "(hidden)"


def hide_names(data: PageData) -> PageData:
    """The data without the columns of `hide`, and without their values in any sentence.

    A hidden agency loses its code and its name. Values in sentences, letters, evidence and rows set
    aside become `(hidden)`. Raises ValueError for a column that cannot be hidden.
    """
    unknown = [name for name in data.hide if name not in HIDEABLE]
    if unknown:
        raise ValueError(f"{unknown[0]!r} cannot be hidden; {', '.join(HIDEABLE)} can.")
    if not data.hide:
        return data
    pattern = _pattern(_names(data))
    frames = {
        field.name: getattr(data, field.name)
        for field in dataclasses.fields(data)
        if isinstance(getattr(data, field.name), pl.DataFrame)
    }
    masked = {name: _mask(frame, data.hide, pattern) for name, frame in frames.items()}
    figures = {
        name: _mask(_without_slices(frame, data.hide), [], pattern)
        for name, frame in data.figures.items()
    }
    if "agency" in data.hide:
        masked["agencies"] = data.agencies.clear()
        # An address tells whose it is in other letters than the name has.
        no_address = pl.lit(None, pl.String).alias("agency_email")
        masked["letters"] = masked["letters"].with_columns(no_address)
        masked["journey_rates"] = _without_agencies(data.journey_rates)
    masked["cause_suggestions"] = _without_words(
        masked["cause_suggestions"], data.hide, _names(data)
    )
    if "lab" in data.hide:
        # Each of these rows is about one laboratory, whose name no page need cite as evidence.
        masked["night_checks"] = masked["night_checks"].filter(
            pl.col("check") != "laboratory_values"
        )
    hidden: dict[str, Any] = {**masked, "figures": figures}
    return dataclasses.replace(data, **hidden)


def hide_in_tables(data: PageData, tables: Mapping[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    """Tables that no page shows, without the columns that `data` hides and without their values.

    With hidden agencies go their names wherever they stand, and the reference file's rows.
    """
    pattern = _pattern(_names(data))
    hide = [*data.hide, *(("agency_name", "email") if "agency" in data.hide else ())]
    masked = {name: _mask(frame, hide, pattern) for name, frame in tables.items()}
    if "agency" in data.hide and "reference_agencies" in masked:
        masked["reference_agencies"] = masked["reference_agencies"].clear()
    if "agency" in data.hide and "journey_rates" in masked:
        masked["journey_rates"] = _without_agencies(tables["journey_rates"])
    return masked


def _without_agencies(rates: pl.DataFrame) -> pl.DataFrame:
    """What is told of one agency alone goes; what all come to together stays."""
    return rates.filter(pl.col("by") != "agency")


def _without_words(
    suggestions: pl.DataFrame, hide: Sequence[str], names: Sequence[str]
) -> pl.DataFrame:
    """Suggested causes without words of hidden notes, or that are a part of a hidden name."""
    words = pl.col("words")
    if "notes" in hide:
        return suggestions.with_columns(words.list.head(0))
    parts = sorted({part for name in names for part in re.findall(r"\w{3,}", name.lower())})
    if not parts:
        return suggestions
    pattern = rf"(?i)(^|[^\p{{L}}\p{{N}}])({'|'.join(map(re.escape, parts))})($|[^\p{{L}}\p{{N}}])"
    return suggestions.with_columns(
        words.list.eval(pl.element().filter(~pl.element().str.contains(pattern)))
    )


def _without_slices(figure: pl.DataFrame, hide: Sequence[str]) -> pl.DataFrame:
    """A figure without the rows that tell of one agency; what it says of all together stays."""
    sliced = [name for name in hide if name in figure.columns]
    return figure.filter(pl.all_horizontal(pl.col(sliced) == "all")) if sliced else figure


def _names(data: PageData) -> list[str]:
    names: list[str | None] = []
    if "site_name" in data.hide:
        names += data.decisions["site_name"].to_list()
    if "agency" in data.hide:
        names += data.decisions["agency"].to_list()
        names += data.agencies["agency"].to_list() + data.agencies["name"].to_list()
    cells = data.evidence_rows.select("columns", "cells").explode("columns", "cells")
    names += cells.filter(pl.col("columns").is_in(list(data.hide)))["cells"].to_list()
    aside = data.set_aside.filter(pl.col("column").is_in(list(data.hide)))
    names += aside["value"].to_list()
    misses = data.join_misses.filter(pl.col("column").is_in(list(data.hide)))
    names += misses["written"].to_list() + misses["likely"].to_list()
    return sorted({name.strip() for name in names if name and name.strip()}, key=len, reverse=True)


def _pattern(names: Iterable[str]) -> str | None:
    """Any of the names, the longest first, where no letter or digit touches it."""
    choices = "|".join(re.escape(name) for name in names)
    return rf"(^|[^\p{{L}}\p{{N}}])(?:{choices})($|[^\p{{L}}\p{{N}}])" if choices else None


def _mask(frame: pl.DataFrame, hide: Sequence[str], pattern: str | None) -> pl.DataFrame:
    gone = [pl.lit(None, pl.String).alias(name) for name in hide if name in frame.columns]
    frame = frame.with_columns(gone)
    if pattern is None:
        return frame

    def cleaned(text: pl.Expr) -> pl.Expr:
        # Twice, since two names with one separator between them overlap in the pattern.
        once = text.str.replace_all(pattern, f"${{1}}{HIDDEN}${{2}}")
        return once.str.replace_all(pattern, f"${{1}}{HIDDEN}${{2}}")

    texts = [
        name for name, kind in frame.schema.items() if kind == pl.String and name not in _IDENTITY
    ]
    lists = [name for name, kind in frame.schema.items() if kind == pl.List(pl.String)]
    cited = [name for name, kind in frame.schema.items() if kind == CITATIONS]
    of_citation = pl.element().struct.with_fields(
        cleaned(pl.field("key")), cleaned(pl.field("file"))
    )
    return frame.with_columns(
        *[cleaned(pl.col(name)) for name in texts],
        *[pl.col(name).list.eval(cleaned(pl.element())) for name in lists],
        *[pl.col(name).list.eval(of_citation) for name in cited],
    )


# Keys by which frames are joined, and words of closed lists: they hold no one's name.
_IDENTITY = (
    "claim",
    "serial",
    "region",
    "family",
    "verdict",
    "standing",
    "condition",
    "outcome",
    "state",
)
