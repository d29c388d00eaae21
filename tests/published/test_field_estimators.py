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
    cusum,
    funnel,
    kaplan_meier,
    mean_cumulative,
    poisson,
    risk_sets,
    shrinkage,
    weibull,
)

HERE = Path(__file__).parent / "field"


def read(name: str) -> pl.DataFrame:
    return pl.read_csv(HERE / f"{name}.csv", infer_schema_length=None)


def close(actual, expected, rel: float = 1e-6, abs_: float = 1e-9) -> None:
    np.testing.assert_allclose(
        np.asarray(actual, dtype=float), np.asarray(expected, dtype=float), rtol=rel, atol=abs_
    )


def test_garwood_limits_agree_with_the_table():
    """Exact Poisson limits for counts 0 to 500 at three levels (Garwood 1936)."""
    for (level,), rows in read("poisson_limits_expected").group_by("confidence"):
        low, high = poisson.garwood_limits(rows["count"].to_numpy(), level)
        close(low, rows["lower"])
        close(high, rows["upper"])


def test_rate_ratios_agree_with_the_table():
    """Exact conditional limits of a ratio of two Poisson rates, a zero count among them."""
    for row in read("rate_ratio_expected").iter_rows(named=True):
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
    close(poisson.mantel_haenszel(*rows.to_numpy().T), expected.select("rr", "lo", "hi").row(0))
    a, t, b, u = rows.sum().row(0)
    close(poisson.rate_ratio(a, t, b, u).ratio, expected["crude"])


def test_kaplan_meier_agrees_with_two_published_studies():
    """Survival, failures at risk and log-log limits of the AML and 6-MP trials."""
    units = read("km_units")
    keys = ["study", "group"]
    episodes = units.select(*keys, entry=pl.lit(0, pl.Int64), exit="time")
    events = units.filter(pl.col("event") == 1).select(*keys, age="time")
    table = risk_sets.risk_table(episodes, events, keys)
    curve = kaplan_meier.kaplan_meier(table, keys).join(table, on=[*keys, "age"])
    both = (
        read("km_expected")
        .rename({"time": "age"})
        .join(curve, on=[*keys, "age"], how="left", suffix="_ours")
    )
    assert both["n_risk"].to_list() == both["at_risk"].to_list()
    assert both["n_event"].to_list() == both["events"].to_list()
    close(both["survival_ours"], both["survival"])
    close(both["low"], both["loglog_lo"])
    close(both["high"], both["loglog_hi"])


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
    data = read("weibull_data")
    for row in read("weibull_expected").iter_rows(named=True):
        lives = lives_of(data.filter(pl.col("dataset") == row["dataset"]))
        fit = weibull.fit_weibull(lives)
        assert fit is not None
        close([fit.scale, fit.shape], [row["eta"], row["beta"]], rel=1e-5)
        close(fit.log_likelihood, row["loglik"], rel=0, abs_=1e-3)
        close(
            [fit.scale_low, fit.scale_high, fit.shape_low, fit.shape_high],
            [row["eta_wald_lo"], row["eta_wald_hi"], row["beta_wald_lo"], row["beta_wald_hi"]],
            rel=1e-4,
        )


def test_weibull_without_the_late_entries_is_visibly_wrong():
    """Ignoring that units came under watch late moves the shape by more than a twentieth."""
    rows = read("weibull_data").filter(pl.col("dataset") == "left_truncated")
    right = weibull.fit_weibull(lives_of(rows))
    wrong = weibull.fit_weibull(lives_of(rows.with_columns(entry=0)))
    assert right is not None
    assert wrong is not None
    assert abs(wrong.shape / right.shape - 1) > 0.05


def mcf(rows: pl.DataFrame, unit: str, day: str, keys: list[str]) -> pl.DataFrame:
    episodes = rows.group_by([*keys, unit]).agg(exit=pl.col(day).max()).rename({unit: "episode"})
    events = rows.filter(pl.col("is_replacement") == 1).select(*keys, episode=unit, age=day)
    episodes = episodes.with_columns(entry=pl.lit(0, pl.Int64))
    return mean_cumulative.mean_cumulative(episodes, events, keys)


