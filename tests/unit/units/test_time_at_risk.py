"""Who is watched, from when until when, and which failures that makes count."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from pipelines.units.time_at_risk import doubtful_exposure, failures_inside, time_at_risk

START = dt.date(2024, 1, 20)
BASE_PARTS, BASE_LABOR = dt.date(2025, 7, 20), dt.date(2025, 1, 20)
EXTENDED = dt.date(2026, 7, 20)
LATE = dt.date(2030, 1, 1)
DAY = dt.timedelta(days=1)
CAUSES = pl.DataFrame(
    {"cause": ["SCALED", "BOARD"], "class": ["scale", "electrical"], "water_related": [True, False]}
)


def units(**changes) -> pl.DataFrame:
    """One unit, installed after it was shipped, with single columns changed."""
    row = {
        "serial": "U1",
        "shipped_on": dt.date(2024, 1, 2),
        "installed_on": START,
        "retired_on": None,
        "clock_start": START,
        "parts_base_end": BASE_PARTS,
        "labor_base_end": BASE_LABOR,
        "parts_extended_end": EXTENDED,
        "labor_extended_end": EXTENDED - DAY,
        "requested_in_time": "unmet",
        "startup_completed_on": None,
        "conditions_off": [],
    }
    days = [n for n in row if n not in ("serial", "requested_in_time", "conditions_off")]
    kinds = dict.fromkeys(days, pl.Date) | {"conditions_off": pl.List(pl.String)}
    return pl.DataFrame([row | changes], schema_overrides=kinds)


def watch(as_of: dt.date = LATE, **changes) -> dict:
    return time_at_risk(units(**changes), as_of).row(0, named=True)


@pytest.mark.parametrize(
    ("completed", "requested", "end"),
    [
        (BASE_PARTS - DAY, "met", EXTENDED),
        (BASE_PARTS, "met", BASE_PARTS),
        (BASE_PARTS + DAY, "met", BASE_PARTS),
        (None, "met", BASE_PARTS),
        (START, "unmet", BASE_PARTS),
        (START, "unknown", BASE_PARTS),
    ],
)
def test_the_bonus_lengthens_the_watch_when_earned_in_the_longest_base_window(
    completed, requested, end
):
    """Asked for in time and completed before that window ends; otherwise the base window holds."""
    row = watch(startup_completed_on=completed, requested_in_time=requested)
    assert row["coverage_end"] == row["watched_until"] == end
    assert row["coverage_base_end"] == BASE_PARTS
    assert row["watched_from"] == START
    assert row["watched_days"] == (end - START).days


@pytest.mark.parametrize(("off", "end"), [([], BASE_PARTS), (["startup_completed"], EXTENDED)])
def test_a_completion_that_an_edition_does_not_ask_for_takes_no_bonus(off, end):
    """Condition 9 switched off counts as met, also where nothing was ever completed."""
    row = watch(requested_in_time="met", conditions_off=off)
    assert row["coverage_end"] == end
    assert row["extended_on"] == (START if off else None)


@pytest.mark.parametrize(
    ("as_of", "days"),
    [
        (START - DAY, 0),
        (START, 1),
        (BASE_PARTS - 2 * DAY, (BASE_PARTS - START).days - 1),
        (BASE_PARTS - DAY, (BASE_PARTS - START).days),
        (BASE_PARTS, (BASE_PARTS - START).days),
    ],
)
def test_the_as_of_date_is_still_watched(as_of, days):
    """A unit that starts later is not watched at all, and has no dates of a watch."""
    row = watch(as_of)
    assert row["watched_days"] == days
    assert (row["watched_from"] is None) == (row["watched_until"] is None) == (days == 0)


@pytest.mark.parametrize(
    ("retired", "days", "unsound"),
    [
        (START - DAY, 0, "retired before the clock start"),
        (START, 1, None),
        (BASE_PARTS - 2 * DAY, (BASE_PARTS - START).days - 1, None),
        (BASE_PARTS, (BASE_PARTS - START).days, None),
    ],
)
def test_the_last_day_in_service_is_still_watched(retired, days, unsound):
    """The watch ends the day after retirement; retired before the clock starts is unsound."""
    row = watch(retired_on=retired)
    assert (row["watched_days"], row["unsound"]) == (days, unsound)


@pytest.mark.parametrize(
    ("changes", "unsound"),
    [
        ({"shipped_on": START}, None),
        ({"shipped_on": START + DAY}, "installed before it was shipped"),
        ({"installed_on": None, "shipped_on": START + DAY}, None),
        ({"clock_start": None}, "no terms in force"),
    ],
)
def test_an_unsound_clock_start_keeps_a_unit_out(changes, unsound):
    """A unit whose dates contradict one another, or without terms, is not watched."""
    row = watch(**changes)
    assert row["unsound"] == unsound
    assert (row["watched_days"] == 0) == (unsound is not None)


def calls(*rows: dict) -> pl.DataFrame:
    plain = {
        "kind": "repair",
        "serial": "U1",
        "claim": None,
        "opened_on": START,
        "failed_on": None,
        "claimed_on": None,
        "cause": "SCALED",
        "agency": None,
        "part": None,
        "labor_hours": None,
    }
    numbered = [{"call": f"C{n}"} | plain | row for n, row in enumerate(rows)]
    kinds = dict.fromkeys(("opened_on", "failed_on", "claimed_on"), pl.Date)
    kinds |= {
        "claim": pl.String,
        "agency": pl.String,
        "part": pl.String,
        "labor_hours": pl.Decimal(18, 10),
    }
    return pl.DataFrame(numbered, schema_overrides=kinds, infer_schema_length=None)


def none_disputed(*claims: str) -> pl.DataFrame:
    return pl.DataFrame({"claim": list(claims)}, schema={"claim": pl.String})


def test_a_failure_counts_from_the_first_day_of_the_watch_to_its_last():
    """The day before the watch and the day on which it ends are outside; the age is in days."""
    days = [START - DAY, START, BASE_PARTS - DAY, BASE_PARTS]
    found = failures_inside(
        time_at_risk(units(), LATE),
        calls(*({"failed_on": day} for day in days)),
        CAUSES,
        none_disputed(),
    )
    assert found.select("call", "age").rows() == [("C1", 0), ("C2", (BASE_PARTS - START).days - 1)]


def test_only_repairs_count_and_the_opening_stands_in_for_the_day_of_failure():
    """Other kinds of call are no failures; a cause that is not given is unknown, not water."""
    found = failures_inside(
        time_at_risk(units(), LATE),
        calls(
            {"kind": "inspection"},
            {"cause": None, "opened_on": START + 3 * DAY},
            {"serial": "U2"},
            {"failed_on": START + DAY, "opened_on": START - DAY},
        ),
        CAUSES,
        none_disputed(),
    )
    assert found.select("call", "age", "cause_class", "water_related").rows() == [
        ("C1", 3, "unknown", False),
        ("C3", 1, "scale", True),
    ]


def test_a_disputed_duplicate_counts_with_the_call_it_repeats():
    """The claim that condition 6 disputes is left out; calls without a claim all stay."""
    found = failures_inside(
        time_at_risk(units(), LATE),
        calls({"claim": "K1"}, {"claim": "K2"}, {}),
        CAUSES,
        none_disputed("K2"),
    )
    assert found["call"].to_list() == ["C0", "C2"]


@pytest.mark.parametrize("retired", [None, START + 9 * DAY])
def test_units_left_out_are_told_with_what_they_would_add(retired):
    """From shipment to the end of cover or retirement, with the failures in that time."""
    shipped = START + DAY
    frame = units(shipped_on=shipped, retired_on=retired)
    end = BASE_PARTS if retired is None else retired + DAY
    told = doubtful_exposure(
        frame,
        time_at_risk(frame, LATE),
        calls({"failed_on": START}, {"failed_on": shipped}, {"failed_on": end}),
        none_disputed(),
        LATE,
    )
    assert told.rows() == [("U1", "installed before it was shipped", (end - shipped).days, 1)]
    assert doubtful_exposure(
        units(), time_at_risk(units(), LATE), calls({}), none_disputed(), LATE
    ).is_empty()


@pytest.mark.parametrize("shipped", [START - DAY, START + DAY])
def test_a_unit_without_terms_would_add_nothing(shipped):
    """No cover holds for it, so that no day past its shipment is watched either."""
    frame = units(
        shipped_on=shipped,
        **dict.fromkeys(
            (
                "clock_start",
                "parts_base_end",
                "labor_base_end",
                "parts_extended_end",
                "labor_extended_end",
            )
        ),
    )
    seen = time_at_risk(frame, LATE)
    assert seen["unsound"].null_count() == 0
    failed = calls({"failed_on": START + 2 * DAY})
    assert doubtful_exposure(frame, seen, failed, none_disputed(), LATE).is_empty()


def test_a_unit_left_out_that_never_failed_would_add_its_time_and_no_failure():
    """Nought, which adds up, and not nothing."""
    frame = units(shipped_on=START + DAY)
    told = doubtful_exposure(
        frame, time_at_risk(frame, LATE), calls({"failed_on": START}), none_disputed(), LATE
    )
    assert told["failures"].to_list() == [0]
    assert told["days"].item() > 0
