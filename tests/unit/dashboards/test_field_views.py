"""The field page's views: rows for every pick, and sentences computed from them."""

from __future__ import annotations

import json

import polars as pl
import pytest

from dashboards.figures import (
    agencies,
    cohorts,
    costs,
    forecasts,
    lifetimes,
    rates,
    regions,
    repeats,
    treatments,
    warnings,
)
from dashboards.figures.cuts import field_of
from dashboards.hiding import hide_names
from dashboards.pages import field as field_page

SECTIONS = (
    rates,
    regions,
    lifetimes,
    repeats,
    cohorts,
    treatments,
    warnings,
    forecasts,
    costs,
    agencies,
)


@pytest.fixture(scope="module")
def field(sample):
    """The field of the invented data."""
    return field_of(sample.page_data(4))


def _views(section) -> dict:
    return {figure.key: figure.views for figure in section.figures}


def test_every_figure_has_chart_table_sample_and_sentence(field) -> None:
    """No view lacks any of its four parts."""
    sections = [module.section(field).figures for module in SECTIONS]
    assert all(sections)
    for figures in sections:
        for figure in figures:
            assert figure.views
            for key, view in figure.views.items():
                where = f"{figure.key} {key}"
                assert view.says.endswith("."), where
                assert view.sample.endswith("."), where
                if not view.same_as:
                    assert view.table, where
                    assert view.charts, where
                    assert {len(row) for row in view.table} == {len(view.columns)}, where


def test_the_highest_rate_is_named(field) -> None:
    """The sentence names the group with the highest solid rate, its interval and the whole's."""
    view = _views(rates.section(field))["rates"]["profile/all"]
    assert view.says == (
        "Units in water within limits fail most: 18.0 per 100 unit-years (13.0 to 24.0), "
        "against 10.0 for all units."
    )
    assert view.charts["rates"]["lists"]["names"][0] == "within limits"


def test_thin_figures_are_never_ranked(sample) -> None:
    """A thin group cannot be the one that fails most, however high its rate."""
    table = sample.figures()["rates"].with_columns(
        thin=pl.col("profile").is_in(["within limits", "chloramine"])
    )
    field = field_of(sample.page_data(2, figures={"rates": table}))
    view = _views(rates.section(field))["rates"]["profile/all"]
    assert view.says.startswith("Units in scale-forming water fail most")
    assert view.charts["rates"]["lists"]["names"][0] == "scale-forming"
    all_thin = field_of(
        sample.page_data(2, figures={"rates": table.with_columns(thin=pl.lit(True))})
    )
    says = _views(rates.section(all_thin))["rates"]["profile/all"].says
    assert says == "Too few failures to rank."


def test_a_picked_region_fills_what_is_cut_by_it(field) -> None:
    """A region picks its own profiles, its own curves and its own sentence on the map."""
    views = _views(rates.section(field))["rates"]
    assert {row[0] for row in views["profile/region=US-KS"].table} == {
        "scale-forming",
        "chloramine",
        "within limits",
    }
    assert "family/region=US-KS" not in views
    of_map = _views(regions.section(field))["regions"]["water/region=US-NM"]
    assert of_map.same_as == "water/all"
    assert of_map.says == (
        "New Mexico: 2.60 times the water-caused failures of all regions; 1.10 (0.800 to 1.50) "
        "once water, family and age are allowed for."
    )


def test_a_region_is_not_blamed_for_its_water(field) -> None:
    """A crude ratio far out names nobody (version 2 of the contract: the adjusted one flags)."""
    view = _views(regions.section(field))["regions"]["water/all"]
    assert view.says == (
        "No region stands out in water-caused failures once water, family and age are allowed "
        "for, at a false-discovery rate of 10 %."
    )
    dots = view.charts["funnel"]["rows"]["rows"]
    assert dots
    assert not any(dot["flagged"] for dot in dots)


def test_regions_that_stand_out_are_ranked_by_the_limit_nearer_to_1(sample) -> None:
    """Above and below apart, the surest first; one with fewer than ten failures is not named."""
    tables = sample.figures()
    told = {
        "US-NM": ("above", 30, 3.0, 1.1, 9.0),
        "US-KS": ("above", 30, 1.5, 1.3, 1.7),
        "US-CO": ("below", 9, 0.5, 0.3, 0.8),
    }

    def own(place: int) -> pl.Expr:
        named = {region: values[place] for region, values in told.items()}
        return pl.col("region").replace_strict(named)

    names = ("direction", "failures", "adjusted_ratio", "adjusted_low", "adjusted_high")
    columns = {name: own(place) for place, name in enumerate(names)}
    tables["regions"] = tables["regions"].with_columns(**columns, flagged=pl.lit(True))
    view = _views(regions.section(field_of(sample.page_data(2, figures=tables))))["regions"]
    assert view["water/all"].says == (
        "Once water, family and age are allowed for, Kansas (1.50 (1.30 to 1.70) times) and New "
        "Mexico (3.00 (1.10 to 9.00) times) have more water-caused failures than all regions "
        "together."
    )
    assert {row[0]: row[-1] for row in view["water/all"].table} == {
        "New Mexico": "above", "Kansas": "above", "Colorado": "below",
    }  # fmt: skip


