"""Cartridge covers against a plain fold of each system by itself."""

from datetime import date, timedelta
from itertools import pairwise

import polars as pl
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.coverage.cartridges import covers_by_changes, covers_by_stock, lapses

DAYS = st.dates(min_value=date(2023, 12, 25), max_value=date(2025, 3, 5))
ORDERS = st.lists(st.tuples(DAYS, st.integers(1, 3)), max_size=6)
CHANGES = st.lists(DAYS, max_size=6)
SYSTEM = st.tuples(DAYS, st.integers(1, 7), st.integers(0, 20), DAYS, ORDERS, CHANGES)


def fold_stock(installed, months, grace, day, orders):
    """Condition 19 by stock, as it is written: the days on which a lapse ended."""
    until = installed + relativedelta(months=months)
    ended = []
    for ordered, quantity in orders:
        if ordered > day:
            continue
        if ordered > until + timedelta(days=grace):
            ended.append(ordered)
        until = max(until, ordered) + relativedelta(months=months * quantity)
    if day > until + timedelta(days=grace):
        ended.append(day)
    return ended


def fold_changes(installed, months, grace, day, changes):
    """Condition 19 by changes, as it is written."""
    dates = [installed, *sorted(on for on in changes if installed < on <= day), day]
    return [
        after
        for before, after in pairwise(dates)
        if after > before + relativedelta(months=months) + timedelta(days=grace)
    ]


@given(st.lists(SYSTEM, min_size=1, max_size=6))
@settings(deadline=None)
def test_lapses_of_many_systems_are_those_of_each(systems):
    """All rounds over all systems at once give what each system gives alone."""
    table = pl.DataFrame(
        [(n, *system[:4]) for n, system in enumerate(systems)],
        schema=["key", "installed_on", "months", "grace_days", "day"],
        orient="row",
    ).filter(pl.col("installed_on") <= pl.col("day"))
    stock = pl.DataFrame(
        [
            (n, on, f"P{place:02}", "1", quantity, f"s{place}")
            for n, system in enumerate(systems)
            for place, (on, quantity) in enumerate(sorted(system[4]))
        ],
        schema={
            "key": pl.Int64,
            "ordered_on": pl.Date,
            "order": pl.String,
            "line": pl.String,
            "quantity": pl.Int64,
            "purchase_source": pl.String,
        },
        orient="row",
    )
    changes = pl.DataFrame(
        [(n, on, "c") for n, system in enumerate(systems) for on in system[5]],
        schema={"key": pl.Int64, "done_on": pl.Date, "done_source": pl.String},
        orient="row",
    )
    shuffled = stock.sample(fraction=1, shuffle=True, seed=1)
    by_stock = lapses(covers_by_stock(table, shuffled), table)
    by_changes = lapses(covers_by_changes(table, changes), table)
    for key, installed, months, grace, day in table.iter_rows():
        orders, changed = sorted(systems[key][4]), systems[key][5]
        stocked = by_stock.filter(key=key).get_column("ended_on").sort().to_list()
        assert stocked == fold_stock(installed, months, grace, day, orders)
        served = by_changes.filter(key=key).get_column("ended_on").sort().to_list()
        assert served == fold_changes(installed, months, grace, day, changed)


@given(st.lists(SYSTEM, min_size=1, max_size=4))
@settings(max_examples=40, deadline=None)
def test_days_covered_are_those_of_a_walk_over_every_day(systems):
    """A plain walk: each day is covered while stock lasts; the spells cover the same days."""
    for installed, months, grace, day, orders, _ in systems:
        table = pl.DataFrame(
            {"key": [1], "installed_on": [installed], "months": [months], "grace_days": [grace]}
        )
        stock = pl.DataFrame(
            [
                (1, on, f"P{place:02}", "1", quantity, "s")
                for place, (on, quantity) in enumerate(sorted(orders))
            ],
            schema={
                "key": pl.Int64,
                "ordered_on": pl.Date,
                "order": pl.String,
                "line": pl.String,
                "quantity": pl.Int64,
                "purchase_source": pl.String,
            },
            orient="row",
        )
        covers = covers_by_stock(table, stock)
        spells = list(covers.select("since", "due_on").iter_rows())
        span = max((day - installed).days, 0)
        walk = [installed + timedelta(days=n) for n in range(span)]
        until, covered, queue = installed + relativedelta(months=months), 0, sorted(orders)
        for today in walk:
            while queue and queue[0][0] <= today:
                on, quantity = queue.pop(0)
                until = max(until, on) + relativedelta(months=months * quantity)
            covered += today < until
        inside = [any(since <= today < due for since, due in spells) for today in walk]
        assert sum(inside) == covered
