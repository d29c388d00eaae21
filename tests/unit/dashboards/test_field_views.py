"""The field page's views: rows for every pick, and sentences as the figures have them.

Version 2 of the contract: every sentence of the page stands in `field_sentences`, so that the page
words none itself, and has none for a pick.
"""

from __future__ import annotations

import json

import polars as pl
import pytest

from dashboards.figures import (
    agencies,
    cohorts,
    costs,
    dose,
    forecasts,
    grids,
    lifetimes,
    rates,
    regions,
    treatments,
    warnings,
)
from dashboards.figures.behind import Linked
from dashboards.figures.cuts import field_of, step_of
from dashboards.figures.stands_out import stands_out
from dashboards.hiding import hide_names
from dashboards.pages import field as field_page
from tests.unit.dashboards.field_sample import SENTENCES

SECTIONS = (
    grids, dose, regions, lifetimes, treatments, cohorts, warnings, forecasts, costs, agencies,
    rates,
)  # fmt: skip
TOLD = {sentence for *_, sentence in SENTENCES}


@pytest.fixture(scope="module")
def field(sample):
    """The field of the invented data."""
    return field_of(sample.page_data(4))


def _views(section) -> dict:
    return {figure.key: figure.views for figure in section.figures}


def _of(sample, **tables):
    """The field with these tables in place of the sample's."""
    return field_of(sample.page_data(2, figures=sample.figures() | tables))


def test_every_figure_has_chart_table_sample_and_its_own_sentence(field) -> None:
    """No view lacks chart, table or sample, and none says what no figure says."""
    sections = [module.section(field).figures for module in SECTIONS]
    assert all(sections)
    said = set()
    for figure in [figure for figures in sections for figure in figures]:
        assert figure.views
        for key, view in figure.views.items():
            where = f"{figure.key} {key}"
            assert view.sample.endswith("."), where
            assert view.table, where
            assert view.charts, where
            assert {len(row) for row in view.table} == {len(view.columns)}, where
            said |= {view.says}
            if not key.endswith("/all") and figure.key != "dose":  # doses have one a family
                assert view.says == "", where
    assert said - {""} <= TOLD
    assert len(said) > 8


def test_rates_go_by_rate_and_open_their_failures(field) -> None:
    """The highest solid rate is first; each count and dot selects its row's dimensions."""
    view = _views(rates.section(field))["rates"]["profile/all"]
    names = view.charts["rates"]["lists"]["names"]
    assert names == ["within limits", "chloramine", "scale-forming"]
    assert view.table[0][:3] == [
        "within limits", Linked("28", "profile=within%20limits"), "100",
    ]  # fmt: skip
    top = view.charts["rates"]["rows"]["rows"][0]
    assert (top["value"], top["low"], top["high"]) == (18.0, 13.0, 24.0)
    assert top["to"] == "profile=within%20limits"
    assert top["text"] == "18.0 per 100 unit-years (13.0 to 24.0)"
    assert _views(rates.section(field))["rates"]["family/all"].says == (
        "No family stands out from the others."
    )


def test_what_has_an_order_of_its_own_keeps_it(field) -> None:
    """Quarters go by time though their rates fall; their selection and event are those of a row."""
    view = _views(rates.section(field))["rates"]["entry/all"]
    assert [row[0] for row in view.table] == ["2025-Q1", "2025-Q2", "2025-Q3", "2025-Q4"]
    assert view.table[1][1] == Linked("18", "entry=2025-Q2")
    assert view.sample == "70 failures in 400.0 unit-years."


def test_needs_do_not_add_up_and_say_so(field) -> None:
    """Days with two needs stand in both rows: no sum is told."""
    view = _views(rates.section(field))["rates"]["need/all"]
    assert view.sample == ("3 needs. A day with two needs counts in both rows: they do not add up.")
    assert view.says == "By need: scale is higher."


def test_thin_figures_are_never_ranked(sample) -> None:
    """A thin group cannot stand first, however high its rate."""
    table = sample.figures()["rates"].with_columns(
        thin=pl.col("profile").is_in(["within limits", "chloramine"])
    )
    field = field_of(sample.page_data(2, figures={"rates": table}))
    view = _views(rates.section(field))["rates"]["profile/all"]
    assert view.charts["rates"]["lists"]["names"][0] == "scale-forming"


