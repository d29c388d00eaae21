"""Agencies beside their peers: what counts, what stands out, and what chance alone flags."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from pipelines.field.agencies import ALONE, NONE_ELSEWHERE, agency_figures
from pipelines.field.agency_cases import (
    agency_repairs,
    followed_repairs,
    measured,
    with_claims,
)
from pipelines.field.context import REPAIRS, FieldContext
from pipelines.field.narrowing import narrow

DONE = dt.date(2026, 1, 10)
END = dt.date(2027, 1, 1)


def repair(call: str, failed: dt.date, done: dt.date | None, **more: object) -> dict:
    """One repair of unit U1, of scale, by agency A, under 60 workmanship days."""
    plain = dict.fromkeys(REPAIRS)
    told = {
        "call": call,
        "serial": "U1",
        "family": "Beck",
        "agency": "A",
        "cause": "LIME",
        "cause_class": "scale",
        "failed_on": failed,
        "completed_on": done,
        "inside": True,
        "watched_until": END,
        "workmanship_days": 60,
    }
    return plain | told | more


def came_back(*rows: dict) -> dict[str, bool]:
    """By call whether a followed repair came back."""
    frame = pl.DataFrame(rows, schema=REPAIRS, orient="row")
    return dict(followed_repairs(frame, frame).select("call", "came_back").iter_rows())


@pytest.mark.parametrize(
    ("days", "back"), [(-1, False), (0, True), (1, True), (60, True), (61, False)]
)
def test_a_repair_comes_back_from_completion_to_its_last_workmanship_day(days, back) -> None:
    """The day before completion and the day after the last workmanship day do not count."""
    again = DONE + dt.timedelta(days=days)
    told = came_back(repair("1", dt.date(2026, 1, 8), DONE), repair("2", again, None))
    assert told == {"1": back}


def test_another_class_unit_or_call_past_the_watch_is_no_return() -> None:
    """Only the same unit and cause class, inside the watch, and never the repair itself."""
    first = repair("1", DONE, DONE)
    later = dt.date(2026, 1, 20)
    assert came_back(first) == {"1": False}
    assert came_back(first, repair("2", later, None, cause_class="gasket"))["1"] is False
    assert came_back(first, repair("2", later, None, serial="U2"))["1"] is False
    assert came_back(first, repair("2", later, None, inside=False))["1"] is False
    assert came_back(first, repair("2", later, None, agency="B"))["1"] is True


def test_only_repairs_that_were_followed_to_the_end_count() -> None:
    """A repair whose last workmanship day is not watched is left out, come back or not."""
    last = DONE + dt.timedelta(days=60)
    again = repair("2", dt.date(2026, 1, 20), None)
    watched = {"watched_until": last + dt.timedelta(days=1)}
    short = {"watched_until": last}
    assert came_back(repair("1", DONE, DONE, **watched), again) == {"1": True}
    assert came_back(repair("1", DONE, DONE, **short), again) == {}
    assert came_back(repair("1", DONE, None), again) == {}
    assert came_back(repair("1", DONE, DONE, cause_class="unknown")) == {}
    usual = repair("1", DONE, DONE, workmanship_days=None)
    assert came_back(usual, repair("2", DONE + dt.timedelta(days=90), None)) == {"1": True}


def drawn(
    seed: int, *, agencies: int = 12, repairs: int = 60, back: float = 0.06, slow: float = 1.0
) -> pl.DataFrame:
    """Repairs of alike agencies, but for A0: `back` of its repairs come back, hours by `slow`."""
    random = np.random.default_rng(seed)
    n = agencies * repairs
    agency = np.repeat(np.arange(agencies), repairs)
    kind = random.integers(0, 3, n)
    base = np.array([0.03, 0.06, 0.09])[kind]
    again = random.random(n) < np.where(agency == 0, back, base)
    hours = np.array([1.0, 1.5, 3.0])[kind] * np.exp(0.3 * random.standard_normal(n))
    first = pl.DataFrame(
        {
            "call": pl.Series([f"C{i:06d}" for i in range(n)]),
            "claim": pl.Series([f"W{i:06d}" for i in range(n)]),
            "serial": pl.Series([f"U{i:06d}" for i in range(n)]),
            "family": pl.Series(np.where(random.random(n) < 0.5, "Beck", "Linn")),
            "agency": pl.Series([f"A{i}" for i in agency]),
            "cause": pl.Series(np.array(["LIME", "SEAL", "BOARD"])[kind]),
            "cause_class": pl.Series(np.array(["scale", "gasket", "electrical"])[kind]),
            "failed_on": pl.Series([DONE] * n),
            "completed_on": pl.Series([DONE] * n),
            "inside": pl.Series([True] * n),
            "watched_until": pl.Series([END] * n),
            "workmanship_days": pl.Series([60] * n),
            "labor_hours": pl.Series(hours * np.where(agency == 0, slow, 1.0)),
            "travel_amount": pl.Series(30 + 60 * random.random(n)),
            "verdict": pl.Series(np.where(random.random(n) < 0.2, "needs_evidence", "covered")),
        }
    )
    # What comes back is no completed repair of any agency's, so that rates stay as they are drawn.
    second = first.filter(pl.Series(again)).with_columns(
        call=pl.format("{}b", "call"),
        claim=pl.lit(None, pl.String),
        failed_on=pl.lit(DONE + dt.timedelta(days=20)),
        completed_on=pl.lit(None, pl.Date),
        agency=pl.lit(None, pl.String),
    )
    return pl.concat([first, second]).select(pl.col(c).cast(t) for c, t in REPAIRS.items())


@pytest.fixture(scope="module")
def figures(make_fleet):
    """The figures of some repairs, in the context of any fleet."""
    context: FieldContext = make_fleet(units=20)

    def of(repairs: pl.DataFrame) -> pl.DataFrame:
        return agency_figures(replace(context, repairs=repairs))

    return of


def test_an_agency_whose_repairs_come_back_is_flagged_alone(figures) -> None:
    """A third come back against six in a hundred: a reason to ask, and only there."""
    table = figures(drawn(1, back=0.33))
    returns = table.filter(pl.col("measure") == "returns")
    assert returns.filter("flagged")["agency"].to_list() == ["A0"]
    row = returns.filter(pl.col("agency") == "A0").row(0, named=True)
    assert row["ratio"] > row["funnel_998_high"]
    assert row["ratio"] == pytest.approx(row["observed"] / row["expected"])
    assert "a reason to ask" in row["sentence"]
    assert "no finding against anyone" in row["sentence"]


def test_longer_hours_are_flagged_alone(figures) -> None:
    """A third more hours for the same work stand out among hours, and nobody else's do."""
    hours = figures(drawn(2, slow=1.35)).filter(pl.col("measure") == "labor_hours")
    assert hours.filter("flagged")["agency"].to_list() == ["A0"]