def test_survival_compares_at_a_month_that_all_reach(field) -> None:
    """The month of the sentence is shown of every curve, and nothing beyond its end is drawn."""
    view = _views(lifetimes.section(field))["survival-profile"]["water/all"]
    assert view.says == (
        "By 48 months, 52% (47% to 56%) of units in scale-forming water have had no water-caused "
        "failure; 76% (71% to 80%) of all units."
    )
    assert max(row["months"] for row in view.charts["survival"]["rows"]["rows"]) == 50
    assert {row[1] for row in view.table} <= {str(month) for month in range(51)}


def test_what_is_extrapolated_is_marked_and_stands_in_no_sentence(sample) -> None:
    """B10 within the watch is told with its limits; beyond it, the table alone has it, marked."""
    field = field_of(sample.page_data(2))
    view = _views(lifetimes.section(field))["weibull"]["water/all"]
    assert view.says.endswith(
        "By the fit 10 % of all units have failed by 12.0 months (9.00 to 15.0)."
    )
    assert view.table[0][3] == "60.0 (extrapolated)"
    assert view.table[0][5] == "12.0"
    plotted = view.charts["probability_plot"]["rows"]["rows"]
    assert [row["age_days"] for row in plotted] == [180, 360, 720]
    beyond = sample.figures()["weibull"].with_columns(b10_extrapolated=pl.lit(True))
    tables = sample.figures() | {"weibull": beyond}
    view = _views(lifetimes.section(field_of(sample.page_data(2, figures=tables))))["weibull"]
    assert "10 %" not in view["water/all"].says
    assert view["water/all"].table[0][5] == "12.0 (extrapolated)"


def test_back_test_counts_months_inside(field) -> None:
    """Last year's forecast is held against what happened, month by month."""
    view = _views(forecasts.section(field))["back-test"]["/all"]
    assert view.says == (
        "A year ago 90.0 failures were expected and 81 happened; 9 of 9 months fell inside the "
        "80 % interval, 9 inside the 95 %."
    )


def test_treatment_says_that_association_is_no_proof(field) -> None:
    """The caution stands beside the rates whatever they show."""
    section = treatments.section(field)
    assert section.cautions[0].startswith("This is association, not proof")
    says = _views(section)["treatment-ratios"]["water/all"].says
    assert says == (
        "Treated vs untreated: 0.400 (0.300 to 0.600) times the rate of water-caused failures, "
        "needs and family allowed for."
    )


def test_immature_cells_show_the_completed_figure(field) -> None:
    """An immature cell is marked and carries the completed number."""
    rows = _views(cohorts.section(field))["cohorts"]["/all"].charts["cohort_grid"]["rows"]["rows"]
    cell = next(row for row in rows if row["cohort"] == "2025-Q3" and row["months"] == 12)
    assert cell["step"] == "immature"
    assert cell["cell"] == "13"


def test_cohorts_end_with_what_is_shown_and_call_none_better(field) -> None:
    """Beyond 20 units at risk nothing is drawn or quoted; the sentence gives limits."""
    view = _views(cohorts.section(field))["cohorts"]["/all"]
    drawn = {row["months"] for row in view.charts["cohort_grid"]["rows"]["rows"]}
    assert drawn == {3, 6, 9, 12}
    assert {int(line[1]) for line in view.table} == drawn
    assert view.says == (
        "By 12 months the units of 2024-Q4, the newest quarter that is a year old, have failed "
        "12.0 times (11.0 to 14.0) per 100 units still watched."
    )


def test_missing_tables_leave_their_sections_out(sample) -> None:
    """Without a table there is no section, and without any figure the page says so."""
    only = field_page.content(sample.page_data(2, figures={"rates": sample.figures()["rates"]}))
    assert [section.key for section in only["sections"]] == ["rates"]
    none = field_page.content(sample.page_data(2, figures={}))
    assert none["sections"] == []
    assert none["summary"] == "No field figures yet."


def test_notes_of_the_estimates_stand_beside_them(sample) -> None:
    """A sentence that an estimate needs is shown with its section."""
    note = "No method can part the water of Kansas from Kansas."
    data = sample.page_data(2, figure_notes={"regions": [note]})
    assert note in regions.section(field_of(data)).cautions


