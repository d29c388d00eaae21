"""Orders, counts, cuts and dashes of the tables and lines that pages show, from rows by hand."""

from __future__ import annotations

import dataclasses
import datetime as dt
import os
import shlex
from pathlib import Path

import polars as pl
import pytest

from dashboards import kept
from dashboards.data import SECOND_OPINION_AGREEMENT, SECOND_OPINIONS
from dashboards.figures import dose, grids, lifetimes, rates, stands_out, warnings
from dashboards.figures.curves import at_risk
from dashboards.figures.cuts import field_of, rate_text
from dashboards.figures.regions import section as regions_of
from dashboards.hiding import hide_names
from dashboards.pages import agreement, claim, data, data_steps, terms
from dashboards.pages.claim_parts import water_bars
from dashboards.pages.claim_rows import claim_rows
from schemas.wording import ANALYTES

DAY = dt.date(2026, 3, 1)


def test_what_stands_out_is_in_the_order_of_its_lower_limit() -> None:
    """Flagged ones first, each by the limit nearer to 1 from the top; without a limit last."""
    rows = [(False, 1.5), (True, 1.1), (True, None), (False, None), (True, 1.4), (False, 2.0)]
    ordered = sorted(({"flagged": f, "low": low} for f, low in rows), key=stands_out._by_low)
    assert [(row["flagged"], row["low"]) for row in ordered] == [
        (True, 1.4), (True, 1.1), (True, None), (False, 2.0), (False, 1.5), (False, None),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ({"rate_per_100": 12.34, "low": 10.06, "high": 14.94},
         "12.3 per 100 unit-years (10.1 to 14.9)"),
        ({"rate_per_100": 12.34, "low": 10.06, "high": 14.94, "robust_low": 9.0,
          "robust_high": 16.0}, "12.3 per 100 unit-years (9.00 to 16.0)"),
        ({"rate_per_100": None, "low": None, "high": None, "note": "no unit was watched"},
         "no unit was watched"),
        ({"rate_per_100": None, "low": None, "high": None, "note": None}, "not estimated"),
        ({"rate_per_100": None, "low": None, "high": None}, "not estimated"),
    ],
)  # fmt: skip
def test_a_rate_has_its_limits_or_says_why_there_is_none(row: dict, told: str) -> None:
    """The limits that hold when units fail again go before the exact ones."""
    assert rate_text(row) == told


def test_a_line_of_a_watched_pair_is_of_its_latest_month() -> None:
    """Two digits of what is counted, three of the months between false alarms."""
    month = {"family": "Beck", "cause_class": "scale", "month": DAY, "failures": 3,
             "expected": 1.2345, "cusum": 4.567, "decision_value": 5.01,
             "average_run_length": 576.34, "alarm": False}  # fmt: skip
    before = month | {"month": dt.date(2026, 1, 1), "alarm": True}
    line = warnings._line(("Beck", "scale"), [before, month])
    assert line[0:2] == ["Beck, scale", "2026-03"]
    assert line[3:] == ["1.2", "4.6", "5.0", "576", "2026-01"]
    assert warnings._line(("Beck", "scale"), [month])[-1] == "none"


def test_units_at_risk_stand_below_a_curve_up_to_its_end() -> None:
    """Every third month of a year, the last one included; what is not shown has no number."""
    rows = [{"months": n, "at_risk": 1300 - 100 * n, "shown": n != 9} for n in range(16)]
    told = at_risk({"Beck": rows, "Linn": rows[:4]}, 12)
    assert [(one["group"], one["months"], one["label"]) for one in told["risk"]] == [
        ("Beck", 0, "1,300"), ("Beck", 3, "1,000"), ("Beck", 6, "700"), ("Beck", 12, "100"),
        ("Linn", 0, "1,300"), ("Linn", 3, "1,000"),
    ]  # fmt: skip
    assert [one["label"] for one in told["named"]] == ["At risk ", "Beck ", "Linn "]
    for most, step in ((18, 3), (19, 6), (48, 6), (49, 12)):
        every = [{"months": n, "at_risk": 5} for n in range(61)]
        months = [one["months"] for one in at_risk({"": every}, most)["risk"]]
        assert months == [*range(0, most + 1, step)]


def test_the_sample_of_a_dose_counts_all_bins_that_are_known() -> None:
    """The first bin too; days that lack the analyte are told beside them."""
    rows = [{"bin": n, "failures": 10**n, "unit_years": 2.0 * 10**n} for n in range(3)]
    assert dose._sample(rows[1:]) == (
        "110 failures in 220.0 unprotected unit-years with a known value."
    )
    assert dose._sample(rows) == (
        "110 failures in 220.0 unprotected unit-years with a known value; 1 failure in 2.000 "
        "without."
    )