def test_a_picked_region_fills_what_is_cut_by_it(field) -> None:
    """A region picks its own profiles and their failures."""
    views = _views(rates.section(field))["rates"]
    rows = views["profile/region=US-KS"].table
    assert {row[0] for row in rows} == {"scale-forming", "chloramine", "within limits"}
    assert {row[1].to for row in rows} == {
        f"region=US-KS&profile={name}"
        for name in ("scale-forming", "chloramine", "within%20limits")
    }
    assert "family/region=US-KS" not in views


def test_cells_of_pairs_are_shaded_by_their_rate(field) -> None:
    """Deeper where higher, hollow where thin; each opens its pair; classes by their failures."""
    view = _views(grids.section(field))["causes"]["need/all"]
    cells = {(c["group"], c["cause"]): c for c in view.charts["cause_grid"]["rows"]["rows"]}
    assert cells["chloride", "electrical"]["step"] == "5"  # 25 of 25
    assert cells["scale", "scale"]["step"] == "3"  # 14 of 25
    assert cells["none", "scale"]["step"] == "1"  # 4 of 25
    assert cells["scale", "scale"]["to"] == "need=scale&cause_class=scale"
    assert cells["scale", "scale"]["rate_text"] == "14"
    lists = view.charts["cause_grid"]["lists"]
    assert lists == {"groups": ["chloride", "none", "scale"], "causes": ["electrical", "scale"]}
    assert ["scale", "scale", Linked("14", "need=scale&cause_class=scale")] == view.table[-1][:3]
    assert view.sample.startswith("6 pairs with failures. A day with two needs")
    season = _views(grids.section(field))["causes"]["season/all"].charts["cause_grid"]["lists"]
    assert season == {"groups": ["winter", "summer"], "causes": ["cold", "mild"]}


def test_pairs_without_a_failure_are_drawn_and_not_counted(sample) -> None:
    """A cell of zero stands in the grid; table and count leave it out."""
    winter = (pl.col("by") == "season,cold_supply") & (pl.col("value_1") == "winter")
    table = sample.figures()["slice_rates"].with_columns(
        failures=pl.when(winter).then(0).otherwise("failures")
    )
    view = _views(grids.section(_of(sample, slice_rates=table)))["causes"]["season/all"]
    assert len(view.charts["cause_grid"]["rows"]["rows"]) == 4
    assert [row[0] for row in view.table] == ["summer", "summer"]
    assert view.sample == "16 failures; 2 pairs with failures."


@pytest.mark.parametrize(
    ("value", "step"),
    [(0.0, "1"), (19.9, "1"), (20.0, "2"), (59.9, "3"), (60.0, "4"), (80.0, "5"), (100.0, "5")],
)
def test_shades_part_the_range_in_five(value: float, step: str) -> None:
    """Five equal steps up to the top, the edge with the step above; nothing known is hollow."""
    assert step_of(value, 100.0) == step
    assert step_of(None, 100.0) == step_of(5.0, 0.0) == "thin"


def test_dose_response_has_limit_step_and_ranges(field) -> None:
    """Ranges of the limit on a log axis, the first from an eighth, the last to the curve's end."""
    section = dose.section(field)
    assert section.choices == [("hardness_mg_l_caco3 scale", "Hardness: scale failures")]
    view = section.figures[0].views["hardness_mg_l_caco3 scale/all"]
    assert view.says == "Hardness: above 56 scale fails more."
    chart = view.charts["dose_response"]
    bars = chart["rows"]["bins"]
    assert [(bar["start"], bar["end"]) for bar in bars[:2]] == [(7.5, 15.0), (15.0, 30.0)]
    assert (bars[-1]["start"], bars[-1]["end"]) == (300.0, 700.0)
    assert bars[0]["middle"] == pytest.approx(112.5**0.5, rel=1e-5)
    assert [bar["thin"] for bar in bars[:2]] == [True, False]
    assert bars[4]["text"] == "above 60 to 75: 16.0 per 100 unit-years (9.60 to 24.0)"
    assert bars[4]["to"] == "event=scale&dose=hardness_mg_l_caco3%2F60%3A5%3Aunprotected"
    assert chart["rows"]["limit"] == [{"value": 60.0, "text": "limit 60"}]
    assert chart["rows"]["step"] == [
        {"at": 56.5, "low": 51.0, "high": 62.0, "text": "step at 56.5 (51 to 62)"}
    ]
    assert chart["lists"] == {
        "x_title": ["Hardness, mg/L CaCO₃ (log scale)"],
        "y_title": ["Scale failures per 100 unit-years"],
    }
    assert view.sample == (
        "85 failures in 500.0 unprotected unit-years with a known value; 3 failures in 50.00 "
        "without."
    )
    of_family = section.figures[0].views["hardness_mg_l_caco3 scale/family=Linn"]
    assert of_family.table[0][2].to.startswith("family=Linn&event=scale&dose=")