def test_few_are_flagged_where_all_agencies_are_alike(figures) -> None:
    """Over 40 alike fleets, some flag falls in no more of them than the rate of 10 % allows.

    With nothing to find, the false-discovery rate is the chance of any flag (Benjamini & Hochberg
    1995); four standard errors of 40 draws are allowed on top.
    """
    flags = dict.fromkeys(("returns", "labor_hours", "travel", "documents"), 0)
    for seed in range(40):
        table = figures(drawn(100 + seed))
        for measure in table.filter("flagged")["measure"].unique():
            flags[measure] += 1
    allowed = 40 * 0.10 + 4 * np.sqrt(40 * 0.1 * 0.9)
    assert max(flags.values()) <= allowed, flags


def test_a_mix_of_slow_work_is_not_held_against_an_agency(figures) -> None:
    """An agency that repairs only what takes long bills what others bill for that."""
    repairs = drawn(3, repairs=90).filter(
        (pl.col("agency") != "A0") | (pl.col("cause_class") == "electrical")
    )
    row = (
        figures(repairs)
        .filter((pl.col("agency") == "A0") & (pl.col("measure") == "labor_hours"))
        .row(0, named=True)
    )
    overall = repairs["labor_hours"].mean()
    assert row["value"] > 1.4 * overall
    assert row["ratio"] == pytest.approx(1, abs=0.12)
    assert not row["flagged"]


