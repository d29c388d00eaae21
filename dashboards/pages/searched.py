"""What the search of the morning's page looks through: every claim, every row that is no record.

Belongs here: its shape for the script. Does not belong here: what is searched
(`pipelines.store.searched`), how it is matched (`static/search.js`).
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import polars as pl

from dashboards import formats


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
            **{name: claims[name].to_list() for name in ("claim", "call", "serial", "verdict")},
            "failed_on": claims["failed_on"].cast(pl.String).to_list(),
            "page": [
                formats.file_name(claim) if claim in pages else "" for claim in claims["claim"]
            ],
            "fields": claims["fields"].to_list(),
        },
        "rows": {
            name: rows[name].to_list()
            for name in ("kind", "feed", "file", "line", "reason", "fields")
        },
    }
