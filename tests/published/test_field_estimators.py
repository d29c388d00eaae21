"""The estimators against published or independently computed values.

The data sets, their sources and tolerances stand in `field/README.md` beside this file.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipelines.field import (
    chain_ladder,
    competing,
    counted_episodes,
    cusum,
    funnel,
    mean_cumulative,
    poisson,
    risk_sets,
    shrinkage,
    weibull,
)
from pipelines.units.kaplan_meier import kaplan_meier

HERE = Path(__file__).parent / "field"


def read(name: str) -> pl.DataFrame:
    return pl.read_csv(HERE / f"{name}.csv", infer_schema_length=None)


def close(actual, expected, rel: float = 1e-6, abs_: float = 1e-9) -> None:
    np.testing.assert_allclose(
        np.asarray(actual, dtype=float), np.asarray(expected, dtype=float), rtol=rel, atol=abs_
    )


def test_garwood_limits_agree_with_the_table():
    """Exact Poisson limits for counts 0 to 500 at three levels (Garwood 1936)."""
    expected = read("poisson_limits_expected")
    assert expected["confidence"].n_unique() == 3
    for (level,), rows in expected.group_by("confidence"):
        low, high = poisson.garwood_limits(rows["count"].to_numpy(), level)
        close(low, rows["lower"])
        close(high, rows["upper"])


def test_rate_ratios_agree_with_the_table():
    """Exact conditional limits of a ratio of two Poisson rates, a zero count among them."""
    expected = read("rate_ratio_expected")
    assert expected.height > 3
    for row in expected.iter_rows(named=True):
        ratio = poisson.rate_ratio(row["x1"], row["t1"], row["x2"], row["t2"])
        close(ratio, [row["ratio"], row["exact_lo"], row["exact_hi"]])


@pytest.mark.parametrize("name", ["mh_doctors", "simpson_region_water (North vs South)"])
def test_mantel_haenszel_agrees_with_the_british_doctors_and_simpsons_regions(name: str):
    """The combined ratio and its limits (Greenland & Robins 1985)."""
    expected = read("mh_expected").filter(pl.col("dataset") == name)
    if name == "mh_doctors":
        rows = read("mh_doctors").select(pl.exclude("stratum_age"))
    else:
        table = read("simpson_region_water")
        north, south = (table.filter(pl.col("region") == r) for r in ("North", "South"))
        rows = north.join(south, on="water").select(
            "claims", "unit_years", "claims_right", "unit_years_right"
        )
    found = poisson.mantel_haenszel(*rows.to_numpy().T)
    close(found, expected.select("rr", "lo", "hi").row(0))
    if name == "mh_doctors":
        printed = expected.select("published_rr", "published_lo", "published_hi").row(0)
        close(found, printed, rel=0, abs_=5.1e-7)
    a, t, b, u = rows.sum().row(0)
    close(poisson.rate_ratio(a, t, b, u).ratio, expected["crude"])


def counted(rows: pl.DataFrame, keys: list[str], age: str, unit: str):
    """Numbers groups and units; one episode a unit, from 0 to its latest age."""
    groups = rows.select(keys).unique().sort(keys).with_row_index("group")
    rows = rows.join(groups, on=keys)
    last = rows.group_by("group", unit).agg(pl.col(age).max()).sort("group", unit)
    last = last.with_row_index("place")
    group, place, exit_ = (
        last[name].to_numpy().astype(np.int64) for name in ("group", "place", age)
    )
    episodes = risk_sets.Episodes(group, place, np.zeros(len(group), np.int64), exit_)
    grid = risk_sets.AgeGrid(groups.height, int(exit_.max()) + 2)
    return groups, grid, episodes, rows.join(last.drop(age), on=["group", unit])


def test_kaplan_meier_agrees_with_two_published_studies():
    """Survival, failures at risk, Greenwood's error and limits of the AML and 6-MP trials.

    The product shows log-log limits. Plain and logarithmic ones, which other programs print, follow
    from the same estimate and error, so that these are checked against them too.
    """
    keys = ["study", "group_name"]
    units = read("km_units").rename({"group": "group_name"})
    groups, grid, episodes, rows = counted(units, keys, "time", "unit")
    failed = rows.filter(pl.col("event") == 1)
    events = grid.tally(failed["group"].to_numpy().astype(int), failed["time"].to_numpy())
    at_risk = grid.at_risk(episodes)
    curve = kaplan_meier(at_risk, events)
    table = read("km_expected").rename({"group": "group_name"}).join(groups, on=keys)
    at = table["group"].to_numpy(), table["time"].to_numpy()
    close(at_risk[at], table["n_risk"])
    close(events[at], table["n_event"])
    close(curve.value[at], table["survival"])
    close(curve.low[at], table["loglog_lo"])
    close(curve.high[at], table["loglog_hi"])
    value, error = curve.value[at], curve.error[at]
    some = value > 0
    close(error[some], table["greenwood_se"].filter(some))
    for sign, side in ((-1, "lo"), (1, "hi")):
        plain = np.clip(value + sign * poisson.Z_95 * error, 0, 1)
        close(plain[some], table[f"plain_{side}"].filter(some))
        factor = np.exp(sign * poisson.Z_95 * error[some] / value[some])
        log = np.minimum(value[some] * factor, 1)
        close(log, table[f"log_{side}"].filter(some))
    for printed, ours, half in (
        ("published_survival", value, 5e-4),
        ("published_se", error, 5e-5),
    ):
        known = table[printed].is_not_null().to_numpy() & some
        close(ours[known], table[printed].filter(known), rel=0, abs_=half + 1e-9)


def lives_of(rows: pl.DataFrame) -> weibull.Lives:
    def times(kind: str, column: str) -> weibull.Times:
        part = rows.filter(pl.col("kind") == kind)
        return weibull.Times(part[column].to_numpy().astype(float), part["n"].to_numpy())

    late = rows.filter(pl.col("entry") > 0)
    between = rows.filter(pl.col("kind") == "interval_censored")
    return weibull.Lives(
        failed=times("exact", "lower"),
        running=times("right_censored", "lower"),
        between=tuple(between[c].cast(pl.Float64).to_numpy() for c in ("lower", "upper", "n")),
        entered=weibull.Times(late["entry"].to_numpy().astype(float), late["n"].to_numpy()),
    )


def test_weibull_agrees_with_published_fits():
    """Exact, right-censored, interval-censored and left-truncated lives, with Wald limits."""
    data, expected = read("weibull_data"), read("weibull_expected")
    assert expected.height > 3
    for row in expected.iter_rows(named=True):
        lives = lives_of(data.filter(pl.col("dataset") == row["dataset"]))
        fit = weibull.fit_weibull(lives)
        assert fit is not None
        close([fit.scale, fit.shape], [row["eta"], row["beta"]], rel=1e-6)
        close(fit.log_likelihood, row["loglik"], rel=0, abs_=1e-3)
        close(
            [fit.scale_low, fit.scale_high, fit.shape_low, fit.shape_high],
            [row["eta_wald_lo"], row["eta_wald_hi"], row["beta_wald_lo"], row["beta_wald_hi"]],
            rel=1e-4,
        )
        ours = {
            "eta": fit.scale,
            "beta": fit.shape,
            "loglik": fit.log_likelihood,
            "eta_lo": fit.scale_low,
            "eta_hi": fit.scale_high,
            "beta_lo": fit.shape_low,
            "beta_hi": fit.shape_high,
        }
        for name, value in ours.items():
            if (printed := row[f"published_{name}"]) is not None:
                close(value, printed, rel=1e-4, abs_=6e-2 if name == "loglik" else 0)


@pytest.mark.parametrize(
    ("share", "age", "low", "high"),
    [(0.10, 164.02, 83.88, 320.75), (0.50, 490.17, 340.21, 706.25)],
)
def test_ages_by_which_a_share_has_failed_agree_with_a_reference_library(share, age, low, high):
    """B10 and B50 of NIST's 20 units, hours: the figures that the contract prints.

    Source: NIST/SEMATECH e-Handbook 8.4.1.3 (data); lifelines' `WeibullFitter`, its percentile and
    `variance_matrix_`, delta method on the log scale, worked out here again.
    """
    import lifelines

    data = read("weibull_data").filter(pl.col("dataset") == "nist")
    told = weibull.fit_weibull(lives_of(data)).age_by(share)
    close(told, [age, low, high], rel=0, abs_=0.005)
    failed = data["kind"].to_numpy() == "exact"
    theirs = lifelines.WeibullFitter().fit(
        data["lower"].to_numpy(), failed, weights=data["n"].to_numpy()
    )
    close(told[0], theirs.percentile(1 - share), rel=1e-4)
    # Of ln(lambda) + ln(w) / rho, with w = -ln(1 - share): slopes by lambda and rho.
    w = -np.log(1 - share)
    slope = np.array([1 / theirs.lambda_, -np.log(w) / theirs.rho_**2])
    error = np.sqrt(slope @ theirs.variance_matrix_.to_numpy() @ slope)
    close(np.log(told[2] / told[0]), 1.959964 * error, rel=1e-3)


def test_limits_of_the_fitted_line_pass_through_those_of_its_ages():
    """At the age by which half have failed the line stands at a half, between its limits.

    Delta method on ln(-ln S): the error of the line there is that of the log age times the shape.
    """
    data = read("weibull_data").filter(pl.col("dataset") == "nist")
    fit = weibull.fit_weibull(lives_of(data))
    age, low, high = fit.age_by(0.5)
    fitted, below, above = (float(part[0]) for part in fit.failed_by(np.array([age])))
    close(fitted, 0.5)
    line = [np.log(-np.log1p(-share)) for share in (below, fitted, above)]
    close(line[2] - line[1], fit.shape * np.log(high / age))
    close(line[1] - line[0], fit.shape * np.log(age / low))


def test_weibull_without_the_late_entries_is_visibly_wrong():
    """Ignoring that units came under watch late moves the shape by more than a twentieth."""
    rows = read("weibull_data").filter(pl.col("dataset") == "left_truncated")
    right = weibull.fit_weibull(lives_of(rows))
    wrong = weibull.fit_weibull(lives_of(rows.with_columns(entry=0)))
    assert right is not None
    assert wrong is not None
    assert abs(wrong.shape / right.shape - 1) > 0.05


def mcf(rows: pl.DataFrame, unit: str, day: str, keys: list[str]):
    groups, grid, episodes, placed = counted(rows, keys, day, unit)
    events = placed.filter(pl.col("is_replacement") == 1)
    happened = counted_episodes.Events(
        events["place"].to_numpy().astype(int), events[day].to_numpy(), np.ones(events.height)
    )
    return groups, mean_cumulative.mean_cumulative(
        counted_episodes.CountedEpisodes(grid, episodes), happened
    )


def test_mean_cumulative_function_agrees_with_valve_seats():
    """Nelson's valve seats: 41 engines, 48 replacements, robust standard errors as in R."""
    rows = read("mcf_valve_seat").with_columns(batch=1)
    _, mean = mcf(rows, "engine", "day", ["batch"])
    expected = read("mcf_valve_seat_expected")
    days = expected["day"].to_numpy()
    close(mean.value[0, days], expected["mcf"])
    close(mean.error[0, days], expected["se_robust"])
    printed = expected.drop_nulls("published_se_robust")
    days = printed["day"].to_numpy()
    close(mean.value[0, days], printed["published_mcf"], rel=0, abs_=6e-4)
    close(mean.error[0, days], printed["published_se_robust"], rel=0, abs_=6e-4)


