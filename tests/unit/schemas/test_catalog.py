"""The catalog: every table once, with a key of its own columns and links that lead somewhere."""

import pytest

from schemas.catalog import CATALOG, PUBLISHED
from schemas.codes import FEEDS


@pytest.mark.parametrize("name", CATALOG)
def test_a_table_has_a_key_and_says_what_a_row_is(name):
    """The key is made of its columns; every column says what it holds and what null means."""
    table = CATALOG[name]
    assert table.key
    assert set(table.key) <= {column.name for column in table.columns}
    assert table.grain.startswith("One row is ")
    assert table.grain.endswith(".")
    for column in table.columns:
        assert column.description.endswith("."), column
        assert column.required or column.null, column
        # Told once: never "null while it stands. Null: not known".
        assert "; null" not in column.description, column


@pytest.mark.parametrize("name", CATALOG)
def test_what_it_joins_to_is_there(name):
    """A link leads to the whole key of the other table, a reference to a column."""
    assert CATALOG[name].columns
    for mine, other, theirs in CATALOG[name].links:
        assert CATALOG[other].key == theirs
        for column in mine:
            CATALOG[name].column(column)
    for column in CATALOG[name].columns:
        if column.references:
            table, _, theirs = column.references.rpartition(".")
            assert CATALOG[table].column(theirs)


def test_records_and_views_are_published():
    """All feeds, and the views that the contract names."""
    assert set(FEEDS) <= set(PUBLISHED)
    views = {name for name, table in CATALOG.items() if table.is_view}
    assert views >= {
        "claim_overview", "unit_overview", "unit_events", "unit_water_tests", "unit_purchases",
    }  # fmt: skip
    assert views <= set(PUBLISHED)


def test_bounds_stand_beside_analytes():
    """A non-detect's bound is a column of its own, of the same unit."""
    tests = CATALOG["water_tests"]
    assert tests.column("iron_mg_l_below").unit == tests.column("iron_mg_l").unit == "mg/L"
    with pytest.raises(KeyError):
        tests.column("temperature_c_below")
