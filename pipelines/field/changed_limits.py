"""Which limits of water other terms move, and for which units.

Belongs here: two sets of limits side by side. Does not belong here: what moving them may come to
(`moved_limits`), deciding claims again.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.terms import Terms


class Moved(NamedTuple):
    """A maximum that other terms move, or (`lower`) a minimum; infinite where there is none.

    serials: of the units whose own terms move it; None: all of the family.
    """

    family: str
    analyte: str
    before: float
    after: float
    needs: str
    lower: bool = False
    serials: pl.Series | None = None

    @property
    def key(self) -> tuple[str, str, float, float]:
        """The limit that is moved, and from where to where."""
        return self.family, self.analyte, self.before, self.after

    @property
    def laxer(self) -> bool:
        """Whether it lets more waters pass."""
        return (self.after > self.before) != self.lower


def moved_by_terms(editions: pl.DataFrame, before: Terms, after: Terms) -> list[Moved]:
    """The maxima, then the minima, that the other terms move.

    A unit is judged by its own edition, before and after. A limit of the newest edition that no
    unit is judged by yet is moved for none.

    Args:
        editions: as `moved_for_units` takes them.
    """
    moved: list[Moved] = []
    for bound in ("max", "min"):
        lower = bound == "min"
        sides = [_limits(terms, bound) for terms in (before, after)]
        newest = [
            side.join(_newest(terms), on=["edition", "family"]).drop("edition")
            for side, terms in zip(sides, (before, after), strict=True)
        ]
        own = moved_for_units(editions, *sides, lower=lower)
        known = {one.key for one in own}
        nobody = pl.Series([], dtype=pl.String)
        others = [
            one._replace(serials=nobody)
            for one in moved_limits(*newest, lower=lower)
            if one.key not in known
        ]
        moved += sorted([*own, *others], key=lambda one: one.key)
    return moved


def _newest(terms: Terms) -> pl.DataFrame:
    """edition and family of each family's newest edition."""
    newest = pl.col("effective_from") == pl.col("effective_from").max().over("family")
    return terms.values.filter(newest).select("edition", "family")


def _limits(terms: Terms, bound: str) -> pl.DataFrame:
    """The maxima or minima of all editions: edition, family, analyte, limit, needs."""
    some = terms.water_limits.filter(pl.col(bound).is_not_null())
    return some.select("edition", "family", "analyte", "needs", limit=bound)


def moved_limits(before: pl.DataFrame, after: pl.DataFrame, *, lower: bool = False) -> list[Moved]:
    """The maxima (or minima) that differ: family, analyte, limit, needs of the newest editions."""
    rows = _differing(before, after, ["family", "analyte"], lower)
    return [Moved(*row)._replace(lower=lower) for row in rows.rows()]


def moved_for_units(
    editions: pl.DataFrame, before: pl.DataFrame, after: pl.DataFrame, *, lower: bool = False
) -> list[Moved]:
    """The limits that differ for units, by the terms that judge each of them.

    Args:
        editions: serial, family, and the unit's edition under these and under the other terms:
            edition, edition_after (null: none).
        before: limits of all editions: edition, family, analyte, limit, needs.
        after: those of the other terms.
    """
    keys = ["family", "edition", "edition_after"]
    known = editions.drop_nulls(keys)
    pairs = known.select(keys).unique().with_row_index("pair")
    columns = ["pair", "family", "analyte", "limit", "needs"]
    first = pairs.join(before, on=["family", "edition"]).select(columns)
    limits = after.rename({"edition": "edition_after"})
    second = pairs.join(limits, on=["family", "edition_after"]).select(columns)
    what = ["family", "analyte", "limit", "limit_after", "needs"]
    rows = (
        _differing(first, second, columns[:3], lower)
        .join(known.join(pairs, on=keys).select("serial", "pair"), on="pair")
        .group_by(what)
        .agg("serial")
        .sort(what)
    )
    return [
        Moved(*row)._replace(lower=lower, serials=serials)
        for row, serials in zip(rows.select(what).rows(), rows["serial"], strict=True)
    ]


def _differing(
    before: pl.DataFrame, after: pl.DataFrame, keys: list[str], lower: bool
) -> pl.DataFrame:
    """keys, limit, limit_after, needs of the limits that are not alike; infinite: none."""
    none = -np.inf if lower else np.inf
    both = before.join(after, on=keys, how="full", coalesce=True, suffix="_after")
    limits = both.select(
        *keys,
        pl.col("limit").fill_null(none),
        pl.col("limit_after").fill_null(none),
        pl.coalesce("needs", "needs_after").fill_null(""),
    )
    return limits.filter(pl.col("limit") != pl.col("limit_after")).sort(keys)
