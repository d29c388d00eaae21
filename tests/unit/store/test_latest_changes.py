"""How many claims the latest publication that changed any has changed."""

import duckdb
import pytest

from pipelines.store.claim_reads import latest_changes

ROWS = "('W1', timestamp '2026-11-30 10:00', 1), ('W2', timestamp '2026-11-30 10:00', 1)"


@pytest.mark.parametrize(
    ("more", "count"),
    [
        ("", 2),
        (", ('W1', timestamp '2026-12-01 10:00', 2)", 1),
        (", ('W1', timestamp '2026-01-10 10:00', 3)", 1),  # the clock went back
        (", ('W1', timestamp '2026-12-01 10:00', null)", 2),  # of before publications had numbers
    ],
)
def test_the_latest_is_the_one_with_the_last_number(more: str, count: int) -> None:
    """Not the one with the latest moment, which a clock may give wrong."""
    with duckdb.connect() as con:
        con.execute(
            "create table decision_history as from "
            f"(values {ROWS}{more}) t(claim, decided_at, publication)"
        )
        assert latest_changes(con) == count


def test_rows_from_before_the_numbers_count_by_their_moment() -> None:
    """A store that an earlier version made, and one without a history."""
    with duckdb.connect() as con:
        con.execute(
            "create table decision_history as from (values ('W1', timestamp '2026-01-01', null), "
            "('W2', timestamp '2026-01-02', null), ('W3', timestamp '2026-01-02', null)) "
            "t(claim, decided_at, publication)"
        )
        assert latest_changes(con) == 2
        con.execute("delete from decision_history")
        assert latest_changes(con) == 0
