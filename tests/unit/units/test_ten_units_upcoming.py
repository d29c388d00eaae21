"""Ten units as of 2024-07-01, what is coming up for each worked out by hand from their records.

The terms are the bench's: start-up asked for within 30 days of the purchase; parts 18 and labor 12
months from installation; treatment 30 days from the first result; cartridges 6 months and 15 days
in normal water; deliming every 3 months, with 10 days of grace.
"""

from __future__ import annotations

import polars as pl
import pytest

from pipelines.coverage.evidence import seen
from pipelines.units.unit_histories import build_histories
from pipelines.units.upcoming import upcoming_matters

AS_OF = "2024-07-01"
# serial, model, purchased, installed, retired
UNITS = """
U01 GEN  2024-06-10 2024-06-20
U02 HAND 2024-06-01 2024-06-05
U03 HAND 2024-05-31 2024-06-05
U04 HAND 2023-12-15 2023-12-31
U05 ALW  2024-04-01 2024-04-01
U06 GEN  2024-03-01 2024-03-01
U07 BOIL 2023-11-30 2023-11-30
U08 GEN  2024-01-31 2024-01-31
U09 HAND 2024-01-10 2024-01-20 2024-07-01
U10 HAND 2022-12-20 2023-01-01
"""
# serial, requested, completed
STARTUPS = """
U04 2024-01-14
U05 2024-04-02 2024-06-01
U06 2024-03-04 2024-03-05
U08 2024-01-31 2024-01-31
U09 2024-01-22
U10 2023-01-10
"""
# serial, kind, completed, by whom, product
CALLS = """
U07 delime            2024-02-29 technician
U07 delime            2024-06-20 owner
U08 treatment_install 2024-02-29 technician SOFT
U08 delime            2024-06-30 owner
"""
# site, sampled, reported, hardness
TESTS = """
S06 2024-05-10 2024-05-20 150
S08 2024-02-01 2024-02-05 150
"""
# due, days left, serial, matter, and how one gets there
EXPECTED = [
    ("2024-06-08", -23, "U07", "deliming due"),  # 29 Feb, 3 months, 10 days; the owner's is none
    ("2024-06-11", -20, "U06", "deliming due"),  # installed 1 March, 3 months, 10 days
    ("2024-06-19", -12, "U06", "treatment due"),  # told 20 May, 30 days
    ("2024-07-01", 0, "U02", "start-up request due"),  # 1 June and 30 days; U03's day has passed
    ("2024-07-01", 0, "U05", "test outstanding"),  # sampled at the start-up of 1 June, 30 days
    ("2024-07-10", 9, "U01", "start-up request due"),  # bought 10 June
    ("2024-09-13", 74, "U08", "cartridge due"),  # fitted 29 Feb, 6 months to 29 Aug, 15 days
    ("2024-09-30", 91, "U01", "deliming due"),  # installed 20 June, 3 months, 10 days
    ("2024-10-10", 101, "U08", "deliming due"),  # delimed 30 June, 3 months to 30 Sept, 10 days
    ("2024-12-31", 183, "U04", "start-up outstanding"),  # labor ends a year after 31 Dec 2023
]
# U09 leaves on the day itself, and the 18 months of U10, which was never started up, end on it.


def rows(text: str, *names: str) -> list[dict[str, str]]:
    """The lines of a table of words."""
    return [dict(zip(names, line.split(), strict=False)) for line in text.strip().splitlines()]


@pytest.fixture
def coming(tools, tmp_path):
    """The rows of the ten units, under terms that switch a condition off or change a key."""
    return lambda off="", **changes: _coming(tools, tmp_path, off, changes)


def _coming(tools, folder, off, changes):
    units = [
        {"site": one["serial"].replace("U", "S"), "region": "US-NM"}
        | {"shipped_on": "2022-11-01"}
        | one
        for one in rows(UNITS, "serial", "model", "purchased_on", "installed_on", "retired_on")
    ]
    startups = [
        {"report": f"R{one['serial']}", "sample_taken": "yes" if "completed_on" in one else "no"}
        | one
        for one in rows(STARTUPS, "serial", "requested_on", "completed_on")
    ]
    calls = [
        {"call": f"C{place}", "opened_on": one["completed_on"]} | one
        for place, one in enumerate(
            rows(CALLS, "serial", "kind", "completed_on", "performed_by", "product")
        )
    ]
    tests = [
        {"sample": f"L{place}", "point": "supply", "ph": "7.5"} | one
        for place, one in enumerate(
            rows(TESTS, "site", "sampled_on", "reported_on", "hardness_mg_l_caco3")
        )
    ]
    order = {"order": "P1", "line": "1", "ordered_on": "2024-02-06", "product": "SOFT",
             "quantity": "1", "condition": "new", "seller": "MAKER", "site": "S08"}  # fmt: skip
    evidence = seen(
        tools.evidence_of(
            AS_OF,
            units=units,
            startups=startups,
            service_calls=calls,
            water_tests=tests,
            treatment_purchases=[order],
        )
    )
    text = tools.changed(**changes, **({"conditions_off": f'["{off}"]'} if off else {}))
    terms = tools.terms_of(folder / "-".join(["all", off, *changes]), text)
    histories = build_histories(evidence, terms, duty_hours_per_day=10.0, tanks_l=(60.0,))
    table = upcoming_matters(evidence, histories)
    days = pl.col("due_on").cast(pl.String)
    return table.select(days, "days_left", "serial", "matter").rows()


def test_what_is_coming_up_for_ten_units(coming) -> None:
    """Every matter with its day and the days left, in the order of days, and nothing else."""
    assert coming() == EXPECTED


@pytest.mark.parametrize(
    ("off", "matter"),
    [
        ("water_tested", "test outstanding"),
        ("treatment_installed", "treatment due"),
        ("treatment_maintained", "cartridge due"),
        ("delimed", "deliming due"),
    ],
)
def test_no_cover_hangs_on_what_the_terms_switch_off(coming, off: str, matter: str) -> None:
    """Its matter goes, all others stay."""
    kept = [row for row in EXPECTED if row[3] != matter]
    assert len(kept) < len(EXPECTED)
    assert coming(off) == kept


def test_no_start_up_is_asked_for_where_the_terms_give_no_bonus(coming) -> None:
    """A bonus on labor alone still asks for one; what it adds to is the matter, not the report."""
    assert coming(bonus_parts_months="0") == EXPECTED
    none = coming(bonus_parts_months="0", bonus_labor_months="0")
    kept = [row for row in EXPECTED if not row[3].startswith("start-up")]
    assert len(EXPECTED) - len(kept) == 3
    assert none == kept