def test_mean_cumulative_function_agrees_with_braking_grids():
    """Two production batches at once (Doganaksoy & Nelson 1998)."""
    groups, mean = mcf(read("mcf_braking_grids"), "locomotive", "day_to", ["batch"])
    expected = read("mcf_braking_grids_expected").join(groups, on="batch")
    at = expected["group"].to_numpy(), expected["day"].to_numpy()
    close(mean.value[at], expected["mcf"])
    close(mean.error[at], expected["se_robust"])


def incidence(cause: int):
    keys = ["study", "group_name"]
    units = read("cif_units").rename({"group": "group_name"})
    everyone = units.filter(pl.col("study") == "bmt35").with_columns(group_name=pl.lit("all"))
    units = pl.concat([units, everyone])
    groups, grid, episodes, rows = counted(units, keys, "time", "unit")

    def count(chosen: pl.Expr) -> np.ndarray:
        failed = rows.filter(chosen)
        return grid.tally(failed["group"].to_numpy().astype(int), failed["time"].to_numpy())

    events, own = count(pl.col("cause") > 0), count(pl.col("cause") == cause)
    return groups, competing.aalen_johansen(grid.at_risk(episodes), events, own)


@pytest.mark.parametrize("cause", [1, 2])
def test_aalen_johansen_agrees_with_bone_marrow_transplants(cause: int):
    """Incidence and Aalen's standard errors of both causes, in every group."""
    groups, ours = incidence(cause)
    table = read("cif_expected").rename({"group": "group_name"})
    table = table.join(groups, on=["study", "group_name"])
    at = table["group"].to_numpy(), table["time"].to_numpy()
    close(ours.value[at], table[f"cif{cause}"])
    close(ours.error[at], table[f"se{cause}_aalen"])


