"""An agency that changed its name has both: the latest last, whatever the order of the file."""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipelines.letters.values import agency_names

PERIODS = pl.DataFrame(
    [
        ("OLDMERE", "Oldmere Service", dt.date(2020, 1, 1)),
        ("OLDMERE", "Newmere Service", dt.date(2022, 1, 1)),
        ("OLDMERE", "Oldmere Service", dt.date(2024, 1, 1)),
        ("OLDMERE", None, dt.date(2025, 1, 1)),
        ("FENDALE", None, dt.date(2020, 1, 1)),
        ("ASHWICK", "Zeal", dt.date(2020, 1, 1)),
        ("ASHWICK", "Ash", dt.date(2023, 1, 1)),
    ],
    schema={"agency": pl.String, "name": pl.String, "authorized_from": pl.Date},
    orient="row",
)


def test_the_name_of_the_latest_period_is_the_last_of_all_names() -> None:
    """A period without a name takes none away; an agency without any is there."""
    for seed in range(5):
        names = agency_names(PERIODS.sample(fraction=1, shuffle=True, seed=seed))
        assert dict(names.iter_rows()) == {
            "OLDMERE": "Oldmere Service",
            "FENDALE": None,
            "ASHWICK": "Ash",
        }
        assert {*names["name"]} == {"Oldmere Service", "Newmere Service", "Zeal", "Ash", None}