def test_the_table_of_doses_has_both_kinds_of_days(field) -> None:
    """Unprotected days first, then all; what is not known last of each."""
    view = dose.section(field).figures[0].views["hardness_mg_l_caco3 scale/all"]
    assert len(view.table) == 22
    assert [row[1] for row in view.table] == ["unprotected"] * 11 + ["all"] * 11
    assert view.table[0][0] == "up to 15 (thin)"
    assert view.table[9][0] == "above 300"
    assert view.table[10][0] == "not known (thin)"
    assert view.table[11][2] == Linked("4", "event=scale&dose=hardness_mg_l_caco3%2F60%3A1")


def test_no_step_is_drawn_where_none_is_found(sample) -> None:
    """Without a step, or where it cannot be told, the limit stands alone."""
    for verdict in ("no_step", None):
        step = sample.figures()["dose_step"].with_columns(verdict=pl.lit(verdict, pl.String))
        view = dose.section(_of(sample, dose_step=step)).figures[0].views
        rows = view["hardness_mg_l_caco3 scale/all"].charts["dose_response"]["rows"]
        assert rows["step"] == []
        assert len(rows["limit"]) == 1


def test_the_crude_funnel_blames_no_region(field) -> None:
    """A crude ratio far out flags nobody (version 2 of the contract: the adjusted one does)."""
    view = _views(regions.section(field))["regions"]["water/all"]
    assert view.says == "No region stands out from the others."
    dots = view.charts["funnel"]["rows"]["rows"]
    assert [dot["ratio"] for dot in dots] == [0.4, 1.0, 2.6]
    assert not any(dot["flagged"] for dot in dots)
    assert {row[0]: row[-1] for row in view.table} == dict.fromkeys(
        ("Colorado", "Kansas", "New Mexico"), "no"
    )
    assert view.table[0][:2] == ["New Mexico", Linked("32", "region=US-NM&event=water")]


@pytest.mark.parametrize(
    ("ratio", "low", "high", "band"),
    [
        (0.49, 0.3, 0.9, "under 0.5"),
        (0.5, 0.3, 0.9, "0.5 to 0.8"),
        (0.8, 0.7, 0.9, "0.8 to 1.25"),
        (1.25, 1.1, 1.4, "1.25 to 2"),
        (2.0, 1.1, 4.0, "2 or more"),
        (2.0, 0.9, 4.0, "limits hold 1"),
        (2.0, None, None, "limits hold 1"),
        (None, None, None, "thin"),
    ],
)
def test_a_tile_has_a_color_where_its_limits_leave_1_out(ratio, low, high, band) -> None:
    """Bands of the adjusted ratio, the edge with the band above; uncertain ones have none."""
    row = {"thin": False, "adjusted_ratio": ratio, "adjusted_low": low, "adjusted_high": high}
    assert regions.band(row) == band
    assert regions.band(row | {"thin": True}) == "thin"


def test_the_map_tells_uncertainty_and_who_is_not_on_it(sample) -> None:
    """Each tile has its ratio and limits; a region without a place is named."""
    data = sample.page_data(2)
    gone = pl.when(pl.col("region") == "US-KS").then(None).otherwise("tile_row")
    data = sample.page_data(2, regions=data.regions.with_columns(tile_row=gone))
    view = _views(regions.section(field_of(data)))["regions"]["water/all"]
    tiles = view.charts["adjusted_map"]["rows"]["rows"]
    assert {tile["label"] for tile in tiles} == {"CO", "NM"}
    assert {(tile["ratio"], tile["limits"]) for tile in tiles} == {("1.1", "0.80–1.5")}
    assert "Kansas is not on the map, for want of a place" in view.sample


