"""What the morning, upcoming, data and terms pages say of the frames they are given."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import polars as pl

from dashboards import data as shown
from dashboards.pages import claim as claim_page
from dashboards.pages import data as data_page
from dashboards.pages import morning, terms, upcoming
from dashboards.pages.claim_parts import analyte_row


def _morning(data) -> dict:
    return morning.content(data, data.worklist)


def test_morning_counts_what_changed(sample) -> None:
    """Moved verdicts come first with the reason that moved, then new claims."""
    content = _morning(sample.page_data(40))
    assert content["changes_summary"] == (
        "12 verdicts moved, 3 verdicts have other reasons and 15 claims are new."
    )
    first = content["changes"][0]
    assert first["move"].startswith("went from needs evidence to ")
    assert first["why"] == "The records of water_tested are as they should be."
    assert first["href"].startswith("claims/")


def test_morning_without_a_refresh_shows_no_changes(sample) -> None:
    """Only changes of this very refresh count as new."""
    assert _morning(sample.page_data(6, refreshed_at=None))["changes"] == []
    later = sample.REFRESHED_AT + dt.timedelta(days=1)
    assert _morning(sample.page_data(6, refreshed_at=later))["changes"] == []


def test_morning_adds_arrivals_up_by_feed(sample) -> None:
    """Exports of a feed make one row; one of no feed stands last."""
    row = {"rows_read": 5, "records": 4, "set_aside": 1}
    arrivals = sample.frame(
        [
            row | {"feed": "units", "file": "units/b.csv"},
            row | {"feed": None, "file": "odd.csv"},
            row | {"feed": "units", "file": "units/a.csv"},
        ],
        shown.ARRIVALS,
    )
    content = _morning(sample.page_data(3, arrivals=arrivals))
    assert content["arrivals"] == [
        ["Installed base", "2", "10", "8", "2"],
        ["Of no feed", "1", "5", "4", "1"],
    ]
    assert content["arrived_files"] == ["odd.csv", "units/a.csv", "units/b.csv"]
    assert content["stale"] == "Nothing new for long: start-up reports."


def test_upcoming_parts_what_can_be_kept_from_what_lapsed(sample) -> None:
    """What falls due soon stands first, by its day; what is overdue stands apart."""
    content = upcoming.content(sample.page_data(20))
    by_key = {matter["key"]: matter for matter in content["matters"]}
    late = by_key["start-up-request-due"]
    assert late["ahead"]["rows"] == []
    assert late["overdue"]["rows"] == [
        ["2026-03-26", "-5", "start-up request due", "B0000000", "Kitchen 0, K-00000",
         "US-CO", "Do what is due (start-up request due). The acid is strong."]
    ]  # fmt: skip
    assert [row[0] for row in content["soon"]["rows"]] == ["2026-03-31", "2026-04-05", "2026-04-10"]
    assert by_key["deliming-due"]["ahead"]["rows"][0][2] == "deliming due"
    assert content["summary"] == (
        "6 units will lose cover unless someone acts; 3 of 6 matters are due within 14 days, the "
        "first on 31 March 2026. 1 matter is overdue: that cover has lapsed."
    )


def test_data_page_groups_faults_by_what_must_be_fixed(sample) -> None:
    """Rows of one feed, column and rule stand together, the most frequent fault first."""
    row = {"feed": "units", "file": "units/a.csv", "column": "shipped_on", "reason": "No date."}
    rows = [row | {"line": line, "rule": "ambiguous_date", "value": "1/2/25"} for line in (9, 4)]
    rows.append(row | {"line": 2, "rule": "required", "file": "units/b.csv"})
    content = data_page.content(sample.page_data(2, set_aside=sample.frame(rows, shown.SET_ASIDE)))
    assert [problem["title"] for problem in content["problems"]] == [
        "Installed base, shipped_on: ambiguous date",
        "Installed base, shipped_on: required",
    ]
    assert [line for _, line, _, _ in content["problems"][0]["rows"]] == ["4", "9"]
    assert content["problems_says"].startswith("2 kinds of faults")


def test_data_page_tells_what_to_do_next(sample) -> None:
    """Joins, files that are not used by their rows, then codes with the line to add."""
    aside = [
        {"feed": None, "file": "a.csv", "line": 1, "rule": "no_feed", "reason": "a.csv is lost."},
        {"feed": "units", "file": "b.csv", "line": 3, "rule": "missing_column", "reason": "No x."},
        {"feed": "units", "file": "c.csv", "line": 3, "rule": "required", "reason": "Empty."},
        {
            "feed": "units",
            "file": "c.csv",
            "line": 4,
            "column": "model",
            "rule": "unknown_model",
            "value": "X, 9",
            "reason": "Not there.",
        },
    ]
    accounts = [
        {"feed": None, "file": "a.csv", "rows_read": 2, "set_aside": 2},
        {"feed": "units", "file": "b.csv", "rows_read": 7, "set_aside": 7},
    ]
    counts = ("records", "superseded", "duplicates", "rows_split", "left_out", "joined")
    accounts = [dict.fromkeys(counts, 0) | {"header_line": 1} | one for one in accounts]
    miss = {"feed": "startups", "first_file": "s.csv", "first_line": 2, "cause": "unknown"}
    misses = [
        miss | {"column": "agency", "to": "agencies.agency", "written": "Kettle", "rows": 3},
        miss
        | {
            "column": "treatment_product",
            "to": "treatments.product",
            "written": "lime off",
            "likely": "LIME-OFF",
            "rows": 5,
        },
        miss | {"column": "serial", "to": "units.serial", "written": "9", "rows": 90},
    ]
    content = data_page.content(
        sample.page_data(
            2,
            set_aside=sample.frame(aside, shown.SET_ASIDE),
            row_accounts=sample.frame(accounts, shown.ROW_ACCOUNTS),
            join_misses=sample.frame(misses, shown.JOIN_MISSES),
            joins_below=["startups.serial: 1 of 2."],
        )
    )
    assert content["joins_below"] == ["startups.serial: 1 of 2."]
    assert [(one["says"], one["rows"], one["line"]) for one in content["whole"]] == [
        ("b.csv: No x.", "7 rows", "limeledger map exports/b.csv ."),
        ("a.csv is lost.", "2 rows", "limeledger map exports/a.csv ."),
    ]
    assert content["codes"] == [
        ["lime off", "5", "reference/aliases.csv", "product,lime off,LIME-OFF"],
        ["Kettle", "3", "reference/agencies.csv", "Kettle,,,,,,"],
        ["X, 9", "1", "reference/models.csv", '"X, 9",,,,,,,'],
    ]


def test_data_page_says_how_far_feeds_go(sample) -> None:
    """A feed without a through date, a stale one and a current one are told apart."""
    feeds = sample.frame(
        [
            {"feed": "units", "through_date": sample.AS_OF, "stale": False},
            {"feed": "startups", "through_date": dt.date(2025, 1, 1), "stale": True},
        ],
        shown.FEEDS,
    )
    rows = data_page.content(sample.page_data(2, feeds=feeds))["feeds"]
    assert rows[0] == ["Installed base", "2026-03-31", "0", "current"]
    assert rows[1] == ["Start-up reports", "2025-01-01", "454", "stale"]
    assert rows[2] == ["Water tests", "–", "–", "no date known"]


def test_data_page_tells_what_warns_first(sample) -> None:
    """Sentences of checks that warn, then the comparisons: to look at, usual, not to be told."""
    content = data_page.content(sample.page_data(2))
    assert content["checks_says"] == "4 checks of the latest refresh: 2 warn."
    assert content["warned"] == ["startups is old.", f"{sample.SCRIPT} has moved."]
    assert [(row[0][-4:], row[1]) for row in content["checks"]] == [
        (": ph", "look at it"),
        (": ph", "as usual"),
        ("aims", "too little known"),
    ]
    none = data_page.content(sample.page_data(2, night_checks=shown.NIGHT_CHECKS.to_frame()))
    assert none["checks_says"] == ""


def test_terms_mark_what_not_every_edition_says(sample) -> None:
    """Families that read alike share a table, and only sentences that differ are marked."""
    content = terms.content(sample.page_data(1))
    assert [family["title"] for family in content["families"]] == ["Beck and Linn"]
    family = content["families"][0]
    assert family["says"] == (
        "The editions differ in cover and switched off; sentences that not every edition says are "
        "marked."
    )
    said = dict(family["rows"])
    assert said["Cover"][1] == [("Parts are covered for 24 months, labor for 12 months.", True)]
    asked = ("Documents that are asked for are due within 30 days.", False)
    assert asked in said["Claims"][0]
    assert said["Clock"][0] == [
        (
            "The warranty runs from the installation, else the purchase, else from 60 days after "
            "shipment.",
            False,
        )
    ]
    assert ("Gas pressure (natural) from 4.5 to 13 in. of water.", False) in said["Installation"][0]


def test_families_with_other_terms_have_their_own_table(sample) -> None:
    """A family whose terms differ does not share the others' table."""
    frames = sample.terms()
    values = frames["terms_values"].with_columns(
        delime_months=pl.when(pl.col("family") == "Linn").then(1).otherwise("delime_months")
    )
    content = terms.content(sample.page_data(1, terms_values=values))
    assert [family["title"] for family in content["families"]] == ["Beck", "Linn"]


