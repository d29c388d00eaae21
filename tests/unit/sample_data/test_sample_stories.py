"""The planted stories show in plain counts, without any of the product's own statistics."""

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm

from sample_data.calls import coverage_end
from sample_data.days import NONE
from sample_data.documents import draw_startups
from sample_data.editions import ABILITIES, reference, waters
from sample_data.failures import draw_failures, repair_kinds
from sample_data.generate import SEED, Shape, make_feeds
from sample_data.installation import draw_installation
from sample_data.population import AS_OF, SITES_PER_UNIT, draw_sites, draw_units
from sample_data.stories import STORIES
from sample_data.treatment import draw_treatment


@pytest.fixture(scope="module")
def feeds():
    """The sample's feeds before anything was planted between records."""
    return make_feeds(Shape())


@pytest.fixture(scope="module")
def repairs(feeds):
    """Repair calls with the unit's model and region."""
    units = feeds.units.select("serial", "model", "region", "installed_on", "shipped_on")
    calls = feeds.service_calls.filter(pl.col("kind") == "repair")
    written = pl.col("serial").str.to_uppercase().str.replace_all(" ", "-")
    joined = calls.with_columns(written).join(units, on="serial", how="left")
    assert joined["model"].null_count() == 0
    return joined


@pytest.fixture(scope="module")
def lives():
    """What really happened: units, treatment, failures, and the end of each unit's watch."""
    shape = Shape()
    sites = draw_sites(round(shape.units * SITES_PER_UNIT), SEED)
    units = draw_units(shape.units, sites, SEED)
    treatment = draw_treatment(units, SEED)
    agencies = reference("agencies")["agency"].unique().sort().to_list()
    installation = draw_installation(units, SEED)
    failures = draw_failures(units, treatment, installation, agencies, SEED)
    last = np.where(units.retired == NONE, AS_OF, units.retired) + 1
    end = np.minimum(coverage_end(units, draw_startups(units, SEED)), last)
    return units, treatment, failures, np.maximum(end, units.clock)


def _rate(lives, mask, start, stop, groups):
    """Failures of these groups of causes per unit-year of the chosen stretch of life."""
    units, _, failures, end = lives
    start = np.clip(start, units.clock, end)
    stop = np.clip(stop, start, end)
    of = repair_kinds()["group"].is_in(groups).to_numpy()[failures.cause]
    unit = failures.unit
    inside = of & mask[unit] & (failures.on >= start[unit]) & (failures.on < stop[unit])
    return inside.sum() / ((stop - start)[mask].sum() / 365.25)


def test_region_looks_bad_because_of_its_water(lives):
    """A Poisson regression (statsmodels) with the waters' needs lets Arizona's ratio fall to 1."""
    units, _, failures, end = lives
    story = STORIES["water_not_the_region"]
    years = (end - units.clock) / 365.25
    inside = failures.on < end[failures.unit]
    count = np.bincount(failures.unit[inside], minlength=len(units))
    here = waters()["region"].to_list().index(story["region"])
    mine = units.region == here
    crude = count[mine].sum() / years[mine].sum() * years.sum() / count.sum()
    assert crude > story["crude_ratio_above"]
    number = units.needs.sum(axis=1)
    profile = np.where(number > 1, 9, np.where(number == 1, units.needs.argmax(axis=1), 8))
    terms = [mine * 1.0, *(profile == p for p in np.unique(profile)[1:])]
    terms += [units.family == f for f in range(1, 4)]
    watched = years > 0
    design = sm.add_constant(np.column_stack(terms).astype(float)[watched])
    model = sm.GLM(count[watched], design, sm.families.Poisson(), exposure=years[watched])
    fit = model.fit()
    assert np.exp(fit.params[1]) < story["adjusted_ratio_below"]


def test_treatment_halves_the_hazard_while_kept_up(lives):
    """Water-caused failures per unit-year: kept up over untreated lies around a half."""
    units, treatment, _, end = lives
    story = STORIES["treatment_kept_up"]
    groups = ["scale", "corrosion", "chlorine", "chloramine", "silica", "sediment"]
    need = units.needs.any(axis=1) & (units.family > 0)
    full = need & (~units.needs | treatment.removes).all(axis=1)
    kept = _rate(lives, full, treatment.works_from, treatment.works_until, groups)
    before = np.where(full, treatment.works_from, end)
    ratio = kept / _rate(lives, need, units.clock, before, groups)
    assert story["ratio_above"] < ratio < story["ratio_below"]