def test_what_no_method_can_part_is_told(sample) -> None:
    """A confounded region is named beside the figure, and its row says so."""
    apart = pl.col("region") == "US-KS"
    table = sample.figures()["regions"].with_columns(confounded=apart)
    view = _views(regions.section(_of(sample, regions=table)))["regions"]["water/all"]
    assert "In Kansas region and water hardly overlap: no method can part them." in view.sample
    assert {row[0]: row[-1] for row in view.table}["Kansas"] == "cannot be told"
    sure = _views(regions.section(field_of(sample.page_data(2))))["regions"]["water/all"]
    assert "no method" not in sure.sample


def test_survival_is_standardized_and_ends_with_its_curves(field) -> None:
    """Curves by treatment with the units at risk below; states without a curve are named."""
    view = _views(lifetimes.section(field))["survival"]["water treatment/all"]
    assert view.says == "By 24 months 60% had no failure."
    rows = view.charts["survival"]["rows"]
    assert view.charts["survival"]["lists"]["groups"] == ["all", "treated", "untreated"]
    assert max(row["months"] for row in rows["rows"]) == 24
    assert [(r["group"], r["months"], r["label"]) for r in rows["risk"]][:3] == [
        ("all", 0, "120"), ("all", 6, "96"), ("all", 12, "72"),
    ]  # fmt: skip
    assert {row["y"] for row in rows["risk"] if row["group"] == "treated"} == {390}
    last = next(r for r in rows["rows"] if r["group"] == "untreated" and r["months"] == 12)
    assert last["value"] == 0.76
    assert last["to"] == "treatment=untreated&first=water&age_to=365"
    assert view.table[0] == ["all", "0", "120", "100.0%", "90.0% to 110.0%"]


def test_families_have_their_own_curves_with_first_failures(field) -> None:
    """A family's row opens the first failures up to its month of 30.4375 days."""
    view = _views(lifetimes.section(field))["survival"]["water family/all"]
    assert view.table[1] == [
        "Beck", "6", "108", Linked("6", "family=Beck&first=water&age_to=182"), "97.0%",
        "92.0% to 100.0%",
    ]  # fmt: skip
    assert max(int(row[1]) for row in view.table) == 48


def test_counts_and_costs_stand_in_one_figure(field) -> None:
    """The mean count and cost of the same group and month, each its own curve."""
    view = _views(lifetimes.section(field))["repeats"]["water treatment/all"]
    row = next(row for row in view.table if row[:2] == ["untreated", "12"])
    assert row[2:] == ["72", "1.20", "1.08 to 1.32", "1.20", "1.08 to 1.32"]
    counts = view.charts["mean_count"]["rows"]["rows"]
    assert {r["group"] for r in counts} == {"all", "treated", "untreated"}
    assert counts[12]["to"] == "event=water&age_to=365"
    assert "USD" in view.charts["mean_cost"]["rows"]["rows"][0]["text"]


def test_what_is_extrapolated_is_marked(sample) -> None:
    """Within the watch an age is told plain; beyond it, the table alone has it, marked."""
    view = _views(lifetimes.section(field_of(sample.page_data(2))))["weibull"]
    view = view["water treatment/all"]
    assert view.says == "10 % of units have a first failure by 12.0 months."
    assert view.table[0][3] == "60.0 (extrapolated)"
    assert view.table[0][5] == "12.0"
    plotted = view.charts["probability_plot"]["rows"]["rows"]
    assert [row["age_days"] for row in plotted] == [180, 360, 720]
    assert plotted[0]["to"] == "first=water&age_to=180"
    beyond = sample.figures()["weibull"].with_columns(b10_extrapolated=pl.lit(True))
    view = _views(lifetimes.section(_of(sample, weibull=beyond)))["weibull"]
    assert view["water treatment/all"].table[0][5] == "12.0 (extrapolated)"


def test_first_causes_have_the_largest_share_first(field) -> None:
    """Classes by the share that failed first of them; a dot opens those first failures."""
    view = _views(lifetimes.section(field))["first-causes"]["*/all"]
    chart = view.charts["incidence"]
    assert set(chart["lists"]["groups"]) == {"scale", "electrical"}
    # All causes share the same units at risk.
    assert [row["label"] for row in chart["rows"]["named"]] == ["At risk ", "units "]
    assert chart["rows"]["rows"][6]["to"] == "first=electrical&age_to=182"


