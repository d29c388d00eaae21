"""Hazard ratios of changing states beside a reference library, row by row."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from pipelines.field import treatment_hazards
from pipelines.field.competing import aalen_johansen
from pipelines.field.cox import Hazards
from pipelines.field.episodes import episodes
from pipelines.field.figures import figure
from pipelines.field.poisson import Z_95, mantel_haenszel


def split_rows(context) -> pl.DataFrame:
    """Stretches of the states cut at every failure: profile, state, unit, entry, exit, failed."""
    stretches = episodes(context, by_state=True)
    failures = context.failures.select("unit", "treatment", "age")
    rows = []
    for row in stretches.iter_rows(named=True):
        own = failures.filter(
            (pl.col("unit") == row["unit"])
            & pl.col("age").is_between(row["entry"], row["exit"])
            & (pl.col("treatment") == row["treatment"])
        )
        stratum = f"{row['profile']}, {row['family']}"
        begin = row["entry"] + 0.5  # ages count from 1, so that who enters at 0 is at risk there
        for age in own["age"].unique().sort() + 1:
            rows.append((stratum, row["treatment"], row["unit"], begin, age, 1))
            begin = age + 0.5
        if begin < row["exit"] + 1:
            rows.append((stratum, row["treatment"], row["unit"], begin, row["exit"] + 1, 0))
    columns = ["profile", "state", "unit", "entry", "exit", "failed"]
    return pl.DataFrame(rows, schema=columns, orient="row", infer_schema_length=None)


def scores_by_loops(rows: pl.DataFrame, design: np.ndarray, beta: np.ndarray) -> np.ndarray:
    """Each unit's score residual: over all event days of its waters, what it did less its due."""
    at = {name: rows[name].to_numpy() for name in ("profile", "unit", "entry", "exit", "failed")}
    scores = np.zeros((at["unit"].max() + 1, design.shape[1]))
    weight = np.exp(design @ beta)
    for profile in np.unique(at["profile"]):
        here = at["profile"] == profile
        for age in np.unique(at["exit"][here & (at["failed"] == 1)]):
            at_risk = here & (at["entry"] < age) & (at["exit"] >= age)
            failed = at_risk & (at["exit"] == age) & (at["failed"] == 1)
            total = weight[at_risk].sum()
            mean = (weight[at_risk, None] * design[at_risk]).sum(axis=0) / total
            hazard = failed.sum() / total
            for row in np.flatnonzero(at_risk):
                due = weight[row] * hazard
                scores[at["unit"][row]] += (failed[row] - due) * (design[row] - mean)
    return scores


@pytest.mark.parametrize("method", ["cox", "cox_first"])
def test_cox_agrees_with_statsmodels(make_fleet, method: str) -> None:
    """Stratified by water, delayed entry, Breslow's ties and limits clustered by unit.

    Checked against statsmodels' PHReg; the sandwich, whose residuals are NaN there with delayed
    entry, against plain loops.
    """
    from statsmodels.duration.hazard_regression import PHReg

    context = make_fleet(70, seed=3)
    once = context.failures.unique(["unit", "age"], keep="first", maintain_order=True)
    context = replace(context, failures=once)
    rows = split_rows(context)
    if method == "cox_first":  # a unit leaves with its first failure
        ended = pl.col("failed").cum_sum().shift(1).over("unit", order_by="entry").fill_null(0)
        rows = rows.filter(ended == 0)
    states = ("treated", "lapsed")
    design = np.column_stack([(rows["state"] == s).to_numpy() for s in states]).astype(float)
    model = PHReg(
        rows["exit"].to_numpy().astype(float),
        design,
        status=rows["failed"].to_numpy(),
        entry=rows["entry"].to_numpy().astype(float),
        strata=rows["profile"].rank("dense").to_numpy(),
        ties="breslow",
    )
    fit = model.fit()
    scores = scores_by_loops(rows, design, fit.params)
    bread = np.linalg.inv(-model.hessian(fit.params))
    errors = np.sqrt(np.diag(bread @ scores.T @ scores @ bread))
    table = figure(context, "treatment_ratios", ()).filter(
        pl.col("event") == "any", pl.col("method") == method
    )
    for place, state in enumerate(states):
        row = table.filter(pl.col("comparison") == f"{state} vs untreated").row(0, named=True)
        expected = [np.exp(fit.params[place] + side * Z_95 * errors[place]) for side in (0, -1, 1)]
        assert [row["ratio"], row["low"], row["high"]] == pytest.approx(expected, rel=1e-4)


