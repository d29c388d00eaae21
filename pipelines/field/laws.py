"""Chances and quantiles of the usual laws, from the special functions that they are made of.

Belongs here: normal, chi-square, Poisson, binomial and Student's laws. Does not belong here: any
figure. scipy.stats has them all, but importing it costs more than a small fleet's whole figure.
"""

from __future__ import annotations

from typing import cast

import numpy as np

Numbers = float | np.ndarray


def normal_above(z: Numbers) -> np.ndarray:
    """The chance of a standard normal deviate above z."""
    from scipy.special import ndtr

    return cast(np.ndarray, ndtr(-np.asarray(z)))


def normal_exceeded(p: Numbers) -> np.ndarray:
    """The standard normal deviate that is exceeded with chance p."""
    from scipy.special import ndtri

    return cast(np.ndarray, -ndtri(p))


def chi_square_above(x: float, freedom: int) -> float:
    """The chance of a chi-square above x."""
    from scipy.special import chdtrc

    return float(chdtrc(freedom, x))


def poisson_up_to(count: np.ndarray, mean: np.ndarray) -> np.ndarray:
    """The chance of so many or fewer; 0 below a count of 0."""
    from scipy.special import pdtr

    return np.where(count >= 0, pdtr(np.maximum(count, 0), mean), 0.0)


def poisson_above(count: np.ndarray, mean: np.ndarray) -> np.ndarray:
    """The chance of more; 1 below a count of 0."""
    from scipy.special import pdtrc

    return np.where(count >= 0, pdtrc(np.maximum(count, 0), mean), 1.0)


def poisson_of(count: np.ndarray, mean: np.ndarray) -> np.ndarray:
    """The chance of just so many."""
    from scipy.special import gammaln, xlogy

    return cast(np.ndarray, np.exp(xlogy(count, mean) - gammaln(count + 1) - mean))


def poisson_least(p: float, mean: np.ndarray) -> np.ndarray:
    """The least count with a chance of p or more of so many or fewer."""
    from scipy.special import pdtrik

    # The continuous inverse may land just beyond a whole number.
    count = np.ceil(pdtrik(p, mean))
    least = np.where(poisson_up_to(count - 1, mean) >= p, np.maximum(count - 1, 0), count)
    return cast(np.ndarray, least)


def student_above(x: np.ndarray, freedom: np.ndarray) -> np.ndarray:
    """The chance of Student's t above x."""
    from scipy.special import stdtr

    return cast(np.ndarray, stdtr(freedom, -x))


def student_at(p: float, freedom: np.ndarray) -> np.ndarray:
    """Student's t below which it lies with chance p."""
    from scipy.special import stdtrit

    return cast(np.ndarray, stdtrit(freedom, p))


def binomial_up_to(count: np.ndarray, cases: np.ndarray, share: np.ndarray) -> np.ndarray:
    """The chance of so many or fewer of so many cases; 0 below a count of 0."""
    from scipy.special import betaincc

    inside = (count >= 0) & (count < cases)
    k, rest = np.where(inside, count, 0.0), np.where(inside, cases - count, 1.0)
    return np.where(inside, betaincc(k + 1, rest, share), (count >= 0).astype(float))


def binomial_of(count: np.ndarray, cases: np.ndarray, share: np.ndarray) -> np.ndarray:
    """The chance of just so many of so many cases."""
    from scipy.special import gammaln, xlog1py, xlogy

    rest = cases - count
    ways = gammaln(cases + 1) - gammaln(count + 1) - gammaln(rest + 1)
    return cast(np.ndarray, np.exp(ways + xlogy(count, share) + xlog1py(rest, -share)))


def binomial_least(p: float, cases: np.ndarray, share: np.ndarray) -> np.ndarray:
    """The least count with a chance of p or more of so many or fewer."""
    from scipy.special import bdtrik

    count = np.ceil(bdtrik(p, cases, share))
    before = binomial_up_to(count - 1, cases, share)
    return cast(np.ndarray, np.where(before >= p, np.maximum(count - 1, 0), count))