def test_first_causes_leave_out_what_never_happened_and_end_in_time(sample) -> None:
    """A class of which no unit failed first has no curve; months beyond the end are not drawn."""
    table = sample.figures()["first_causes"].with_columns(
        incidence=pl.when(pl.col("cause_class") == "scale").then(0.0).otherwise("incidence"),
        shown=pl.col("months") <= 12,
    )
    view = _views(lifetimes.section(_of(sample, first_causes=table)))["first-causes"]["*/all"]
    chart = view.charts["incidence"]
    assert chart["lists"]["groups"] == ["electrical"]
    assert max(row["months"] for row in chart["rows"]["rows"]) == 12
    assert {row[1] for row in view.table} == {"0", "6", "12"}


def test_back_test_shows_what_happened(field) -> None:
    """Last year's forecast beside what happened, month by month; a count opens its month."""
    view = _views(forecasts.section(field))["back-test"]["*/all"]
    assert view.table[0] == [
        "2025-04", "10.0", "7.00 to 13.0", "5.00 to 16.0",
        Linked("9", "failed_from=2025-04-01&failed_to=2025-04-30"),
    ]  # fmt: skip
    point = view.charts["back_test"]["rows"]["rows"][0]
    assert (point["value"], point["low_80"], point["high_95"], point["actual"]) == (10, 7, 16, 9)


def test_a_month_without_an_estimate_is_told_and_not_drawn(sample) -> None:
    """What cannot be estimated has a dash in the table, no mark, and its reason beside it."""
    table = sample.figures()["forecast"].with_columns(
        failures=pl.when(pl.col("month").dt.month() == 4).then(None).otherwise("failures"),
        note=pl.lit("cannot be made"),
    )
    views = _views(forecasts.section(_of(sample, forecast=table)))
    for figure, part in (("forecast", "forecast_fan"), ("back-test", "back_test")):
        view = views[figure]["*/all"]
        assert view.table[0][:2] == [view.table[0][0], "–"]
        assert len(view.charts[part]["rows"]["rows"]) == len(view.table) - 1 == 8
    gone = table.with_columns(failures=pl.lit(None, pl.Float64))
    says = _views(forecasts.section(_of(sample, forecast=gone)))["forecast"]["*/all"].sample
    assert says == "9 months from 31 March 2026. The forecast cannot be made."


def test_causes_share_everyones_time(field) -> None:
    """A slice by cause parts the failures alone: unit-years are told once."""
    view = _views(rates.section(field))["rates"]["cause_class/all"]
    assert view.sample == "77 failures in 200.0 unit-years."  # 38 and 39, by place


def test_treatment_says_that_association_is_no_proof(field) -> None:
    """The caution stands beside the ratios whatever they show; dots open the first state."""
    section = treatments.section(field)
    assert section.cautions[0].startswith("This is association, not proof")
    view = _views(section)["treatment-ratios"]["water/all"]
    assert view.says == "Treated units have fewer first failures."
    rows = view.charts["treatment_ratios"]["rows"]["rows"]
    assert [row["name"].split(", ")[1] for row in rows] == [
        "crude", "needs and family", "same age",
    ]  # fmt: skip
    assert {(row["value"], row["low"], row["high"]) for row in rows} == {(0.4, 0.3, 0.6)}
    assert {row["to"] for row in rows} == {"treatment=treated&event=water"}
    rate = _views(section)["treatment-rates"]["water/all"].table[0]
    assert rate[:2] == [
        "treated and kept up", Linked("10", "treatment=treated&event=water"),
    ]  # fmt: skip


def test_immature_and_projected_cells_show_the_completed_figure(sample, field) -> None:
    """Such a cell is marked and carries the completed number; a known one its own."""
    rows = _views(cohorts.section(field))["cohorts"]["any/all"].charts["cohort_grid"]["rows"][
        "rows"
    ]
    cells = {(row["cohort"], row["months"]): row for row in rows}
    assert cells["2025-Q3", 12]["step"] == "immature"
    assert cells["2025-Q3", 12]["cell"] == "13"
    assert cells["2024-Q4", 12]["cell"] == "12"
    assert cells["2024-Q4", 12]["step"] == "5"
    assert cells["2024-Q4", 12]["to"] == "entry=2024-Q4&age_to=365"
    row = {"projected": True, "immature": False, "mean_per_100": None, "completed_per_100": 9.0}
    assert (cohorts.state_of(row), cohorts.shown_value(row)) == ("projected", 9.0)