@pytest.mark.parametrize(
    ("files", "where"),
    [
        (["b.csv", "a.csv", "b.csv"], "a.csv and b.csv"),
        (["c.csv", "a.csv", "b.csv"], "a.csv, b.csv and c.csv"),
        (["e.csv", "d.csv", "c.csv", "a.csv", "b.csv"], "a.csv, b.csv and c.csv and 2 more"),
        (["d.csv", "c.csv", "a.csv", "b.csv"], "a.csv, b.csv and c.csv and 1 more"),
    ],
)
def test_a_reason_names_three_files_and_counts_the_others(files: list[str], where: str) -> None:
    """Each file once, in order, however many rows of it are set aside."""
    rows = pl.DataFrame(
        {"feed": "units", "column": "serial", "rule": "missing_value", "file": files,
         "line": [*range(len(files))], "value": None, "reason": "It lacks its serial."},
        schema_overrides={"value": pl.String},
    )  # fmt: skip
    told = data._problem(rows)
    assert told["says"] == f"It lacks its serial. In {where}."
    assert (told["rows_count"], told["left_out"]) == (len(files), "")


def test_codes_to_be_listed_are_those_of_reference_files_and_likely_spellings(sample) -> None:
    """A key that only another export could hold is no code, nor is a spelling like nothing."""
    pages = sample.page_data(2)
    misses = pl.DataFrame(
        [
            {"to": "models.model", "column": "model", "written": "M9", "rows": 4},
            {"to": "units.serial", "column": "serial", "written": "U9", "likely": "U1", "rows": 5},
            {"to": "units.model", "column": "model", "written": "N1", "likely": "M1", "rows": 3},
            {"to": "units.model", "column": "model", "written": "N2", "rows": 2},
        ],
        schema=pages.join_misses.schema,
    )
    shown = dataclasses.replace(pages, join_misses=misses, set_aside=pages.set_aside.clear())
    found = data_steps._codes(shown)
    assert set(found.select("table", "written").rows()) == {("models", "M9"), ("units", "N1")}


def test_a_command_for_a_file_can_be_pasted_whatever_the_file_is_called() -> None:
    """A name that a shell would run is one word of the command, and a sheet is named."""
    told = data_steps._drafting("it's; touch x;'.csv", None)
    assert shlex.split(told) == ["limeledger", "map", "exports/it's; touch x;'.csv", "."]
    assert shlex.split(data_steps._drafting("a.xlsx", "Old $(x)"))[-2:] == ["--sheet", "Old $(x)"]


@pytest.mark.parametrize(
    ("matched", "rows", "below", "told"),
    [
        (29, 100, True, ["29 %", "below"]),
        (899, 1000, True, ["89 %", "below"]),
        (0, 15, False, ["0 %", "too few rows to judge"]),
        (18, 20, False, ["90 %", "enough"]),
        (0, 0, False, ["–", "–"]),
    ],
)
def test_a_join_of_few_rows_is_not_called_enough(
    matched: int, rows: int, below: bool, told: list[str]
) -> None:
    """The share is cut to whole percents without the slips of fractions."""
    row = {"feed": "startups", "column": "serial", "to": "units.serial", "rows": rows,
           "matched": matched, "share": matched / rows if rows else None, "lost_zeros": 0,
           "case_or_punctuation": 0, "close_spelling": 0, "unknown": rows - matched,
           "min_share": 0.9, "below": below}  # fmt: skip
    line = data._join(row)
    assert [line[5], line[-1]] == told


def test_words_of_hidden_notes_are_gone_all_of_them(sample) -> None:
    """A suggestion stays, without a word that it rests on."""
    pages = sample.page_data(3, **sample.suggested_causes())
    assert pages.cause_suggestions["words"].list.len().sum() > 0
    hidden = hide_names(dataclasses.replace(pages, hide=("notes",)))
    assert hidden.cause_suggestions["words"].list.len().sum() == 0
    assert hidden.cause_suggestions.height == pages.cause_suggestions.height