def test_a_mix_of_slow_causes_of_one_class_is_not_held_against_an_agency(figures) -> None:
    """Boards take six hours and lamps one, both electrical: who bills what all bill is usual."""
    boards = {"NORTH": 32, "EAST": 8, "WEST": 20}
    rows = [
        {
            **repair(f"{agency}{i}", DONE, DONE, agency=agency, claim=f"{agency}{i}"),
            "cause": "BOARD" if i < count else "LAMP",
            "cause_class": "electrical",
            "labor_hours": (6.0 if i < count else 1.0) + 0.25 * (i % 3),
        }
        for agency, count in boards.items()
        for i in range(40)
    ]
    table = figures(pl.DataFrame(rows, schema=REPAIRS, orient="row"))
    hours = table.filter((pl.col("measure") == "labor_hours") & (pl.col("agency") != "all"))
    assert hours["ratio"].to_list() == pytest.approx([1, 1, 1], abs=0.05)
    assert not hours["flagged"].any()


def test_the_row_of_all_adds_up(figures) -> None:
    """All together have the cases and events of the agencies, and are compared with nobody."""
    table = figures(drawn(4))
    assert table["measure"].n_unique() > 1
    for _, rows in table.group_by("measure"):
        whole = rows.filter(pl.col("agency") == "all").row(0, named=True)
        each = rows.filter(pl.col("agency") != "all")
        assert whole["cases"] == each["cases"].sum()
        mean = (each["value"] * each["cases"]).sum() / whole["cases"]
        assert whole["value"] == pytest.approx(mean)
        assert whole["ratio"] is None
        assert whole["flagged"] is False
        assert whole["note"] is None


def test_order_of_the_repairs_changes_nothing(figures) -> None:
    """The same repairs in any order give the same table but for the last digits of sums."""
    repairs = drawn(5, back=0.3)
    one = figures(repairs)
    other = figures(repairs.sample(fraction=1.0, shuffle=True, seed=9))
    from polars.testing import assert_frame_equal

    assert_frame_equal(one, other, rel_tol=1e-9)


def test_a_lone_agency_is_compared_with_nothing(figures) -> None:
    """Without peers there is a value with limits, a note, and no flag."""
    table = figures(drawn(6, agencies=1, back=0.5)).filter(pl.col("agency") != "all")
    assert set(table["note"]) == {ALONE}
    assert table["ratio"].null_count() == table.height
    assert not table["flagged"].any()
    assert table["value"].null_count() == 0


def test_few_cases_are_thin_and_never_flagged(figures) -> None:
    """Three repairs that all came back are too few to say anything."""
    few = drawn(7, repairs=40).filter(
        (pl.col("agency") != "A0") | pl.col("serial").is_in(["U000000", "U000001", "U000002"])
    )
    back = few.filter(pl.col("agency") == "A0").with_columns(
        call=pl.format("{}x", "call"),
        failed_on=pl.lit(DONE + dt.timedelta(days=5)),
        agency=pl.lit(None, pl.String),
    )
    row = (
        figures(pl.concat([few, back]))
        .filter((pl.col("agency") == "A0") & (pl.col("measure") == "returns"))
        .row(0, named=True)
    )
    assert row["observed"] == 3
    assert row["q_value"] < 0.10
    assert row["thin"]
    assert not row["flagged"]
    assert row["sentence"].endswith("too few to say more.")


