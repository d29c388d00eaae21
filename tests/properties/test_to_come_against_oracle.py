"""Forecast, projections, doses and moved limits against a slow second reading of their page.

Source of the expectations: the contract's page, read one unit and one day at a time in plain
Python; rates beside statsmodels' Poisson regression, predictive counts beside scipy's `nbinom`.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from pipelines.field import cohort_projection, days_to_come
from pipelines.field.changed_limits import Moved, moved_for_units, moved_limits
from pipelines.field.cohorts import cohorts
from pipelines.field.context import FieldContext, Grounds
from pipelines.field.dose_bins import dose_bins
from pipelines.field.figures import figure
from pipelines.field.moved_limits import expected
from pipelines.field.outlook import outlook
from pipelines.field.pending import settled_claims, shares
from pipelines.field.reporting_lag import lag_law, share_reported
from tests.field_fleets import drawn

BANDS = ((0, "0-6"), (183, "6-12"), (366, "12-24"), (731, "24+"))
DAY = dt.timedelta(days=1)


def band(age: int) -> str:
    """The band of an age in days."""
    return [word for start, word in BANDS if age >= start][-1]


@pytest.fixture(scope="module")
def fleet() -> FieldContext:
    """Two families, two waters, every failure reported at once."""
    return drawn(3, shipped_a_month=12, late=1.0).context


def test_rates_are_those_of_a_poisson_regression(fleet: FieldContext) -> None:
    """Ratios and limits of family, needs and age equal statsmodels' on days counted one by one."""
    import statsmodels.api as sm

    cells: dict[tuple[str, str, str, str], list[int]] = {}
    for unit in fleet.units.filter(pl.col("watched_days") > 0).to_dicts():
        needs = "scale" if unit["profile"] == "scale-forming" else "none"
        for age in range(unit["watched_days"]):
            month = f"{unit['watched_from'] + age * DAY:%Y-%m}"
            cells.setdefault((unit["family"], needs, band(age), month), [0, 0])[0] += 1
    for row in fleet.failures.to_dicts():
        month = f"{row['failed_on']:%Y-%m}"
        cells[row["family"], row["needs"], band(row["age"]), month][1] += 1
    model = outlook(fleet, fleet.as_of).model
    assert model is not None
    names = [name for name in model.names if "=" in name]
    design = [[1.0, *(float(name.split("=")[1] in cell) for name in names)] for cell in cells]
    days, count = (np.array(values, dtype=float) for values in zip(*cells.values(), strict=True))
    fit = sm.GLM(
        count, np.array(design), family=sm.families.Poisson(), offset=np.log(days / 365.25)
    ).fit()
    sums: dict[tuple[str, str], list[float]] = {}
    for (family, _, _, month), failed, mean in zip(cells, count, fit.fittedvalues, strict=True):
        cell = sums.setdefault((family, month), [0.0, 0.0])
        cell[0] += failed
        cell[1] += mean
    pearson = sum((failed - mean) ** 2 / mean for failed, mean in sums.values())
    spread = max(1.0, pearson / (len(sums) - 2))
    rows = {row["term"]: row for row in figure(fleet, "forecast_model", ()).to_dicts()}
    assert rows["dispersion"]["estimate"] == pytest.approx(spread, rel=1e-6)
    assert len(names) == 5
    for place, name in enumerate(names, start=1):
        assert rows[name]["estimate"] == pytest.approx(np.exp(fit.params[place]), rel=1e-6)
        wide = 1.959963984540054 * fit.bse[place] * np.sqrt(spread)
        assert rows[name]["high"] == pytest.approx(np.exp(fit.params[place] + wide), rel=1e-6)