def test_a_claims_findings_and_events_are_in_order_however_they_come(sample) -> None:
    """By position, and by day and kind, as the page and the line of life have them."""
    pages = sample.page_data(8)
    mixed = dataclasses.replace(
        pages,
        findings=pages.findings.sample(fraction=1, shuffle=True, seed=3),
        events=pages.events.sample(fraction=1, shuffle=True, seed=3),
    )
    claims = pages.decisions["claim"].to_list()
    found = claim_rows(mixed, claims, claim.beside(claims))
    findings, events = found.by("findings"), found.by("events")
    assert {len(rows) > 1 for rows in findings.values()} == {True}
    for rows in findings.values():
        assert [row["position"] for row in rows] == sorted(row["position"] for row in rows)
    assert max(len(rows) for rows in events.values()) > 3
    for rows in events.values():
        told = [(row["on"], row["kind"]) for row in rows]
        assert told == sorted(told)


def test_second_opinions_that_differ_are_in_the_order_of_claims(sample) -> None:
    """And weightings of which nothing is estimated are left out."""
    when = dt.datetime(2026, 3, 31, 10)
    opinions = [
        {"claim": name, "checked_at": when, "checked_by": "Ada", "verdict": "covered",
         "computed": "not_covered", "agrees": False, "counts": True}
        for name in ("CL-3", "CL-1", "CL-2")
    ]  # fmt: skip
    estimates = [
        {"weighting": "none", "opinions": 3, "agreement": 0.0, "agreement_low": 0.0,
         "agreement_high": 0.7, "expected_agreement": 0.0, "kappa": 0.0, "note": "too few"},
        {"weighting": "claims", "opinions": 3, "note": "no stratum is known"},
    ]  # fmt: skip
    told = agreement.content(
        sample.page_data(
            2,
            second_opinions=sample.frame(opinions, SECOND_OPINIONS),
            second_opinion_agreement=sample.frame(estimates, SECOND_OPINION_AGREEMENT),
        )
    )
    assert [row[0] for row in told["differing"]] == ["CL-1", "CL-2", "CL-3"]
    assert [row[0] for row in told["rows"]] == ["Claims that were checked"]
    assert told["notes"] == ["too few."]


def test_a_test_of_one_analyte_is_told_with_its_sample_and_day() -> None:
    """What lies outside is named; without any value there is nothing to show."""
    row = {"sample": "L1", "sampled_on": DAY, "analyte": "hardness_mg_l_caco3", "value": 120.0,
           "below": None, "min": None, "max": 100.0, "needs": "scale", "outside": True}  # fmt: skip
    name = ANALYTES["hardness_mg_l_caco3"][0].lower()
    told = water_bars([row], None)
    assert told is not None
    assert told["sentence"] == f"Sample L1 of 1 March 2026: {name} outside the limits."
    within = water_bars([row | {"outside": False}], None)
    assert within is not None
    assert within["sentence"] == "Sample L1 of 1 March 2026: within the limits."
    assert water_bars([], None) is None


def test_regions_without_a_place_have_no_map(sample) -> None:
    """The funnel alone is drawn, and the sample says why; with a place there are both."""
    pages = sample.page_data(4)
    section = regions_of(field_of(pages))
    assert [name for name, _ in section.figures[0].charts] == ["adjusted_map", "funnel"]
    nowhere = pages.regions.with_columns(
        pl.lit(None).cast(pages.regions.schema[name]).alias(name)
        for name in ("tile_row", "tile_col")
    )
    section = regions_of(field_of(dataclasses.replace(pages, regions=nowhere)))
    figure = section.figures[0]
    assert [name for name, _ in figure.charts] == ["funnel"]
    view = next(iter(figure.views.values()))
    assert "not on the map, for want of a place" in view.sample


@pytest.mark.parametrize(
    ("low", "high", "unit", "told"),
    [
        (6.5, 9.0, "", "from 6.5 to 9"),
        (None, 0.1, "mg/L", "at most 0.1 mg/L"),
        (30.0, None, "psi", "at least 30 psi"),
    ],
)
def test_a_limit_of_the_terms_says_which_ends_it_has(
    low: float | None, high: float | None, unit: str, told: str
) -> None:
    """Both, the upper, or the lower."""
    assert terms._between(low, high, unit) == told


def test_upkeep_is_told_water_by_water(sample) -> None:
    """Nine, six and three months stand at mild, normal and severe."""
    row = sample.terms()["terms_values"].row(0, named=True)
    said = terms._upkeep(row | {"look_back_months": 24})
    assert said == [
        "Cartridges last 9 months in mild water, 6 months in normal and 3 months in severe, with "
        "15 days of grace.",
        "Mild is up to 1 times the limit, severe above 2 times.",
        "Lapses that ended 24 months or longer before the failure are forgiven.",
        "Delime every 3 months, with 10 days of grace.",
    ]
    assert len(terms._upkeep(row)) == 3


