"""Covers and lapses of cartridges, as spells."""

from datetime import date

import polars as pl

from pipelines.coverage.cartridges import (
    covers_by_changes,
    covers_by_stock,
    kept_windows,
    lapses,
)
from pipelines.coverage.systems_held import keys_kept

SYSTEMS = pl.DataFrame(
    {
        "key": [1, 2],
        "installed_on": [date(2024, 1, 31), date(2024, 1, 31)],
        "months": [6, 1],
        "grace_days": [15, 0],
    }
)


def test_changes_give_covers_one_after_another():
    """Each runs from its change; one on the day of installation or before does not count."""
    changes = pl.DataFrame(
        {
            "key": [1, 1, 1, 1],
            "done_on": [date(2024, 9, 1), date(2024, 1, 31), date(2024, 6, 30), date(2024, 6, 30)],
            "done_source": ["c", "a", "b", "b2"],
        }
    )
    rows = covers_by_changes(SYSTEMS, changes).filter(key=1).rows()
    assert rows == [
        (1, date(2024, 1, 31), date(2024, 7, 31), date(2024, 8, 15), date(2024, 6, 30), None),
        (1, date(2024, 6, 30), date(2024, 12, 30), date(2025, 1, 14), date(2024, 9, 1), "b"),
        (1, date(2024, 9, 1), date(2025, 3, 1), date(2025, 3, 16), None, "c"),
    ]


def test_stock_carries_over_and_months_clamp_step_by_step():
    """Installed on 31 January with a month a cartridge: February's end is kept from then on."""
    purchases = pl.DataFrame(
        {
            "key": [2, 2],
            "ordered_on": [date(2024, 2, 1), date(2024, 6, 1)],
            "order": ["A", "B"],
            "line": ["1", "1"],
            "quantity": [2, 1],
            "purchase_source": ["a", "b"],
        }
    )
    covers = covers_by_stock(SYSTEMS, purchases).filter(key=2)
    assert covers.get_column("due_on").to_list() == [
        date(2024, 2, 29),
        date(2024, 4, 29),
        date(2024, 7, 1),
    ]
    looked_at = pl.DataFrame({"key": [2], "day": [date(2024, 8, 1)]})
    assert lapses(covers, looked_at).rows() == [
        (2, date(2024, 6, 1), date(2024, 4, 29)),
        (2, date(2024, 8, 1), date(2024, 7, 1)),
    ]


def test_a_lapse_is_looked_at_only_up_to_the_day():
    """What came after the day neither heals nor ends anything on it."""
    covers = covers_by_changes(
        SYSTEMS,
        pl.DataFrame(
            {"key": [1], "done_on": [date(2024, 12, 1)], "done_source": ["c"]},
        ),
    ).filter(key=1)

    def on(day):
        return lapses(covers, pl.DataFrame({"key": [1], "day": [day]})).rows()

    assert on(date(2024, 8, 15)) == []
    assert on(date(2024, 8, 16)) == [(1, date(2024, 8, 16), date(2024, 8, 15))]
    assert on(date(2024, 11, 30)) == [(1, date(2024, 11, 30), date(2024, 8, 15))]
    assert on(date(2025, 2, 1)) == [(1, date(2024, 12, 1), date(2024, 8, 15))]


def test_no_systems_have_no_covers():
    """Empty in, empty out."""
    none = SYSTEMS.clear()
    stock = pl.DataFrame(
        schema={
            "key": pl.Int64,
            "ordered_on": pl.Date,
            "order": pl.String,
            "line": pl.String,
            "quantity": pl.Int64,
            "purchase_source": pl.String,
        }
    )
    changes = pl.DataFrame(schema={"key": pl.Int64, "done_on": pl.Date, "done_source": pl.String})
    assert covers_by_stock(none, stock).is_empty()
    assert covers_by_changes(none, changes).is_empty()


def test_windows_reopen_once_a_lapse_is_forgiven():
    """The first cover counts from the start; the next only when its lapse is long enough ago.

    By hand: the lapse of key 1 ends on 31 August, so it is forgiven from the first day d of which
    six months before is 31 August or later: 1 March, since 28 February leads to 28 August. Key 2
    forgives nothing, key 3 so late that its cover has run out by then.
    """
    covers = pl.DataFrame(
        {
            "key": [1, 1, 2, 2, 3, 3],
            "since": [date(2024, 1, 31), date(2024, 8, 31)] * 3,
            "lasts_until": [date(2024, 8, 15), date(2025, 4, 16)] * 3,
            "next_on": [date(2024, 8, 31), None] * 3,
        }
    )
    systems = pl.DataFrame(
        {
            "key": [1, 2, 3],
            "installed_on": [date(2024, 1, 31)] * 3,
            "look_back_months": [6, None, 8],
        }
    )
    first = (date(2024, 1, 31), date(2024, 8, 15))
    assert sorted(kept_windows(systems, covers).rows()) == [
        (1, *first),
        (1, date(2025, 3, 1), date(2025, 4, 16)),
        (2, *first),
        (3, *first),
    ]


def test_a_cover_ends_on_the_day_before_the_next_begins():
    """What was changed early is told by the next cover, so no day stands in two windows."""
    changes = {"key": [1], "done_on": [date(2024, 6, 30)], "done_source": ["b"]}
    covers = covers_by_changes(SYSTEMS, pl.DataFrame(changes)).filter(key=1)
    systems = SYSTEMS.with_columns(look_back_months=pl.lit(None, pl.Int64))
    assert sorted(kept_windows(systems, covers).rows()) == [
        (1, date(2024, 1, 31), date(2024, 6, 29)),
        (1, date(2024, 6, 30), date(2025, 1, 14)),
    ]


def test_a_system_that_two_covers_keep_up_is_named_once():
    """From the first day of a window to its last, or for ever; other systems have none."""
    windows = pl.DataFrame(
        {
            "key": [1, 1, 2, 3],
            "from_on": [date(2024, 1, 1), date(2024, 2, 1), date(2024, 3, 1), date(2024, 4, 2)],
            "until_on": [date(2024, 4, 1), None, date(2024, 3, 31), None],
        }
    )
    looked_at = pl.DataFrame({"key": [1, 2, 3], "day": [date(2024, 4, 1)] * 3})
    assert keys_kept(windows, looked_at).rows() == [(1,)]
    for day, kept in (
        (date(2024, 3, 1), [1, 2]),
        (date(2024, 3, 31), [1, 2]),
        (date(2024, 4, 2), [1, 3]),
    ):
        found = keys_kept(windows, looked_at.with_columns(day=pl.lit(day)))
        assert sorted(found["key"]) == kept