def test_the_forecast_is_every_day_to_come_at_its_rate(fleet: FieldContext) -> None:
    """Units that are out, day by day of each coming month, at the rate of family, needs and age."""
    found = outlook(fleet, fleet.as_of)
    rows = figure(fleet, "forecast", ()).filter(
        pl.col("as_of") == fleet.as_of, pl.col("basis") == "installed"
    )
    rate = dict(zip(found.cells.rows(), found.rates, strict=True))
    total = dict.fromkeys(found.months, 0.0)
    last = days_to_come.MONTHS
    assert len(found.months) == rows.height == last == 12
    for unit in found.fleet.to_dicts():
        start, end = (dt.date(1970, 1, 1) + unit[name] * DAY for name in ("starts", "ends"))
        day = max(start, found.months[0])
        while day < min(end, found.until):
            cell = (unit["family"], unit["needs"], band((day - start).days))
            total[day.replace(day=1)] += rate[cell] / 365.25
            day += DAY
    for row in rows.to_dicts():
        assert row["failures"] == pytest.approx(total[row["month"]], rel=1e-6)
        assert row["low_95"] <= row["low_80"] <= row["failures"] <= row["high_80"]
    year = figure(fleet, "forecast_year", ()).filter(
        pl.col("as_of") == fleet.as_of, pl.col("basis") == "installed"
    )
    assert year["failures"].item() == pytest.approx(sum(total.values()), rel=1e-6)
    # Months that are off each by themselves partly make up for each other.
    assert year["low_95"].item() > rows["low_95"].sum()
    assert year["high_95"].item() < rows["high_95"].sum()


def test_bases_add_up_and_sales_follow_shipments(fleet: FieldContext) -> None:
    """Installed and sales come to all; twice the shipments are twice the failures of sales."""
    rows = figure(fleet, "forecast", ()).filter(pl.col("as_of") == fleet.as_of)
    by = {name[0]: part.sort("month") for name, part in rows.group_by("basis")}
    both = by["installed"]["failures"] + by["sales"]["failures"]
    assert both.to_list() == pytest.approx(by["all"]["failures"].to_list())
    assert by["sales"]["failures"].is_sorted()
    found = outlook(fleet, fleet.as_of)
    one, sizes = days_to_come.days_of_one_shipped(found.fleet, fleet.as_of)
    shipments = {name: own.expected for name, own in found.shipments.items()}
    twice = {name: 2 * count for name, count in shipments.items()}
    days, more = (
        days_to_come.days_of_sold(one, sizes, counts, 1.0).days for counts in (shipments, twice)
    )
    np.testing.assert_allclose(more, 2 * days)
    for name, own in found.shipments.items():
        shipped = fleet.units.filter(
            pl.col("family") == name, pl.col("shipped_on") > dt.date(2024, 12, 31)
        )
        if own.trend is None:
            assert own.expected[1:].tolist() == pytest.approx([shipped.height / 12] * 12)


def test_days_of_units_to_be_sold_by_hand() -> None:
    """One unit a month, started on its first day: in the twelfth month eleven before it run."""
    months = pl.date_range(dt.date(2024, 1, 1), dt.date(2025, 12, 1), "1mo", eager=True)
    start = months.cast(pl.Int64)
    fleet = pl.DataFrame(
        {
            "fleet": 0, "family": "Beck", "region": "A", "profile": "B", "startup": "C",
            "needs": "none", "shipped": start, "starts": start, "ends": start + 10_000,
        }
    )  # fmt: skip
    made_on = dt.date(2025, 12, 31)
    coming = days_to_come.shipments_to_come(fleet, made_on)["Beck"]
    assert coming.expected.tolist() == [0.0, *[1.0] * 12]
    one, sizes = days_to_come.days_of_one_shipped(fleet, made_on)
    days = days_to_come.days_of_sold(one, sizes, {"Beck": coming.expected}, 1.0)
    by_month = days.days.sum(axis=(0, 1))
    # The mean of 24 months' lengths (one leap year) stands in for each.
    assert by_month[0] == pytest.approx(731 / 24, rel=0.02)
    assert by_month[11] == pytest.approx(12 * 731 / 24, rel=0.01)
    assert np.diff(by_month).min() > 29


def test_what_waits_counts_by_the_share_that_came_to_be_covered() -> None:
    """Claims that waited once and are decided now, by reason from 20 on; exact limits."""
    decisions = pl.DataFrame(
        {
            "claim": [f"C{n}" for n in range(50)],
            "verdict": ["covered"] * 25 + ["not_covered"] * 5 + ["needs_review"] * 20,
            "standing": ["covered"] * 25 + ["not_covered"] * 15 + ["needs_review"] * 10,
            "lead_reason": [None] * 30 + ["records_agree"] * 20,
        }
    )
    moves = [{"condition": "water_tested", "from": "unknown", "to": "met"}]
    history = pl.DataFrame(
        {
            "claim": [f"C{n}" for n in range(20)],
            "from_verdict": ["needs_evidence"] * 20,
            "to_verdict": ["covered"] * 20,
            "moved_from_to": [moves] * 20,
        }
    )
    settled = settled_claims(decisions, history)
    context = replace(drawn(1, months=6).context, grounds=Grounds(settled=settled))
    told = shares(context)
    assert (told["all"].decided, told["all"].covered) == (30, 20)
    assert told["all"].share == pytest.approx(2 / 3)
    assert set(told) == {"all", "water_tested"}
    assert told["water_tested"].share == 1.0
    # Clopper and Pearson (1934): 0.05/2 to the power of 1/20 where all were.
    assert told["water_tested"].low == pytest.approx(0.025 ** (1 / 20))