def test_mantel_haenszel_is_over_waters(context) -> None:
    """Over needs x family; within one family and one profile it is the crude one."""
    rows = figure(context, "rates", ("family", "profile", "treatment"))
    wide = rows.filter(pl.col("treatment").is_in(["treated", "untreated"])).pivot(
        "treatment", index=["family", "profile"], values=["failures", "unit_years"]
    )
    names = ("failures_treated", "unit_years_treated", "failures_untreated", "unit_years_untreated")
    expected = mantel_haenszel(*(wide[name].to_numpy() for name in names))
    chosen = (
        pl.col("event") == "any",
        pl.col("comparison") == "treated vs untreated",
    )
    table = figure(context, "treatment_ratios", ()).filter(*chosen)
    row = table.filter(pl.col("method") == "mantel_haenszel").row(0, named=True)
    assert [row["ratio"], row["low"], row["high"]] == pytest.approx(list(expected))
    inside = figure(context, "treatment_ratios", ("family", "profile")).filter(
        *chosen, pl.col("family") == "Beck"
    )
    for profile in ("chloride", "scale-forming"):
        by_method = dict(
            inside.filter(pl.col("profile") == profile).select("method", "ratio").iter_rows()
        )
        assert by_method["mantel_haenszel"] == pytest.approx(by_method["crude"])


def test_a_state_that_never_failed_has_no_ratio_and_says_so(context) -> None:
    """Without a failure while treated nothing is compared with it."""
    quiet = replace(context, failures=context.failures.filter(pl.col("treatment") != "treated"))
    table = figure(quiet, "treatment_ratios", ())
    rows = table.filter(pl.col("comparison") == "treated vs lapsed", pl.col("method") == "cox")
    assert rows["ratio"].null_count() == rows.height == 2
    assert set(rows["note"]) == {"cannot be estimated, because there was no failure while treated"}


@pytest.mark.parametrize("rounding", [0.0, 1e-18, -1e-18])
def test_a_variance_of_rounding_alone_gives_no_limits(monkeypatch, rounding: float) -> None:
    """The ratio stands; limits that coincide with it would tell it for certain."""
    fit = Hazards(np.array([0, 1]), np.array([0.0, np.log(2)]), np.diag([0.0, rounding]))
    monkeypatch.setattr(treatment_hazards, "fit_states", lambda *_: fit)
    nothing = {"stratum": [], "state": [], "unit": [], "age": []}
    ratio = treatment_hazards.hazards_of(None, nothing)["treated", "untreated"]
    assert ratio.ratio == pytest.approx(2)
    assert np.isnan([ratio.low, ratio.high]).all()


@pytest.mark.parametrize("units", [3, 10, 97, 113])
def test_a_share_of_all_units_has_no_limits(units: int) -> None:
    """One cause after the other until nobody is left: exactly 1, however the shares round."""
    at_risk, failed = np.arange(units, 0, -1.0)[None, :], np.ones((1, units))
    curve = aalen_johansen(at_risk, failed, failed)
    assert curve.value[0, -1] == 1
    assert np.isnan([curve.low[0, -1], curve.high[0, -1]]).all()
    assert 0 < curve.low[0, -2] < curve.value[0, -2] < curve.high[0, -2] < 1