def test_a_ruling_is_the_answer_and_the_records_stand_beside_it(sample) -> None:
    """The standing verdict opens the page; what the records alone say follows."""
    data = sample.page_data(4)
    ruled = data.decisions.with_columns(
        ruling=pl.lit("covered"),
        standing=pl.lit("covered"),
        ruling_outdated=pl.lit(True),
        parts_standing=pl.lit(Decimal("12.50")),
    )
    rulings = sample.frame(
        [
            {"claim": sample.claim_number(3), "ruled_at": dt.datetime(2026, 2, 3, 9),
             "ruled_by": "desk", "ruling": "covered", "reason": "Seen on site."}
        ],
        shown.RULINGS,
    )  # fmt: skip
    data = sample.page_data(4, decisions=ruled, rulings=rulings)
    content = next(claim_page.contents(data, [sample.claim_number(3)]))
    assert content["answer"] == [
        "Ruled covered by desk on 3 February 2026: 12.50 USD to be paid. Reason given: Seen on "
        "site.",
        "By the records: Not covered: The lead reason of 2025-11-30. They say so since the ruling "
        "was made: please look again.",
    ]
    assert content["money"]["columns"] == ["Claimed", "Payable", "By the ruling"]


def test_a_claim_tells_its_clock_its_water_and_its_neighbors(sample) -> None:
    """The clock's source, the water's class and doubts, and claims on unit and site are told."""
    content = next(claim_page.contents(sample.page_data(8), [sample.claim_number(3)]))
    facts = dict(content["facts"])
    assert facts["Warranty from"] == "2024-10-01 (its installation)"
    assert content["water"]["sentence"].endswith("hardness outside the limits.")
    assert content["water"]["profile"] == [
        "Class of the water: scale-forming.",
        "To doubt: TDS below hardness.",
    ]
    hardness = content["water"]["data"]["rows"]["rows"][0]
    assert hardness == {
        "analyte": "Hardness, 412.5 mg/L",
        "share": 3.0,
        "text": "412.5 mg/L CaCO₃",
        "beyond": "6.9 times",
        "outside": "yes",
    }
    others = {row["claim"]: row["text"] for row in content["earlier"]}
    assert "this unit" in others[sample.claim_number(2)]
    assert "another unit here" in others[sample.claim_number(0)]
    assert sample.claim_number(4) not in others


def test_an_analyte_is_outside_or_not_whether_or_not_it_was_detected() -> None:
    """The pages of a claim and of a unit tell the same; a non-detect is never outside."""
    row = {"analyte": "free_chlorine_mg_l", "value": None, "below": 0.05, "min": None, "max": 0.1}
    assert [analyte_row(row | {"outside": said})[-1] for said in (None, False, True)] == [
        "no", "no", "yes"]  # fmt: skip