@pytest.mark.parametrize("cause", [1, 2])
def test_aalen_johansen_prints_what_r_and_sas_print(cause: int):
    """Log-log limits at whole years, also where the source printed them."""
    groups, ours = incidence(cause)
    table = read("cif_bmt137_years_expected").filter(pl.col("cause") == cause)
    table = table.rename({"group": "group_name"}).join(
        groups.filter(pl.col("study") == "bmt137"), on="group_name"
    )
    days = (table["years"] * 365.25).floor().cast(pl.Int64).to_numpy()
    group = table["group"].to_numpy()
    close(ours.value[group, days], table["cif"])
    inside = table["loglog_lo"].is_not_null().to_numpy()
    close(ours.low[group, days][inside], table["loglog_lo"].drop_nulls())
    close(ours.high[group, days][inside], table["loglog_hi"].drop_nulls())
    printed = (table["published_lo"].is_not_null() & table["loglog_lo"].is_not_null()).to_numpy()
    close(ours.low[group, days][printed], table["published_lo"].filter(printed), 0, 5e-3)


def test_shrinkage_agrees_with_lip_cancer_in_scotland():
    """Clayton & Kaldor's 56 districts: prior and posterior means by maximum likelihood."""
    data, expected = read("eb_lip_cancer"), read("eb_lip_cancer_expected")
    found = shrinkage.shrink(data["observed"].to_numpy(), data["expected"].to_numpy())
    assert found is not None
    prior = read("eb_lip_cancer_parameters").row(by_predicate=pl.col("estimator") == "gamma_mle")
    close([found.shape, found.rate], prior[1:3], rel=1e-4)
    close(found.ratios, expected["eb_gamma_mle"], rel=1e-4)


