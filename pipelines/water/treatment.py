"""Which treatments serve which needs.

Belongs here: combinations of systems for a set of needs, and the fit between what is installed and
what the water needs. Does not belong here: needs themselves (`limits`), whether a purchase counts
for a claim (`pipelines.coverage`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import polars as pl

from schemas.columns import TEXTS

MOST_OFFERED = 5


@dataclass(frozen=True, slots=True)
class Combination:
    """Systems that together serve, fully or not; all tuples sorted."""

    products: tuple[str, ...]
    unmet: tuple[str, ...]
    not_needed: tuple[str, ...]


def false_membrane_claims(treatments: pl.DataFrame) -> list[str]:
    """Products that claim to remove chloramine by reverse osmosis, which lets it through."""
    return (
        treatments.filter(
            pl.col("rated_output_l_per_h").is_not_null()
            & pl.col("removes").list.contains("chloramine")
        )
        .sort("product")
        .get_column("product")
        .to_list()
    )


def serving_abilities(treatments: pl.DataFrame) -> dict[str, frozenset[str]]:
    """What each system can be counted on for: chloramine is never credited to a membrane."""
    false = set(false_membrane_claims(treatments))
    systems = treatments.filter(pl.col("kind") == "system").sort("product")
    return {
        product: frozenset(removes) - ({"chloramine"} if product in false else set())
        for product, removes in systems.select("product", "removes").iter_rows()
    }


def combinations(needs: Iterable[str], treatments: pl.DataFrame) -> list[Combination]:
    """Up to five combinations of systems for the needs, best first; see `combined`."""
    return combined(needs, serving_abilities(treatments))


def combined(needs: Iterable[str], abilities: Mapping[str, frozenset[str]]) -> list[Combination]:
    """Up to five combinations of systems for the needs, best first.

    Args:
        needs: what the water calls for.
        abilities: of `serving_abilities`.

    All needs met, or as many as any combination meets; then fewest products, then fewest abilities
    that are not needed, then names. A product that brings nothing of its own is never added.
    Empty where nothing is needed or no system serves any of it.
    """
    wanted = frozenset(needs)
    able = {name: can for name, can in abilities.items() if can & wanted}
    served = wanted & frozenset().union(*able.values())
    offers = [
        _combination(products, able, wanted)
        for products in _covers(served, able, frozenset())
        if products and _each_is_called_for(products, able, served)
    ]
    offers.sort(key=lambda c: (len(c.products), len(c.not_needed), c.products))
    return offers[:MOST_OFFERED]


def _covers(
    open_needs: frozenset[str], able: dict[str, frozenset[str]], chosen: frozenset[str]
) -> set[frozenset[str]]:
    """Every choice of products that serves the open needs, need by need."""
    if not open_needs:
        return {chosen}
    # The need that the fewest products serve first: the search branches least.
    hardest = min(sorted(open_needs), key=lambda need: sum(need in can for can in able.values()))
    return {
        cover
        for name, can in able.items()
        if hardest in can
        for cover in _covers(open_needs - can, able, chosen | {name})
    }


def _each_is_called_for(
    products: frozenset[str], able: dict[str, frozenset[str]], served: frozenset[str]
) -> bool:
    return all(
        not served <= frozenset().union(*(able[other] for other in products - {name}))
        for name in products
    )


def _combination(
    products: frozenset[str], able: dict[str, frozenset[str]], wanted: frozenset[str]
) -> Combination:
    together = frozenset().union(*(able[name] for name in products))
    return Combination(
        products=tuple(sorted(products)),
        unmet=tuple(sorted(wanted - together)),
        not_needed=tuple(sorted(together - wanted)),
    )


def treatment_fit(
    needs: pl.DataFrame, fitted: pl.DataFrame, treatments: pl.DataFrame
) -> pl.DataFrame:
    """What each unit's water needs against what its installed systems remove.

    As a claim is judged, treatments.csv is believed here to the letter.

    Args:
        needs: serial, needs (List(String)).
        fitted: serial, product: the systems installed, in any number.
        treatments: the reference file.

    Returns:
        One row a row of `needs`, by serial: serial, fitted (products), abilities, unmet (each a
        sorted list), fits (nothing is unmet).
    """
    removes = treatments.filter(pl.col("kind") == "system").select("product", "removes")
    able = (
        fitted.select("serial", "product")
        .unique()
        .join(removes, on="product")
        .group_by("serial")
        .agg(
            fitted=pl.col("product").sort(),
            abilities=pl.col("removes").explode().drop_nulls().unique().sort(),
        )
    )
    none = pl.lit([], dtype=TEXTS)
    unmet = pl.col("needs").list.set_difference(pl.col("abilities")).list.sort()
    return (
        needs.select("serial", "needs")
        .join(able, on="serial", how="left")
        .with_columns(pl.col("needs", "fitted", "abilities").fill_null(none))
        .select("serial", "fitted", "abilities", unmet=unmet, fits=unmet.list.len() == 0)
        .sort("serial")
    )
