"""What the search of the morning's page looks through: every claim, every row that is no record.

Belongs here: its shape for the script. Does not belong here: what is searched
(`pipelines.store.searched`), how it is matched (`static/search.js`).
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import polars as pl

from dashboards import formats

OF_ITSELF = ("claim", "call", "serial")  # what a claim is found by without its `fields`


def search_data(searched: pl.DataFrame, pages: Collection[str]) -> dict[str, Any]:
    """Claims and other rows by column; the newest claims first, so that matches are in order.

    Args:
        searched: rows of `schemas.search.SEARCHED`.
        pages: the claims that have a page.
    """
    claims = searched.filter(pl.col("kind") == "claim").sort(
        "failed_on", "claim", descending=[True, False], nulls_last=True
    )
    rows = searched.filter(pl.col("kind") != "claim").sort("kind", "feed", "file", "line")
    return {
        "words": formats.VERDICTS,
        "feeds": formats.FEEDS,
        "claims": {
            **{name: claims[name].to_list() for name in OF_ITSELF},
            "verdict": named_once(claims["verdict"]),
            "failed_on": claims["failed_on"].cast(pl.String).to_list(),
            "page": [
                formats.file_name(claim) if claim in pages else "" for claim in claims["claim"]
            ],
            "fields": claims.select(
                pl.col("fields").list.set_difference(pl.concat_list(OF_ITSELF))
            )["fields"].to_list(),
        },
        "rows": {
            **{name: named_once(rows[name]) for name in ("kind", "feed", "file", "reason")},
            **{name: rows[name].to_list() for name in ("line", "fields")},
        },
    }


def named_once(texts: pl.Series) -> dict[str, list[Any]]:
    """A column of few texts: each of them once, and by row which one it is."""
    known = texts.unique(maintain_order=True)
    places = {text: place for place, text in enumerate(known)}
    return {"texts": known.to_list(), "at": [places[text] for text in texts]}