def test_funnel_limits_agree_with_the_table():
    """Interpolated exact limits at 95 % and 99.8 % (Spiegelhalter 2005)."""
    table = read("funnel_limits_expected")
    expected = table["expected"].to_numpy().astype(float)
    for tail in ("0.001", "0.025", "0.975", "0.999"):
        close(funnel.funnel_limits(expected, float(tail)), table[f"interp_{tail}"])


def test_overdispersion_of_lip_cancer():
    """The winsorised spread, and which districts lie outside the plain limits."""
    table = read("funnel_lip_cancer_expected")
    o, e = table["observed"].to_numpy(), table["expected"].to_numpy()
    quantities = dict(read("funnel_lip_cancer_phi").iter_rows())
    spread = funnel.overdispersion(o, e)
    close(spread, quantities["phi_winsorised_10pct_each_tail_numpy_linear_quantile"])
    close((o / e - 1) * np.sqrt(e / spread), table["z_overdispersion_adjusted"])
    above = (o / e > funnel.funnel_limits(e, 0.999)).astype(int)
    below = (o / e < funnel.funnel_limits(e, 0.001)).astype(int)
    assert above.tolist() == table["above_99.8_limit"].to_list()
    assert below.tolist() == table["below_99.8_limit"].to_list()
    assert (above.sum(), below.sum()) == (
        quantities["n_above_99.8_exact_limit"],
        quantities["n_below_99.8_exact_limit"],
    )