def test_a_region_that_no_method_can_part_from_its_water_is_named(sample) -> None:
    """What is confounded becomes a sentence, for all regions and for the one picked."""
    tables = sample.figures()
    apart = pl.col("region") == "US-KS"
    tables["regions"] = tables["regions"].with_columns(confounded=apart)
    views = _views(regions.section(field_of(sample.page_data(2, figures=tables))))["regions"]
    for pick in ("all", "region=US-KS"):
        assert "no method can part them" in views[f"water/{pick}"].says
    others = [view.says for key, view in views.items() if key.endswith("=US-CO")]
    assert others
    assert not any("no method" in says for says in others)


@pytest.mark.parametrize(
    ("ratio", "says"),
    [
        (1.0, "Colorado: 1.00 times the water-caused failures of all regions; 1.10 (0.800 to 1.50) "
         "once water, family and age are allowed for; there is no other to compare it with."),
        (None, "Colorado: no water-caused failures to compare; there is no other to compare it "
         "with."),
    ],
)  # fmt: skip
def test_a_single_region_is_compared_with_nothing(sample, ratio, says) -> None:
    """It does not claim that none stands out, and shows no dash for a ratio."""
    tables = sample.figures()
    only = tables["regions"].filter(pl.col("region") == "US-CO")
    tables["regions"] = only.with_columns(crude_ratio=pl.lit(ratio, pl.Float64))
    views = _views(regions.section(field_of(sample.page_data(2, figures=tables))))["regions"]
    assert views["water/all"].says == says


def test_sentences_leave_limits_out_that_there_are_none_of(sample) -> None:
    """Without any failure there is a share and no interval: no dash in brackets."""
    tables = sample.figures()
    blank = {name: pl.lit(None, pl.Float64) for name in ("low", "high")}
    tables["survival"] = tables["survival"].with_columns(survival=pl.lit(1.0), **blank)
    view = _views(lifetimes.section(field_of(sample.page_data(2, figures=tables))))
    says = view["survival-profile"]["water/all"].says
    assert says == "By 48 months, 100% of all units have had no water-caused failure."
    assert {row[-1] for row in view["survival-profile"]["water/all"].table} == {"–"}


def test_lines_of_thin_groups_end_with_those_of_the_others(sample) -> None:
    """One thin group with a wide interval does not flatten all others; its table has all of it."""
    tables = sample.figures()
    wide = (pl.col("by") == "family") & (pl.col("family") == sample.FAMILIES[0])
    tables["rates"] = tables["rates"].with_columns(
        thin=pl.when(wide).then(True).otherwise("thin"),
        robust_high=pl.when(wide).then(900.0).otherwise("robust_high"),
    )
    view = _views(rates.section(field_of(sample.page_data(2, figures=tables))))["rates"]
    drawn = view["family/all"].charts["rates"]["rows"]["rows"]
    solid = max(row["high"] for row in drawn if not row["thin"])
    assert [row["high"] for row in drawn if row["thin"]] == [solid]
    assert any("900" in cell for row in view["family/all"].table for cell in row)


def test_assumptions_on_clocks_and_reports_stand_beside_the_rates(field) -> None:
    """The rates as watched, and under the assumption that moves them most, also for a region."""
    views = _views(rates.section(field))["assumptions"]
    assert views["*/all"].says == (
        "As watched, 10.0 per 100 unit-years (8.00 to 13.0); furthest from it completed for "
        "reports to come: 11.0 per 100 unit-years (9.00 to 14.0)."
    )
    assert len(views["*/region=US-KS"].table) == 2


def test_page_data_is_json_without_infinities(sample) -> None:
    """What the page's script reads is plain JSON."""
    content = field_page.content(sample.page_data(2))
    views = json.loads(content["field"])["views"]
    assert set(views) == {figure.key for s in content["sections"] for figure in s.figures}


def test_an_agency_that_stands_out_is_asked_about(field) -> None:
    """The sentence of a flagged agency stands beside the whole's; the caution is always there."""
    section = agencies.section(field)
    assert section.cautions[0].startswith("A flag is a reason to ask, and no finding")
    view = _views(section)["agencies-returns"]["*/all"]
    assert view.says == "4 of 40 repairs came back. AGENCY3: 8 of 40 repairs came back."
    assert view.sample == "160 repairs followed of 4 agencies."
    rows = view.charts["agency_returns"]["rows"]
    assert len(rows["rows"]) == len(rows["limits"]) == 4
    assert [row["name"] for row in rows["rows"] if row["flagged"]] == ["AGENCY3"]


def test_hidden_agencies_have_no_section(sample) -> None:
    """Where the settings hide agencies, nothing compares them."""
    shown = hide_names(sample.page_data(2, hide=("agency",)))
    assert agencies.section(field_of(shown)) is None
    assert "AGENCY" not in json.dumps(field_page.content(shown), default=str)