def test_chloramine_passes_the_membrane(lives):
    """At chloramine, a membrane alone leaves far more of its failures than catalytic carbon."""
    units, treatment, _, end = lives
    story = STORIES["chloramine_through_membrane"]
    position = ABILITIES.index("chloramine")
    needed, removed = units.needs[:, position], treatment.removes[:, position]
    works = treatment.works_from < AS_OF
    membrane = needed & treatment.reverse_osmosis & works & ~removed
    alone = _rate(lives, membrane, treatment.works_from, end, ["chloramine"])
    carbon = _rate(lives, needed & removed, treatment.works_from, end, ["chloramine"])
    untreated = _rate(lives, needed & ~works, units.clock, end, ["chloramine"])
    assert alone / carbon > story["rate_ratio_above"]
    assert alone / untreated > 0.75


def test_tanks_run_dry_in_cold_winters(repairs):
    """Most calls for a dry tank come in winter, and those from states with cold supplies."""
    story = STORIES["cold_winter"]
    dry = repairs.filter(pl.col("cause") == story["cause"])
    winter = dry.filter(pl.col("opened_on").dt.month().is_in(story["months"]))
    assert winter.height > 20
    assert winter.height / dry.height > story["share_in_those_months_above"]
    cold = reference("regions").filter(
        pl.col("coldest_supply_c").cast(float) <= story["coldest_supply_c_at_most"]
    )
    assert winter["region"].is_in(cold["region"].implode()).mean() > 0.9


def test_repairs_of_one_agency_come_back(repairs):
    """The same cause on the same unit within 90 days is far more common after one agency."""
    story = STORIES["repairs_come_back"]
    known = repairs.drop_nulls(["cause", "agency"]).sort("opened_on", "call")
    again = known.with_columns(
        days=(pl.col("opened_on").shift(-1) - pl.col("opened_on"))
        .dt.total_days()
        .over("serial", "cause", "agency")
    )
    share = (
        again.with_columns(back=(pl.col("days") <= 90).fill_null(False))
        .group_by(mine=pl.col("agency") == story["agency"])
        .agg(pl.col("back").mean())
        .sort("mine")["back"]
    )
    assert share[1] / share[0] > story["share_disputed_ratio_above"]


def test_one_cohort_loses_its_boards_early(repairs, feeds):
    """Boards of Force units installed in the second quarter of 2025 fail early, others do not."""
    force = feeds.units.filter(
        pl.col("model").str.starts_with("FC"), pl.col("installed_on").is_not_null()
    ).with_columns(cohort=_quarter())
    boards = repairs.filter(
        pl.col("model").str.starts_with("FC"),
        pl.col("cause") == "BOARD",
        pl.col("opened_on") - pl.col("installed_on") < pl.duration(days=122),
    ).with_columns(cohort=_quarter())
    units = dict(force.group_by("cohort").len().iter_rows())
    failed = dict(boards.group_by("cohort").len().iter_rows())
    batch = failed.pop("2025-Q2") / units.pop("2025-Q2")
    assert batch > 0.3
    assert batch > 10 * sum(failed.values()) / sum(units.values())


def _quarter() -> pl.Expr:
    day = pl.col("installed_on")
    return pl.format("{}-Q{}", day.dt.year(), day.dt.quarter())


def test_one_agency_bills_long_hours(repairs):
    """Hours over the mean of the others for the same cause stand out for one agency."""
    story = STORIES["long_hours"]
    billed = repairs.drop_nulls(["cause", "labor_hours", "agency"]).with_columns(
        hours=pl.col("labor_hours").cast(float), mine=pl.col("agency") == story["agency"]
    )
    usual = billed.filter(~pl.col("mine")).group_by("cause").agg(usual=pl.col("hours").mean())
    mine = billed.filter("mine").join(usual, on="cause")
    assert (mine["hours"] / mine["usual"]).mean() > story["hours_ratio_to_others_above"]


def test_claims_are_recent_and_plausible(repairs):
    """About 900 claims, 60 or more filed in the last 60 days, amounts within the trade's range."""
    claims = repairs.filter(pl.col("claim").is_not_null())
    assert 800 <= claims.height <= 1_000
    assert claims["claim"].is_unique().all()
    recent = pl.col("claimed_on").cast(pl.Int32) > AS_OF - 60
    assert claims.filter(recent).height >= 60
    parts = claims["parts_amount"].drop_nulls().cast(float)
    assert parts.min() > 5
    assert parts.max() < 3_000
    assert 100 < parts.mean() < 600


def test_calls_lag_behind_failures(repairs):
    """Failures are reported within days as a rule, repaired within a week, claimed in a month."""
    told = repairs.filter(pl.col("failed_on").is_not_null())
    opened = (told["opened_on"] - told["failed_on"]).dt.total_days()
    assert opened.min() == 0
    assert 1 < opened.mean() < 5
    done = (told["completed_on"] - told["opened_on"]).dt.total_days().drop_nulls()
    assert 3 < done.mean() < 10
    filed = (told["claimed_on"] - told["completed_on"]).dt.total_days().drop_nulls()
    assert 5 < filed.mean() < 35