def test_a_projection_is_scipys_negative_binomial_where_the_reference_is_exact() -> None:
    """theta gamma, counts Poisson: the quantiles of the count to come are nbinom's."""
    from scipy.stats import nbinom

    step, units = np.full(6, 0.08), np.full(6, 150.0)
    shape, rate = 9.0, 7.5
    months = cohort_projection._Months(step, np.zeros(6), units, units, np.zeros(6))
    random = np.random.default_rng(5)
    draws = np.concatenate(
        [cohort_projection._draws(random, (shape, rate), months, 1.0) for _ in range(40)],
        axis=1,
    )
    counts = 150 * draws[-1]
    mean = 150 * step.sum()
    for share in (0.025, 0.1, 0.5, 0.9, 0.975):
        exact = nbinom.ppf(share, shape, rate / (rate + mean))
        assert np.quantile(counts, share) == pytest.approx(exact, abs=3.0)
    assert counts.mean() == pytest.approx(shape / rate * mean, rel=0.02)


def test_projected_quarters_by_a_slow_reading() -> None:
    """Mean so far + theta x what the families' curves add, with at-risk mixes, month by month."""
    context = drawn(6, shipped_a_month=16, months=40, late=1.0).context
    table = cohorts(context, ()).filter(pl.col("event") == "any")
    units = context.units.filter(pl.col("watched_days") > 0).to_dicts()
    failures: dict[str, list[int]] = {}
    for row in context.failures.to_dicts():
        failures.setdefault(row["serial"], []).append(row["age"])
    quarters: dict[str, list[dict]] = {}
    for unit in units:
        start = unit["watched_from"]
        quarters.setdefault(f"{start.year}-Q{(start.month + 2) // 3}", []).append(unit)
    ends = [m * 487 // 16 for m in range(61)]

    def curve(own: list[dict]) -> list[float]:
        rise = [0.0] * (ends[-1] + 1)
        at = [sum(u["watched_days"] >= age for u in own) for age in range(ends[-1] + 1)]
        for unit in own:
            for age in failures.get(unit["serial"], []):
                rise[age] += 1 / at[age]
        return np.cumsum(rise).tolist()

    families = sorted({u["family"] for u in units})
    reference = {f: curve([u for u in units if u["family"] == f]) for f in families}
    observed, so_far = {}, {}
    for name, own in quarters.items():
        observed[name] = sum(len(failures.get(u["serial"], [])) for u in own)
        so_far[name] = sum(reference[u["family"]][min(u["watched_days"], ends[-1])] for u in own)
    alpha = cohort_projection.alpha_of(
        np.array(list(observed.values()), float), np.array(list(so_far.values()))
    )
    checked = 0
    for row in table.filter("projected", pl.col("completed_per_100").is_not_null()).to_dicts():
        own = quarters[row["cohort"]]
        known = table.filter(pl.col("cohort") == row["cohort"], ~pl.col("projected"))
        last = known["months"].max()
        due = [
            (u["family"], ((u["coverage_end"] - u["watched_from"]).days) * 16 // 487) for u in own
        ]
        added = 0.0
        for month in range(last + 1, row["months"] + 1):
            there = [family for family, most in due if most >= month]
            added += sum(
                there.count(f)
                / len(there)
                * (reference[f][ends[month]] - reference[f][ends[month - 1]])
                for f in families
            )
        theta = (alpha + observed[row["cohort"]]) / (alpha + so_far[row["cohort"]])
        expected_mean = 100 * (curve(own)[ends[last]] + theta * added)
        assert row["completed_per_100"] == pytest.approx(expected_mean, rel=1e-6), row["cohort"]
        assert row["completed_low"] <= row["completed_low_80"] <= row["completed_high_80"]
        assert row["completed_high_80"] <= row["completed_high"]
        checked += 1
    assert checked > 20


def test_completed_means_weigh_by_what_is_reported() -> None:
    """Each failure counts 1 / the share reported after so many days, over units at risk."""
    context = drawn(8, shipped_a_month=25, months=30, late=0.05).context
    law = lag_law(context.failures["failed_on"], context.failures["opened_on"], context.as_of)
    table = cohorts(context, ()).filter(pl.col("event") == "any", "immature", ~pl.col("projected"))
    units = {u["serial"]: u for u in context.units.filter(pl.col("watched_days") > 0).to_dicts()}
    checked = 0
    for row in table.sort("cohort", "months").to_dicts()[::4]:
        own = {
            serial
            for serial, u in units.items()
            if f"{u['watched_from'].year}-Q{(u['watched_from'].month + 2) // 3}" == row["cohort"]
        }
        mean = 0.0
        for failure in context.failures.filter(pl.col("serial").is_in(list(own))).to_dicts():
            if failure["age"] > row["months"] * 30.4375:
                continue
            at = sum(units[serial]["watched_days"] >= failure["age"] for serial in own)
            ago = (context.as_of - failure["failed_on"]).days
            mean += 1 / max(float(share_reported(law, np.array([ago]))[0]), 0.1) / at
        assert row["completed_per_100"] == pytest.approx(100 * mean, rel=1e-6)
        checked += 1
    assert checked > 3


def dosed(seed: int = 4) -> FieldContext:
    """A fleet with a hardness of each unit's site, systems on some days, and limits."""
    random = np.random.default_rng(seed)
    context = drawn(seed, shipped_a_month=10, months=24, late=1.0).context
    serials = context.units["serial"].to_list()
    value = np.round(random.choice([0, 10, 17.5, 35, 70, 87.5, 140, 200, 400], len(serials)), 1)
    below = random.random(len(serials)) < 0.1
    samples = pl.DataFrame(
        {
            "sample": [f"S{n}" for n in range(len(serials))],
            "hardness_mg_l_caco3": np.where(below, np.nan, value),
            "hardness_mg_l_caco3_below": np.where(below, 70.0 + 10 * (value > 80), np.nan),
        }
    ).fill_nan(None)
    told = Grounds().samples.clear()
    samples = pl.concat([told, samples], how="diagonal_relaxed")
    number = {serial: n for n, serial in enumerate(serials)}
    product = {
        s: str(random.choice(["none", "SOFT-1", "SOFT-1+CARB-2", "CARB-2"])) for s in serials
    }
    of_day = {  # of the unit's spans and of its failures alike
        "sample": pl.col("serial").replace_strict(
            {s: f"S{n}" for s, n in number.items()}, return_dtype=pl.String
        ),
        "product": pl.col("serial").replace_strict(product, return_dtype=pl.String),
    }
    limits = pl.DataFrame(
        {
            "family": ["Beck", "Force"],
            "analyte": ["hardness_mg_l_caco3"] * 2,
            "limit": [70.0, 70.0],
            "needs": ["scale"] * 2,
        }
    )
    causes = pl.DataFrame(
        {
            "cause": ["SCALE"], "class": ["scale"], "water_related": [True],
            "abilities": [["scale"]],
        }
    )  # fmt: skip
    grounds = Grounds(
        causes=causes,
        limits=limits,
        needing=("Beck", "Force"),
        systems=(("CARB-2", ("chlorine",)), ("SOFT-1", ("scale",))),
        samples=samples,
    )
    spans, failures = (frame.with_columns(**of_day) for frame in (context.spans, context.failures))
    return replace(context, spans=spans, failures=failures, grounds=grounds)


def test_dose_bins_by_a_slow_reading() -> None:
    """Value over limit, a bin at its upper edge, non-detects by their bound, protected days."""
    context = dosed()
    edges = (0.25, 0.5, 0.75, 1, 1.25, 1.5, 2, 3, 5)
    samples = {row["sample"]: row for row in context.grounds.samples.to_dicts()}
    cells: dict[tuple[str, str, int], list] = {}
    for span in context.spans.to_dicts():
        sample = samples[span["sample"]]
        value, bound = sample["hardness_mg_l_caco3"], sample["hardness_mg_l_caco3_below"]
        if value is None and bound is not None and bound <= 70:
            value = bound
        place = 0 if value is None else 1 + sum(value / 70 > edge for edge in edges)
        family = context.units.filter(pl.col("unit") == span["unit"])["family"].item()
        failed = context.failures.filter(pl.col("serial") == span["serial"], "water_related").height
        kinds = ["all", *([] if "SOFT-1" in span["product"].split("+") else ["unprotected"])]
        for days in kinds:
            for name in (family, "all"):
                cell = cells.setdefault((name, days, place), [0, 0, set()])
                cell[0] += failed
                cell[1] += span["exit"] - span["entry"]
                cell[2].add(span["unit"])
    table = dose_bins(context).filter(pl.col("event") == "water")
    assert {row[0] for row in cells} == set(table["family"])
    assert table.height == len(cells) > 30
    for row in table.to_dicts():
        failures, days, units = cells[row["family"], row["days"], row["bin"]]
        assert (row["failures"], row["units"]) == (failures, len(units))
        assert row["unit_years"] == pytest.approx(days / 365.25, rel=1e-9)
        assert row["rate_per_100"] == pytest.approx(100 * failures / (days / 365.25), rel=1e-6)
        assert row["thin"] == (failures < 5 or len(units) < 10)


def test_a_moved_limit_by_hand() -> None:
    """A laxer one lets those treated for it alone stop; a stricter one makes the others begin."""
    context = dosed()
    context = replace(context, spans=context.spans.with_columns(needs=pl.lit("scale")))
    ratios = pl.DataFrame(
        {
            "by": ["all"], "event": ["water"], "comparison": ["treated vs untreated"],
            "method": ["cox"], "ratio": [0.4], "low": [0.2], "high": [0.8],
        }
    )  # fmt: skip
    laxer = Moved("Force", "hardness_mg_l_caco3", 70.0, 150.0, "scale")
    stricter = Moved("Force", "hardness_mg_l_caco3", 70.0, 30.0, "scale")
    none = Moved("Force", "hardness_mg_l_caco3", 70.0, 71.0, "scale")
    told = expected(context, [laxer, stricter, none], ratios).to_dicts()
    values = {
        row["sample"]: row["hardness_mg_l_caco3"] for row in context.grounds.samples.to_dicts()
    }
    units = {row["unit"]: row for row in context.units.to_dicts()}
    bins = {
        (row["family"], row["bin"]): row
        for row in dose_bins(context)
        .filter(pl.col("event") == "water", pl.col("days") == "unprotected")
        .to_dicts()
    }
    closing = dt.date(2026, 12, 31) + DAY
    for row, low, high, sign in ((told[0], 70, 150, 1), (told[1], 30, 70, -1)):
        years = treated = total = 0.0
        count = 0
        for span in context.spans.filter("last").to_dicts():
            unit, value = units[span["unit"]], values[span["sample"]]
            if unit["family"] != "Force" or value is None or not low < value <= high:
                continue
            end = unit["coverage_end"]
            if end <= context.as_of:
                continue
            own = (min(end, closing) - context.as_of - DAY).days / 365.25
            count += 1
            years += own
            soft = "SOFT-1" in span["product"].split("+")
            treated += own * soft
            if soft == (sign > 0):
                place = 1 + sum(value / 70 > e for e in (0.25, 0.5, 0.75, 1, 1.25, 1.5, 2, 3, 5))
                cell = bins.get(("Force", place))
                if cell is None or cell["failures"] < 5:
                    cell = bins["all", place]
                total += own * cell["failures"] / cell["unit_years"]
        assert (row["units"], row["unit_years"]) == (count, pytest.approx(years, rel=1e-6))
        assert row["treated_unit_years"] == pytest.approx(treated, rel=1e-6)
        assert row["extra_failures"] == pytest.approx(sign * total * 0.6, rel=1e-6)
        assert row["low"] < row["extra_failures"] < row["high"]
        assert row["extra_cost"] == pytest.approx(row["extra_failures"] * 150, rel=1e-6)
        assert "upper bound" in row["note"]
        assert count > 5
    assert (told[2]["units"], told[2]["extra_failures"], told[2]["extra_cost"]) == (0, 0.0, 0.0)


def test_a_moved_minimum_is_laxer_where_it_falls_and_holds_its_own_value() -> None:
    """Values from the lower of the two on, the higher one not among them; signs turn over."""
    context = dosed()
    context = replace(context, spans=context.spans.with_columns(needs=pl.lit("scale")))
    ratios = pl.DataFrame(
        {
            "by": ["all"], "event": ["water"], "comparison": ["treated vs untreated"],
            "method": ["cox"], "ratio": [0.4], "low": [0.2], "high": [0.8],
        }
    )  # fmt: skip
    before = pl.DataFrame(
        {"family": "Force", "analyte": "hardness_mg_l_caco3", "limit": [70.0], "needs": "scale"}
    )
    (falls,) = moved_limits(before, before.with_columns(limit=35.0), lower=True)
    (rises,) = moved_limits(before, before.with_columns(limit=87.5), lower=True)
    (gone,) = moved_limits(before, before.clear(), lower=True)
    assert (falls.laxer, rises.laxer, gone.laxer, gone.after) == (True, False, True, -np.inf)
    told = expected(context, [falls, rises], ratios).to_dicts()
    samples = dict(context.grounds.samples.select("sample", "hardness_mg_l_caco3").rows())
    cover = dict(context.units.select("unit", "coverage_end").rows())
    families = dict(context.units.select("unit", "family").rows())
    for row, value, sign in ((told[0], 35.0, 1), (told[1], 70.0, -1)):
        own = [
            span
            for span in context.spans.filter("last").to_dicts()
            if families[span["unit"]] == "Force"
            and samples[span["sample"]] == value
            and cover[span["unit"]] > context.as_of
        ]
        assert row["units"] == len(own) > 0
        assert row["extra_failures"] * sign > 0


def test_a_unit_goes_by_the_limits_of_its_own_edition() -> None:
    """Two editions of which one moves: its units alone, also those that change their edition."""
    analyte = "hardness_mg_l_caco3"
    editions = pl.DataFrame(
        {
            "serial": ["A", "B", "C", "D"],
            "family": ["Force"] * 4,
            "edition": ["old", "new", "old", None],
            "edition_after": ["old", "new", "new", "new"],
        }
    )
    limits = pl.DataFrame(
        {
            "edition": ["old", "new"], "family": ["Force"] * 2, "analyte": [analyte] * 2,
            "limit": [70.0, 60.0], "needs": ["scale"] * 2,
        }
    )  # fmt: skip
    laxer = limits.with_columns(limit=pl.when(pl.col("edition") == "old").then(90.0).otherwise(60))
    moved = moved_for_units(editions, limits, laxer)
    assert [(one[:5], [*one.serials]) for one in moved] == [
        (("Force", analyte, 70.0, 60.0, "scale"), ["C"]),
        (("Force", analyte, 70.0, 90.0, "scale"), ["A"]),
    ]
    context = dosed()
    ratios = pl.DataFrame(
        {
            "by": ["all"], "event": ["water"], "comparison": ["treated vs untreated"],
            "method": ["cox"], "ratio": [0.4], "low": [0.2], "high": [0.8],
        }
    )  # fmt: skip
    whole = Moved("Force", analyte, 70.0, 150.0, "scale")
    some = context.units.filter(pl.col("family") == "Force")["serial"][::2]
    parts = [
        whole._replace(serials=chosen)
        for chosen in (
            some,
            context.units.filter(~pl.col("serial").is_in(some.implode()))["serial"],
        )
    ]
    told = expected(context, [whole, *parts], ratios).to_dicts()
    assert 0 < told[1]["units"] < told[0]["units"]
    assert told[1]["units"] + told[2]["units"] == told[0]["units"]


def test_a_limit_that_is_added_comes_to_what_the_same_limit_does_in_the_terms() -> None:
    """Of days at the values of an analyte without a maximum there are rates all the same."""
    ratios = pl.DataFrame(
        {
            "by": ["all"], "event": ["water"], "comparison": ["treated vs untreated"],
            "method": ["cox"], "ratio": [0.4], "low": [0.2], "high": [0.8],
        }
    )  # fmt: skip
    added = Moved("Force", "hardness_mg_l_caco3", np.inf, 70.0, "scale")
    known, unknown = dosed(), dosed()
    unknown = replace(
        unknown, grounds=replace(unknown.grounds, limits=unknown.grounds.limits.clear())
    )
    rows = [expected(context, [added], ratios).to_dicts()[0] for context in (known, unknown)]
    assert rows[0]["extra_failures"] < 0
    assert rows[0] == rows[1]
    assert "upper bound" in rows[1]["note"]
