"""Direct and indirect standardization against published curves and ratios.

Sources: `README.md` beside this file (`km_units.csv` and `km_expected.csv`, gehan; `eb_lip_cancer`,
observed and expected, with exact limits of the ratios).
"""

from __future__ import annotations

from math import exp, log, sqrt
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipelines.field.cohort_ratios import with_ratios
from pipelines.field.poisson import Z_95
from pipelines.field.standard_curves import FamilyCurve, standardize
from pipelines.units.kaplan_meier import kaplan_meier

HERE = Path(__file__).parent


def read(name: str) -> pl.DataFrame:
    """One published set."""
    return pl.read_csv(HERE / f"{name}.csv", infer_schema_length=None)


def test_two_arms_of_equal_weight_are_the_mean_of_the_published_curves() -> None:
    """Gehan's arms as families: the mean of both survivals, variance a quarter of both summed."""
    units = read("km_units").filter(study="gehan")
    published = read("km_expected").filter(study="gehan")
    ages = np.arange(int(units["time"].max()) + 1)
    curves = []
    for arm in ("6-MP", "placebo"):
        own = units.filter(group=arm)
        at_risk = (own["time"].to_numpy()[None, :] >= ages[:, None]).sum(axis=1)
        failed = np.bincount(own.filter(event=1)["time"], minlength=len(ages))
        told = kaplan_meier(at_risk[None, :], failed[None, :])
        curves.append(FamilyCurve(told.value[0], told.error[0], at_risk))
    standard = standardize("survival", np.array([0.5, 0.5]), curves)

    def at(arm: str, age: int) -> tuple[float, float]:
        before = published.filter(pl.col("group") == arm, pl.col("time") <= age).sort("time")
        return before.select("survival", "greenwood_se").row(-1) if before.height else (1.0, 0.0)

    for age in range(6, 22):
        (one, first), (other, second) = at("6-MP", age), at("placebo", age)
        value, error = (one + other) / 2, sqrt((first**2 + second**2) / 4)
        assert standard.value[age] == pytest.approx(value)
        wide = exp(Z_95 * error / abs(value * log(value)))
        assert standard.low[age] == pytest.approx(value**wide)
        assert standard.high[age] == pytest.approx(value ** (1 / wide))
        assert standard.at_risk[age] == min(curves[0].at_risk[age], curves[1].at_risk[age])


def test_observed_over_expected_agrees_with_lip_cancer_in_scotland() -> None:
    """Ratios and their exact limits of the 56 regions; q over those of 5 cases or more."""
    data, published = read("eb_lip_cancer"), read("eb_lip_cancer_expected")
    told = with_ratios(
        data.select(failures="observed", expected="expected", units=pl.lit(100, pl.Int64))
    )
    assert told.height == published.height == 56
    np.testing.assert_allclose(told["ratio"], published["smr"], rtol=1e-9)
    np.testing.assert_allclose(told["low"], published["smr_exact_lo"], rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(told["high"], published["smr_exact_hi"], rtol=1e-6)
    assert told["q_value"].is_null().to_list() == (data["observed"] < 5).to_list()
