"""The regression of regions beside statsmodels' generalized linear model (0.14 and later)."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.genmod.families import Poisson
from statsmodels.genmod.generalized_linear_model import GLM

from pipelines.field.poisson_regression import unpenalized


@pytest.mark.parametrize("seed", range(4))
def test_terms_and_information_agree_with_a_generalized_linear_model(seed: int) -> None:
    """Terms and the inverse of their information, of counts with many zeros."""
    random = np.random.default_rng(seed)
    dummies = random.integers(0, 2, (300, 5)).astype(float)
    design = np.column_stack([np.ones(300), dummies])
    days = random.uniform(1, 4000, 300)
    y = random.poisson(days * np.exp(design @ [-7.5, 0.9, -0.6, 0.3, 0.0, 0.2])).astype(float)
    assert (y == 0).sum() > 30
    terms, bread = unpenalized(design, y, days)
    reference = GLM(y, design, family=Poisson(), offset=np.log(days)).fit()
    np.testing.assert_allclose(terms, reference.params, rtol=1e-9, atol=1e-11)
    np.testing.assert_allclose(bread, reference.normalized_cov_params, rtol=1e-9, atol=1e-13)


def test_terms_that_the_rows_do_not_tell_apart_are_the_least() -> None:
    """Two equal columns share their term (Moore-Penrose), as the reference has it."""
    column = np.repeat([0.0, 1.0], 10)
    design = np.column_stack([np.ones(20), column, column])
    y, days = np.repeat([2.0, 6.0], 10), np.full(20, 100.0)
    terms, _ = unpenalized(design, y, days)
    assert terms == pytest.approx([np.log(0.02), np.log(3) / 2, np.log(3) / 2], rel=1e-9)
