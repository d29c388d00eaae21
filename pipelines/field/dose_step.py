"""Figure 10: the value of an analyte at which the rate steps up, and whether it steps at all.

Belongs here: the step of one analyte and event. Does not belong here: the table (`dose_fits`), the
smooth curve (`dose_curve`).
"""

from __future__ import annotations

import zlib

import numpy as np

from pipelines.field.dose_rows import ROUNDS, Dosed, labels_of, poisson_fit
from pipelines.field.doses import Dose
from pipelines.field.poisson import Z_95
from pipelines.field.slices import FEWEST_FAILURES, FEWEST_UNITS

FEWEST_OF_A_STEP, LEAST_SIDE, PROFILE_DROP, RESAMPLES = 30, 0.05, 3.841458820694124, 499
_FEW = "cannot be estimated, because there were too few failures on unprotected days"
STEP = (
    "analyte",
    "event",
    "limit",
    "step_at",
    "step_low",
    "step_high",
    "ratio",
    "low",
    "high",
    "p_value",
    "failures",
    "verdict",
)


def step_of(dose: Dose, event: str, data: Dosed, units: int) -> dict[str, object]:
    """A row of `STEP`; without a step, with its note, where failures are few or waters alike."""
    count = int(data.failures.sum())
    row = labels_of(dose, event) | {
        "limit": dose.limit,
        "failures": count,
        "thin": count < FEWEST_FAILURES or units < FEWEST_UNITS,
    }
    blank = dict.fromkeys(
        ("step_at", "step_low", "step_high", "ratio", "low", "high", "p_value", "verdict")
    )
    cells = data.cells
    below = float(data.happened[cells.value <= dose.limit].sum())
    if count < FEWEST_OF_A_STEP:
        return row | blank | {"note": _FEW}
    values = np.unique(cells.value)
    years = np.bincount(np.searchsorted(values, cells.value), cells.years, minlength=len(values))
    share = np.cumsum(years) / years.sum()
    place = np.flatnonzero((share >= LEAST_SIDE) & (share <= 1 - LEAST_SIDE))
    place = place[place < len(values) - 1]
    if not len(place):
        return row | blank | {"note": "cannot be estimated, because all waters are alike"}
    likelihood, log_ratios, errors = _at_steps(data, values, place)
    best = int(np.argmax(likelihood))
    inside = np.flatnonzero(2 * (likelihood[best] - likelihood) <= PROFILE_DROP)
    log_ratio, error = float(log_ratios[best]), float(errors[best])
    p_value = _chance(data, values, place, f"{dose.family} {dose.analyte} {event}")
    step_low, step_high = float(values[place[inside[0]]]), float(values[place[inside[-1]] + 1])
    verdict = "limit_at_step"
    if p_value > 0.05:
        verdict = "no_step"
    elif dose.limit < step_low:
        verdict = "limit_below_step"
    elif dose.limit >= step_high:
        verdict = "limit_above_step"
    few = min(below, count - below) < 5
    return row | {
        "step_at": float(values[place[best]]),
        "step_low": step_low,
        "step_high": step_high,
        "ratio": float(np.exp(log_ratio)),
        "low": float(np.exp(log_ratio - Z_95 * error)),
        "high": float(np.exp(min(log_ratio + Z_95 * error, 30.0))),
        "p_value": p_value,
        "verdict": verdict,
        "note": "a rate on one side of the limit rests on fewer than 5 failures" if few else None,
    }


def _at_steps(
    data: Dosed, values: np.ndarray, place: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """For a step beyond each candidate: log likelihood, log ratio and its standard error.

    Fitted on cells of family, age band and side, which gives the same estimates as row by row; all
    candidates at once, since only the counts on either side differ.
    """
    cells = data.cells
    kinds, which = _kinds(cells.covariates)
    cell = which * len(values) + np.searchsorted(values, cells.value)
    shape = (len(kinds), len(values))
    sides = []
    for amount in (data.happened, cells.years):
        table = np.bincount(cell, amount, minlength=shape[0] * shape[1]).reshape(shape)
        under = np.cumsum(table, axis=1)[:, place].T
        sides.append(np.concatenate([under, table.sum(axis=1)[None, :] - under], axis=1))
    failures, years = sides  # candidates x cells, those below first
    above = np.repeat([0.0, 1.0], len(kinds))
    design = np.column_stack([np.tile(kinds, (2, 1)), above])
    terms = design.shape[1]
    beta = np.zeros((len(place), terms))
    beta[:, 0] = np.log(failures.sum() / years.sum())
    for _ in range(ROUNDS):
        mean = years * np.exp(np.clip(beta @ design.T, -30, 30))
        information = np.einsum("pi,cp,pj->cij", design, mean, design, optimize=True)
        trace = np.trace(information, axis1=1, axis2=2)
        information += 1e-9 * trace[:, None, None] * np.eye(terms)
        score = (failures - mean) @ design
        step = np.linalg.solve(information, score[:, :, None])[:, :, 0]
        beta = beta + np.clip(step, -3, 3)
        if np.abs(score).max() < 1e-7:
            break
    line = np.clip(beta @ design.T, -30, 30)
    likelihood: np.ndarray = (failures * line - years * np.exp(line)).sum(axis=1)
    errors = np.sqrt(np.linalg.inv(information)[:, -1, -1])
    return likelihood, beta[:, -1], errors


def _kinds(covariates: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The different rows of dummies, and which of them each row is."""
    spelled = covariates @ 2.0 ** np.arange(covariates.shape[1])[::-1]
    _, first, which = np.unique(spelled, return_index=True, return_inverse=True)
    return covariates[first], which


def _chance(data: Dosed, values: np.ndarray, place: np.ndarray, name: str) -> float:
    """How often resamples without a step have as large a likelihood ratio.

    The failures are drawn over the values as a regression on family and age band alone expects.
    """
    cells = data.cells
    kinds, which = _kinds(cells.covariates)
    fit = poisson_fit(kinds, np.bincount(which, data.happened), np.bincount(which, cells.years))
    if fit is None:
        return 1.0
    mean = cells.years * np.exp(kinds @ fit[0])[which]
    at = np.searchsorted(values, cells.value)
    expected = np.bincount(at, mean, minlength=len(values))
    observed = np.bincount(at, data.happened, minlength=len(values))
    total = int(observed.sum())
    below = np.cumsum(expected)[place] / expected.sum()

    def largest(counts: np.ndarray) -> np.ndarray:
        under = np.cumsum(counts, axis=1)[:, place]
        over = total - under
        with np.errstate(divide="ignore", invalid="ignore"):
            parts = np.where(under > 0, under * np.log(under / (total * below)), 0.0)
            parts = parts + np.where(over > 0, over * np.log(over / (total * (1 - below))), 0.0)
        top: np.ndarray = 2 * parts.max(axis=1)
        return top

    random = np.random.default_rng(zlib.crc32(name.encode()))
    drawn = random.multinomial(total, expected / expected.sum(), size=RESAMPLES)
    beyond = int((largest(drawn) >= largest(observed[None, :])[0] - 1e-12).sum())
    return (1 + beyond) / (1 + RESAMPLES)