def test_limits_on_readings_are_told_by_reading_and_gas(sample) -> None:
    """A gas stands in brackets; without limits that is said."""
    row = sample.terms()["terms_values"].row(0, named=True)
    limits = [
        {"reading": "gas_pressure_in_wc", "gas": gas, "min": low, "max": None}
        for gas, low in (("propane", 10.0), ("natural", 4.0))
    ]
    limits.insert(1, {"reading": "flowing_pressure_psi", "gas": None, "min": 30.0, "max": 60.0})
    more = {"must_report": ["level"], "two_lines_above_f": 90.0, "two_lines_when_treated": True}
    assert terms._installation(row | more, limits) == [
        "A complete start-up report tells level.",
        "Two water lines are needed for a supply warmer than 90 °F and a unit whose water is "
        "treated.",
        "Water pressure, flowing from 30 to 60 psi.",
        "Gas pressure (natural) at least 4 in. of water.",
        "Gas pressure (propane) at least 10 in. of water.",
    ]
    assert terms._installation(row, []) == ["No limits on readings at start-up."]


def test_rows_stand_by_their_rate_or_in_an_order_of_their_own() -> None:
    """Thin ones last; years and bands of age stay as they follow each other."""
    rows = [
        {"family": name, "year": year, "thin": thin, "rate_per_100": rate}
        for name, year, thin, rate in (
            ("Beck", "2025", False, 4.0),
            ("Linn", "2023", True, 9.0),
            ("Skerry", "2024", False, 6.0),
            ("Arn", "2022", False, None),
        )
    ]
    by_rate = [row["family"] for row in rates._ranked("family", rows)]
    assert by_rate == ["Skerry", "Beck", "Arn", "Linn"]
    assert "year" in rates.IN_ORDER
    assert [row["year"] for row in rates._ranked("year", rows)] == ["2022", "2023", "2024", "2025"]


def test_lines_and_columns_of_a_grid_have_one_order() -> None:
    """Seasons as they follow, classes by their failures, others by name."""

    def order(dimension: str, *words: tuple[str, int]) -> list[str]:
        rows = [{"down": word, "failures": count} for word, count in words]
        return grids._order(dimension, rows, "down")

    assert order("season", ("winter", 1), ("summer", 9), ("spring", 2)) == sorted(
        ["winter", "summer", "spring"], key=grids.SEASONS.index
    )
    words = (("wear", 3), ("gas", 5), ("scale", 2), ("wear", 1), ("scale", 3), ("arc", 4))
    assert order("cause_class", *words) == ["gas", "scale", "arc", "wear"]
    many = [(f"F{n:02}", 1) for n in (7, 3, 11, 5, 2, 9, 1, 8)]
    assert order("family", *many) == sorted(word for word, _ in many)


def test_only_the_newest_of_what_is_kept_stays(tmp_path: Path) -> None:
    """By when it was written, whatever its name; other kinds are left alone."""
    for number in range(kept._MOST_KEPT + 3):
        file = tmp_path / f"chart-{99 - number:03}"
        file.write_text("x")
        os.utime(file, (1_000 + number, 1_000 + number))
    (tmp_path / "template-1").write_text("x")
    os.utime(tmp_path / "template-1", (1, 1))
    kept._forget(tmp_path, "chart")
    left = {path.name for path in tmp_path.iterdir()}
    newest = {f"chart-{99 - number:03}" for number in range(3, kept._MOST_KEPT + 3)}
    assert left == newest | {"template-1"}


def test_a_file_without_a_mapping_has_a_dash(sample) -> None:
    """And one that a mapping serves has its name."""
    kept_ = sample.page_data(2)
    one = kept_.row_accounts.head(1)
    for mapping, told in ((None, "–"), ("m.toml", "m.toml")):
        accounts = one.with_columns(mapping=pl.lit(mapping, pl.String))
        shown = dataclasses.replace(kept_, row_accounts=accounts)
        assert [line[2] for line in data._files(shown.row_accounts)] == [told]


def test_curves_of_families_are_counted_whole_and_others_by_their_smallest(sample) -> None:
    """Units at risk of a standardized curve are those of the smallest family in it."""
    views = lifetimes.section(field_of(sample.page_data(4))).figures[0].views
    assert {key.split("/")[0].split()[1] for key in views} == {"family", "treatment", "startup"}
    for key, view in views.items():
        assert ("of the smallest family" in view.sample) is ("family" not in key)
