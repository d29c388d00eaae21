"""What a workspace knows already: the register and the reference files, as a draft looks at them.

Belongs here: codes and names, and the share of values that is among them. Does not belong here:
reading the workspace (`pipelines.queries.drafting`).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import polars as pl

from pipelines.records.typed_values import serials

_NONE = pl.Series([], dtype=pl.String)


@dataclass(frozen=True)
class Known:
    """Codes by kind of alias (and `serial`), and what names stand for them.

    `codes` has a series of text for `serial`, `site`, `agency`, `product`, `model`, `cause`,
    `region` and `seller`; `names` the descriptions of codes, in plain lower case, by kind.
    """

    codes: dict[str, pl.Series] = field(default_factory=dict)
    names: dict[str, dict[str, str]] = field(default_factory=dict)

    def of(self, kind: str) -> pl.Series:
        """The codes of a kind; empty where none are known."""
        return self.codes.get(kind, _NONE)


# The kind of code that a column holds, where it is not called like it.
_KINDS = {"treatment_product": "product", "replaces": "serial"}
CODED = ("serial", "site", "agency", "product", "model", "cause", "region", "seller")


def kind_of_code(column: str) -> str | None:
    """What kind of code a column holds; None where it holds none."""
    kind = _KINDS.get(column, column)
    return kind if kind in CODED else None


def share_known(texts: pl.DataFrame, known: pl.Series, kind: str) -> float:
    """The share of rows whose text is known, from 0 to 1.

    Args:
        texts: `text` and `rows`.
        known: the codes.
        kind: `serial` compares as serials are read.
    """
    if texts.is_empty() or known.is_empty():
        return 0.0
    known_rows = texts.filter(is_known(pl.col("text"), known, kind))["rows"].sum()
    return float(known_rows) / float(texts["rows"].sum())


def is_known(text: pl.Expr, known: pl.Series, kind: str) -> pl.Expr:
    """Whether a text is a known code; serials are compared as they are read."""
    value = serials(text) if kind == "serial" else text.str.to_lowercase()
    codes = known if kind == "serial" else known.str.to_lowercase()
    return value.is_in(codes.implode())


def kinds_of(texts: pl.DataFrame, known: Known) -> list[tuple[str, float]]:
    """Of which kinds of codes values are, with the share of rows."""
    kinds = ("serial", "agency", "product", "model", "cause", "site")
    return [(kind, share_known(texts, known.of(kind), kind)) for kind in kinds]