def test_chances_of_a_count_are_the_other_face_of_its_exact_limits():
    """Where the expected count is a limit at 90, 95 or 99 %, p is 10, 5 or 1 % (Garwood 1936).

    The product's p is twice the smaller tail, which agrees with exact limits; it has no mid-p.
    """
    table = read("poisson_limits_expected").filter(pl.col("count") > 0)
    count = table["count"].to_numpy()
    for limit in ("lower", "upper"):
        close(funnel.p_values(count, table[limit].to_numpy()), 1 - table["confidence"])


def test_false_discovery_rate_agrees_with_benjamini_and_hochberg():
    """The 15 p-values of 1995: four are rejected at 5 %."""
    table = read("fdr_bh1995_expected")
    q = funnel.q_values(table["p"].to_numpy())
    close(q, table["bh_adjusted"])
    assert (q <= 0.05).sum() == table["published_reject_bh_0.05"].sum() == 4


def test_chain_ladder_agrees_with_mack_on_taylor_and_ashe():
    """Factors, reserves and standard errors as Mack (1993) printed them."""
    triangle = (
        read("chainladder_taylor_ashe")
        .pivot("development", index="origin", values="cumulative")
        .sort("origin")
        .drop("origin")
        .to_numpy()
    )
    found = chain_ladder.chain_ladder(triangle)
    factors = read("chainladder_taylor_ashe_factors_expected")
    close(found.factors, factors["factor"][: len(found.factors)])
    close(found.variances, factors["sigma_squared"][: len(found.variances)])
    close(found.developed[: factors.height], factors["percent_developed"])
    expected = read("chainladder_taylor_ashe_expected")
    close(found.total_error, expected["mack_se"][-1])
    expected = expected.head(len(found.ultimate))
    close(found.ultimate, expected["ultimate"])
    close(found.error, expected["mack_se"])
    close(found.error, expected["published_se"], rel=0, abs_=2)


def test_chain_ladder_gives_the_lag_law_of_aids_reports():
    """The share reported by each delay equals the reverse-time hazard estimate."""
    cells = read("reporting_delay_aids")
    expected = read("reporting_delay_aids_expected")
    wide = (
        cells.pivot(
            "delay_index", index="quarter_index", values="reported_cases", sort_columns=True
        )
        .sort("quarter_index")
        .drop("quarter_index")
    )
    counts = wide.select(sorted(wide.columns, key=int)).to_numpy().astype(float)
    for row, last in enumerate(expected["max_delay_index"]):
        counts[row, : last + 1] = np.nan_to_num(counts[row, : last + 1])
        counts[row, last + 1 :] = np.nan
    found = chain_ladder.chain_ladder(np.cumsum(counts, axis=1))
    law = read("reporting_delay_aids_distribution_expected")
    close(found.developed, law["cdf_conditional_on_max"])
    close(found.ultimate, expected["adjusted_total"])


def test_cusum_path_by_hand():
    """Eighteen months at k = 5, h = 10."""
    table = read("cusum_path_expected")
    counts = table["claims"].to_numpy()[None, :]
    sums = cusum.path(counts, np.full(counts.shape, 5.0))[0]
    assert sums.tolist() == table["upper_cusum_k5"].to_list()
    assert (sums >= 10).astype(int).tolist() == table["alarm_h10"].to_list()


def test_cusum_run_lengths_agree_with_lucas():
    """Average run lengths of upper and lower schemes, with and without head start (Lucas 1985)."""
    expected = read("cusum_arl_expected")
    assert expected.height > 5
    for row in expected.iter_rows(named=True):
        length = cusum.average_run_length(
            row["poisson_mean"],
            row["reference_k"],
            row["decision_h"],
            head_start=row["head_start"],
            upper=row["side"] == "upper",
        )
        close(length, row["arl"])
        if row["published_arl"] is not None:
            assert round(length) == row["published_arl"]