def test_what_only_one_agency_has_gives_a_chance_and_no_ratio(figures) -> None:
    """Where nobody else's repairs come back there is no ratio; the chance of it is told still."""
    repairs = drawn(10, back=0.3).filter(
        pl.col("agency").is_not_null() | pl.col("serial").str.slice(1).cast(pl.Int64).lt(60)
    )
    row = (
        figures(repairs)
        .filter((pl.col("agency") == "A0") & (pl.col("measure") == "returns"))
        .row(0, named=True)
    )
    assert row["expected"] == 0
    assert row["ratio"] is None
    assert row["note"] == NONE_ELSEWHERE
    assert row["p_value"] < 1e-6
    assert row["flagged"]


def test_claims_wait_on_documents_whatever_their_cause(make_fleet) -> None:
    """A claim without a cause counts for documents, and not for hours or returns."""
    repairs = drawn(8, repairs=5).with_columns(
        cause_class=pl.lit("unknown"), verdict=pl.lit("needs_evidence")
    )
    cases = measured(replace(make_fleet(units=20), repairs=repairs))
    assert cases["documents"]["amount"].to_list() == [1.0] * 60
    assert all(cases[name].is_empty() for name in ("returns", "labor_hours", "travel"))


def test_no_repairs_give_an_empty_table(make_fleet) -> None:
    """A fleet without repairs has a table without rows and with all columns."""
    table = agency_figures(make_fleet(units=20))
    assert table.is_empty()
    assert "sentence" in table.columns


def test_narrowing_to_a_family_or_a_year_narrows_the_repairs(make_fleet) -> None:
    """A family, a class and a stretch of the calendar hold for agencies too."""
    context = replace(make_fleet(units=20), repairs=drawn(9))
    beck = narrow(context, families=["Beck"], classes=["scale"])
    assert set(beck.repairs["family"]) == {"Beck"}
    assert set(beck.repairs["cause_class"]) == {"scale"}
    past = measured(narrow(context, until=DONE))
    assert all(cases.is_empty() for cases in past.values())


def test_repairs_are_put_together_from_records() -> None:
    """Kind, failure date, class, family and verdict come from where they stand."""
    calls = pl.DataFrame(
        {
            "call": ["1", "2", "3"],
            "claim": ["W1", None, None],
            "serial": ["U1", "U9", "U1"],
            "kind": ["repair", "repair", "delime"],
            "opened_on": [DONE] * 3,
            "failed_on": [None, END, None],
            "completed_on": [DONE] * 3,
            "agency": ["A", None, "A"],
            "cause": ["X", "?", None],
            "labor_hours": [1.5, None, 1.0],
            "travel_amount": [20.0, 30.0, 1.0],
        }
    )
    units = pl.DataFrame(
        {"serial": ["U1"], "family": ["Beck"], "watched_until": [END], "workmanship_days": [60]}
    )
    causes = pl.DataFrame({"cause": ["X"], "class": ["scale"]})
    told = agency_repairs(calls, units, causes, pl.DataFrame({"call": ["1"]}))
    assert told.schema == REPAIRS
    assert told.select("call", "family", "cause_class", "failed_on", "inside").rows() == [
        ("1", "Beck", "scale", DONE, True)
    ]
    decided = pl.DataFrame(
        {
            "claim": ["W1", "W2"],
            "call": ["1", "2"],
            "serial": ["U1", "U9"],
            "family": ["Beck", None],
            "agency": ["A", "B"],
            "cause": ["X", None],
            "cause_class": ["scale", None],
            "failed_on": [DONE, END],
            "completed_on": [DONE, None],
            "verdict": ["covered", "needs_evidence"],
        }
    )
    both = with_claims(told, decided)
    assert both.schema == REPAIRS
    assert both.select("call", "family", "cause_class", "inside", "verdict").rows() == [
        ("1", "Beck", "scale", True, "covered"),
        ("2", "unknown", "unknown", False, "needs_evidence"),
    ]