def test_cohorts_end_with_what_is_shown(field) -> None:
    """Beyond 20 units at risk nothing is drawn or told."""
    view = _views(cohorts.section(field))["cohorts"]["any/all"]
    drawn = {row["months"] for row in view.charts["cohort_grid"]["rows"]["rows"]}
    assert drawn == {3, 6, 9, 12}
    assert {int(line[1]) for line in view.table} == drawn
    known = next(line for line in view.table if line[:2] == ["2024-Q4", "9"])
    assert known[2:7] == [
        "80", "44", Linked("9", "entry=2024-Q4&age_to=273"), "9.00", "8.00 to 11.0",
    ]  # fmt: skip


def test_quarters_stand_against_what_all_lead_to_expect(field) -> None:
    """In order of time; one without a failure has no place on a log axis, and is named."""
    view = _views(cohorts.section(field))["cohort-ratios"]["any/all"]
    assert view.says == "No quarter of entry stands out from the others."
    dots = view.charts["cohort_ratios"]["rows"]["rows"]
    assert [(dot["name"], dot["value"], dot["to"]) for dot in dots] == [
        ("2025-Q2", 1.5, "entry=2025-Q2")
    ]
    assert view.sample == (
        "30 failures in 2 quarters of entry. Without a failure, and so not drawn: 2025-Q3."
    )


def test_pairs_are_drawn_one_at_a_time_the_most_pressing_first(field) -> None:
    """One chart a pair; its months open their failures; the table has every pair."""
    section = warnings.section(field)
    assert len(section.choices) == 4
    view = section.figures[0].views["Beck electrical/all"]
    rows = view.charts["watch_line"]["rows"]["rows"]
    assert [row["alarm"] for row in rows[:5]] == [False, False, False, True, False]
    assert rows[0]["to"] == "family=Beck&cause_class=electrical&month=2025-01"
    assert [line[-1] for line in view.table] == ["2025-09"] * 4
    assert view.table[0][1:3] == [
        "2025-12", Linked("0", "family=Beck&cause_class=electrical&month=2025-12"),
    ]  # fmt: skip


def test_costs_go_by_their_sum_with_the_currency(field) -> None:
    """The largest first; a bar a line of money; a bar opens its failures."""
    view = _views(costs.section(field))["costs"]["family/all"]
    assert view.table[0][0] == "Linn"
    assert view.table[0][1:5] == ["905.00", "500.00", "100.00", "1,505.00"]
    bars = view.charts["cost_bars"]["rows"]["rows"]
    assert [(bar["line"], bar["amount"]) for bar in bars[:3]] == [
        ("parts", 905.0), ("labor", 500.0), ("travel", 100.0),
    ]  # fmt: skip
    assert bars[0]["to"] == "family=Linn"
    assert view.sample == "3,009.00 USD payable over 200.0 unit-years watched."


def test_what_stands_out_is_first_with_its_failures(field) -> None:
    """Flagged values, alarms that stand, agencies to ask: each with count and address."""
    found = stands_out(field)
    assert [(one.what, one.failures, one.address) for one in found.screen] == [
        ("TANK-DRY: season winter, cold supply cold", "37",
         "failures.html#season=winter&cold_supply=cold&cause_class=control&cause=TANK-DRY"),
    ]  # fmt: skip
    assert found.screen[0].how_much == "7.40 times (13.0 to 30.0)"
    assert [(one.what, one.failures) for one in found.alarms] == [
        ("Linn, scale: in alarm since 2025-06", "24")
    ]
    assert found.alarms[0].address.endswith("failed_from=2025-06-01&failed_to=2025-09-30")
    assert found.regions == []
    assert found.regions_say == "No region stands out from the others."
    assert {(one.what, one.failures) for one in found.agencies} >= {
        ("AGENCY3: repairs that came back", "6")
    }