def test_mean_cumulative_function_agrees_with_valve_seats():
    """Nelson's valve seats: 41 engines, 48 replacements, robust standard errors as in R."""
    rows = read("mcf_valve_seat").with_columns(batch=1)
    ours = mcf(rows, "engine", "day", ["batch"])
    both = read("mcf_valve_seat_expected").join(ours, left_on="day", right_on="age", how="left")
    close(both["mean"], both["mcf"])
    close(both["error"], both["se_robust"])
    printed = both.drop_nulls("published_se_robust")
    close(printed["mean"], printed["published_mcf"], rel=0, abs_=5e-4)
    close(printed["error"], printed["published_se_robust"], rel=0, abs_=5e-4)


def test_mean_cumulative_function_agrees_with_braking_grids():
    """Two production batches at once (Doganaksoy & Nelson 1998)."""
    rows = read("mcf_braking_grids")
    ours = mcf(rows, "locomotive", "day_to", ["batch"])
    both = read("mcf_braking_grids_expected").join(
        ours, left_on=["batch", "day"], right_on=["batch", "age"], how="left"
    )
    close(both["mean"], both["mcf"])
    close(both["error"], both["se_robust"])


def incidence() -> pl.DataFrame:
    keys = ["study", "group"]
    units = read("cif_units")
    everyone = units.filter(pl.col("study") == "bmt35").with_columns(group=pl.lit("all"))
    units = pl.concat([units, everyone])
    episodes = units.select(*keys, entry=pl.lit(0, pl.Int64), exit="time")
    failed = units.filter(pl.col("cause") > 0)
    table = risk_sets.risk_table(episodes, failed.select(*keys, age="time"), keys)
    causes = failed.group_by([*keys, "cause", "time"]).agg(count=pl.len()).rename({"time": "age"})
    return competing.aalen_johansen(table, causes, keys, "cause")


def test_aalen_johansen_agrees_with_bone_marrow_transplants():
    """Incidence and Aalen's standard errors of both causes, in every group."""
    ours = incidence()
    for cause in (1, 2):
        both = read("cif_expected").join(
            ours.filter(pl.col("cause") == cause),
            left_on=["study", "group", "time"],
            right_on=["study", "group", "age"],
            how="left",
        )
        assert both["incidence"].null_count() == 0
        close(both["incidence"], both[f"cif{cause}"])
        close(both["error"], both[f"se{cause}_aalen"])


def test_aalen_johansen_prints_what_r_and_sas_print():
    """Log-log limits at whole years, also where the source printed them."""
    expected = read("cif_bmt137_years_expected").with_columns(
        days=(pl.col("years") * 365.25).cast(pl.Float64)
    )
    ours = (
        incidence()
        .filter(pl.col("study") == "bmt137")
        .with_columns(days=pl.col("age").cast(pl.Float64))
    )
    both = expected.sort("days").join_asof(
        ours.sort("days"), on="days", by=["group", "cause"], check_sortedness=False
    )
    close(both["incidence"].fill_null(0), both["cif"])
    inside = both.drop_nulls("loglog_lo")
    close(inside["low"], inside["loglog_lo"])
    close(inside["high"], inside["loglog_hi"])
    printed = both.drop_nulls("published_lo")
    assert printed.height > 0
    close(printed["low"], printed["published_lo"], rel=0, abs_=5e-3)


def test_shrinkage_agrees_with_lip_cancer_in_scotland():
    """Clayton & Kaldor's 56 districts: prior and posterior means by maximum likelihood."""
    data, expected = read("eb_lip_cancer"), read("eb_lip_cancer_expected")
    found = shrinkage.shrink(data["observed"].to_numpy(), data["expected"].to_numpy())
    assert found is not None
    close([found.shape, found.rate], [1.8794900957814091, 1.3216671922457464], rel=1e-4)
    close(found.ratios, expected["eb_gamma_mle"], rel=1e-4)


def test_funnel_limits_agree_with_the_table():
    """Interpolated exact limits at 95 % and 99.8 % (Spiegelhalter 2005)."""
    table = read("funnel_limits_expected")
    expected = table["expected"].to_numpy().astype(float)
    for tail in ("0.001", "0.025", "0.975", "0.999"):
        close(funnel.funnel_limits(expected, float(tail)), table[f"interp_{tail}"])


def test_overdispersion_of_lip_cancer():
    """The winsorised spread and the number of districts outside the plain limits."""
    data = read("eb_lip_cancer")
    o, e = data["observed"].to_numpy(), data["expected"].to_numpy()
    close(funnel.overdispersion(o, e), 4.9879333108168895)
    assert (o / e > funnel.funnel_limits(e, 0.999)).sum() == 9
    assert (o / e < funnel.funnel_limits(e, 0.001)).sum() == 3


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
    for row in read("cusum_arl_expected").iter_rows(named=True):
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
