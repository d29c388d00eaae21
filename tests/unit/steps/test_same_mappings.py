"""Whether a file that has not changed says what it said to the last publication."""

from __future__ import annotations

from types import SimpleNamespace

import duckdb
import polars as pl
import pytest

from pipelines.steps.records import same_mappings

ALIASES = pl.DataFrame({"kind": ["site"], "written": ["North hall"], "means": ["S1"]})
STATE = SimpleNamespace(mappings="m", reference="r")


@pytest.mark.parametrize(
    ("before", "aliases", "same"),
    [
        (None, ALIASES, True),
        (STATE, ALIASES, True),
        (SimpleNamespace(mappings="n", reference="r"), ALIASES, False),
        (SimpleNamespace(mappings="m", reference="s"), ALIASES, True),
        (SimpleNamespace(mappings="n", reference="s"), ALIASES, False),
        (SimpleNamespace(mappings="m", reference="s"), ALIASES.clear(), False),
        (SimpleNamespace(mappings="m", reference="s"), ALIASES.with_columns(means=pl.lit("S2")), 0),
    ],
)
def test_mappings_and_aliases_say_what_a_file_says(before, aliases, same):
    """What else stands in reference files does not."""
    with duckdb.connect() as con:
        con.execute("attach ':memory:' as last")
        con.execute("create table last.reference_aliases as select * from ALIASES")
        session = SimpleNamespace(
            con=con,
            state=STATE,
            last=SimpleNamespace(state=before),
            inputs=SimpleNamespace(mappings=SimpleNamespace(aliases=aliases)),
        )
        assert same_mappings(session) == same