def test_the_screen_draws_what_its_lower_limit_puts_above_1(field) -> None:
    """What passes is full, what may be chance hollow, what lies about 1 in the table alone."""
    screen, alarms = stands_out(field).figures
    view = screen.views["*/all"]
    dots = view.charts["screen"]["rows"]["rows"]
    assert [(dot["name"], dot["thin"]) for dot in dots] == [
        ("TANK-DRY: season winter, cold supply cold", False),
        ("scale: region New Mexico", True),
    ]
    assert dots[0]["text"].endswith("37 failures")
    assert dots[1]["text"].endswith("15 failures; may be chance")
    assert [row[-1] for row in view.table] == ["yes", "no", "no"]
    spans = alarms.views["*/all"].charts["alarm_spans"]["rows"]["rows"]
    assert [(span["state"], span["first"][:10], span["last"][:10]) for span in spans] == [
        ("goes on", "2025-06-01", "2025-10-01"), ("thin", "2025-01-01", "2025-03-01"),
    ]  # fmt: skip


def test_missing_tables_leave_their_sections_out(sample) -> None:
    """Without a table there is no section, and without any figure the page says so."""
    only = field_page.content(sample.page_data(2, figures={"rates": sample.figures()["rates"]}))
    assert [section.key for section in only["sections"]] == ["causes", "rates"]
    none = field_page.content(sample.page_data(2, figures={}))
    assert none["sections"] == []
    assert none["summary"] == "No field figures yet."


def test_notes_of_the_estimates_stand_beside_them(field) -> None:
    """A sentence that an estimate needs is shown with its section."""
    assert rates.section(field).cautions == ["3 units have a clock start taken from shipment."]


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
    assert any("900" in cell for row in view["family/all"].table for cell in map(str, row))


def test_assumptions_on_clocks_and_reports_stand_beside_the_rates(field) -> None:
    """The rates as watched open their failures; those under an assumption are no list."""
    views = _views(rates.section(field))["assumptions"]
    assert [row[:2] for row in views["*/all"].table] == [
        ["as watched", Linked("20.00", "")], ["completed for reports to come", "21.00"],
    ]  # fmt: skip
    assert len(views["*/region=US-KS"].table) == 2
    assert views["*/region=US-KS"].table[0][1].to == "region=US-KS"


def test_page_data_is_json_without_infinities(sample) -> None:
    """What the page's script reads is plain JSON, and every figure has its part."""
    content = field_page.content(sample.page_data(2))
    views = json.loads(content["field"])["views"]
    figures = {figure.key for s in content["sections"] for figure in s.figures}
    assert set(views) == figures | {"screen", "alarms"}
    assert content["summary"] == "300 units had 20 failures."
    assert views["alarms"]["*/all"]["table"][1][3] == [
        "24", "family=Linn&cause_class=scale&failed_from=2025-06-01&failed_to=2025-09-30",
    ]  # fmt: skip


def test_an_agency_that_stands_out_is_asked_about(field) -> None:
    """The measure's sentence stands beside it; the caution is always there."""
    section = agencies.section(field)
    assert section.cautions[0].startswith("A flag is a reason to ask, and no finding")
    view = _views(section)["agencies"]["returns/all"]
    assert view.says == "4 of 40 repairs came back. AGENCY3: 8 of 40 came back."
    assert view.sample == "160 repairs followed of 4 agencies."
    rows = view.charts["agency_returns"]["rows"]
    assert len(rows["rows"]) == len(rows["limits"]) == 4
    assert [row["name"] for row in rows["rows"] if row["flagged"]] == ["AGENCY3"]
    assert view.table[0][0] == Linked("AGENCY3", "agency=AGENCY3")


def test_hidden_agencies_have_no_section(sample) -> None:
    """Where the settings hide agencies, nothing compares them."""
    shown = hide_names(sample.page_data(2, hide=("agency",)))
    assert agencies.section(field_of(shown)) is None
    assert "AGENCY" not in json.dumps(field_page.content(shown), default=str)


def test_one_quarter_and_one_failure_are_counted_as_one() -> None:
    """The sample sizes of a fleet of one unit."""
    from dashboards.figures.assumptions import _view
    from dashboards.figures.cohorts import _grid_view

    row = {
        "region": "all", "assumption": "as watched", "failures": 1.0, "units": 1,
        "unit_years": 0.5, "rate_per_100": 200.0, "low": 5.0, "high": 1100.0, "thin": True,
    }  # fmt: skip
    assert _view([row]).sample == "1 failure in 0.5000 unit-years of 1 unit."
    cell = {"cohort": "2025-Q1", "units": 1, "months": 0, "shown": False, "projected": False}
    assert _grid_view([cell], "").sample.startswith("1 unit in 1 quarter of entry")
