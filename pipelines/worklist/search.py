"""Searching claims, units, agencies, sites and rows that are no records, however a number is typed.

Belongs here: folding, matching, ranking. Does not belong here: reading what is searched
(`pipelines.queries.search`).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import polars as pl

from pipelines.records.suggestions import serials_one_edit_away
from schemas.polars_types import greatest
from schemas.search import MOST, RESULTS

# Spaces, dashes, dots, slashes, underscores and `#` are left out, and what nobody sees of a text.
_LEFT_OUT = r"[\s\p{Pd}\p{Cf}\u{2212}.\/\\_#]+"

# Zeros before a number.
_ZEROS = r"(^|\D)0+"
_MOST_NEAR = 5


def fold(text: str) -> str:
    """A query as it is compared: case and accents levelled, without what numbers are parted by."""
    return str(pl.select(folded(pl.lit(text))).item())


def folded(text: pl.Expr) -> pl.Expr:
    """The same of a column."""
    plain = text.str.normalize("NFKD").str.replace_all(r"\p{M}", "").str.to_lowercase()
    return plain.str.replace_all(_LEFT_OUT, "")


@dataclass(frozen=True)
class Folded:
    """Rows of `schemas.search.THINGS` with `place`, and their folded texts, so that these need not
    be made for each query: place and one text a row."""

    things: pl.DataFrame
    fields: pl.DataFrame
    numbers: pl.DataFrame

    @classmethod
    def of(cls, things: pl.DataFrame, first: int = 0) -> Folded:
        """Those of some things, which have places from `first` on."""
        places = things.with_row_index("place", first)
        return cls(places, _folded_list(places, "fields"), _folded_list(places, "numbers"))

    def instead(
        self, keys: Mapping[str, tuple[str, Collection[str]]], things: pl.DataFrame
    ) -> Folded:
        """The same with others for some: by kind, the column that names them, and its values."""
        gone = pl.lit(False)
        for kind, (column, values) in keys.items():
            gone = gone | ((pl.col("kind") == kind) & pl.col(column).is_in(sorted(values)))
        stays = self.things.filter(~gone.fill_null(False))
        new = Folded.of(things, 1 + greatest(self.things["place"]))
        kept = stays.select("place")
        return Folded(
            pl.concat([stays, new.things]),
            pl.concat([self.fields.join(kept, on="place", how="semi"), new.fields]),
            pl.concat([self.numbers.join(kept, on="place", how="semi"), new.numbers]),
        )


def search(things: pl.DataFrame | Folded, query: str) -> tuple[pl.DataFrame, int]:
    """What matches a query, and how many there are in all.

    A thing matches where the whole folded query stands in one of its fields, or each of the
    query's words stands in one. A unit, agency or site that matches brings its claims.

    Args:
        things: rows of `schemas.search.THINGS`, or the same folded before.
        query: as typed; not empty once folded.

    Returns:
        At most 200 rows of RESULTS: exact matches of a number first, then claims by failure date,
        the newest first, then the others; and the number of all.
    """
    folded_things = things if isinstance(things, Folded) else Folded.of(things)
    places = folded_things.things
    hit, exact = _hits(folded_things, query)
    matched = places.filter(pl.col("place").is_in(hit.implode()))
    # A claim may match by itself and by its unit.
    matches = pl.concat([matched, _claims_of(places, matched)]).unique("place")
    ranked = matches.with_columns(
        rank=pl.when(pl.col("place").is_in(exact.implode()))
        .then(0)
        .when(pl.col("kind") == "claim")
        .then(1)
        .otherwise(2),
        later=pl.col("kind") != "claim",
    ).sort(
        "rank",
        "later",
        "failed_on",
        "kind",
        "claim",
        "serial",
        "site",
        "agency",
        "place",
        descending=[False, False, True, *[False] * 6],
        nulls_last=True,
    )
    return ranked.head(MOST).select(RESULTS.names()), ranked.height


def holding(things: pl.DataFrame | Folded, query: str) -> pl.DataFrame:
    """Those of the things that match a query, in their order, as `search` matches them."""
    folded_things = things if isinstance(things, Folded) else Folded.of(things)
    hit, _ = _hits(folded_things, query)
    return folded_things.things.filter(pl.col("place").is_in(hit.implode())).drop("place")


def _hits(folded_things: Folded, query: str) -> tuple[pl.Series, pl.Series]:
    """The places of what matches a query, and of those the ones whose number it is.

    Of a claim each word may stand in a field of its own, or of its unit, agency or site.
    """
    whole = fold(query)
    words = {word for word in (fold(part) for part in query.split()) if word}
    places, fields, numbers = folded_things.things, folded_things.fields, folded_things.numbers
    exact = numbers.filter(pl.col("numbers") == whole)["place"].unique()
    hits = [fields.filter(pl.col("fields").str.contains(whole, literal=True))["place"], exact]
    # Of one word the whole was looked for already.
    if words != {whole}:
        with_words = places["place"]
        for word in sorted(words):
            having = fields.filter(pl.col("fields").str.contains(word, literal=True))["place"]
            of_them = places.filter(pl.col("place").is_in(having.unique().implode()))
            having = pl.concat([having, _claims_of(places, of_them)["place"]]).unique()
            with_words = with_words.filter(with_words.is_in(having.implode()))
        hits.append(with_words)
    return pl.concat(hits).unique(), exact


def _folded_list(places: pl.DataFrame, column: str) -> pl.DataFrame:
    """place and one folded text a row."""
    exploded = places.select("place", column).explode(column).drop_nulls(column)
    return exploded.with_columns(folded(pl.col(column)))


def _claims_of(places: pl.DataFrame, matched: pl.DataFrame) -> pl.DataFrame:
    """The claims of the units, agencies and sites among what matched."""
    claims = places.filter(pl.col("kind") == "claim")
    kept = []
    for kind, column in (("unit", "serial"), ("agency", "agency"), ("site", "site")):
        keys = matched.filter(pl.col("kind") == kind)[column].drop_nulls().unique()
        kept.append(claims.filter(pl.col(column).is_in(keys.implode())))
    return pl.concat(kept).unique("place")


def near_numbers(typed: str, numbers: pl.Series) -> list[str]:
    """The numbers that are the same but for how they are parted and zeros before them, or else
    one edit away, at most five."""
    known = numbers.drop_nulls().unique().sort()
    plain = folded(pl.col("number")).str.replace_all(_ZEROS, "${1}")
    keys = pl.DataFrame({"number": known}).with_columns(key=plain)
    wanted = pl.DataFrame({"number": [typed]}).select(plain).item()
    same = keys.filter(pl.col("key") == wanted)["number"]
    if same.is_empty():
        near = serials_one_edit_away(pl.Series([wanted]), keys["key"])["known"]
        same = keys.filter(pl.col("key").is_in(near.implode()))["number"]
    return same.head(_MOST_NEAR).to_list()
