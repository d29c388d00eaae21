"""What a person must look at before the claims, read from a store.

Belongs here: reading it, which a refresh with nothing new does too. Does not belong here: the join
report (`joins`).
"""

from __future__ import annotations

import duckdb

from pipelines.records.join_sentences import sentences_below
from pipelines.store.database import has_table, read_frame
from pipelines.store.inputs import Inputs


def below(con: duckdb.DuckDBPyConnection) -> list[str]:
    """A sentence for each join of a store that matches too little."""
    if not has_table(con, "joins"):
        return []
    names = ("joins", "join_misses", "row_accounts")
    return sentences_below(*(read_frame(con, name) for name in names))


def attention(inputs: Inputs, con: duckdb.DuckDBPyConnection) -> list[str]:
    """What a person must look at before the claims: example terms, and joins that are below."""
    return [*filter(None, [inputs.terms.warning]), *below(con)]
