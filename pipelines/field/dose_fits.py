"""Figure 10: the tables of curves and of steps, fitted while the days of an analyte are at hand.

Belongs here: the tables `dose_curve` and `dose_step`. Does not belong here: the fits themselves
(`dose_curve`, `dose_step`), bins (`dose_bins`).
"""

from __future__ import annotations

import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.dose_curve import CURVE, FEWEST_OF_A_CURVE, curve, line_of
from pipelines.field.dose_rows import dosed_rows, figure_of, unprotected
from pipelines.field.dose_step import STEP, step_of
from pipelines.field.doses import doses


def dose_curve(context: FieldContext) -> pl.DataFrame:
    """The rate at 40 values over the middle 95 % of the unit-years, clustered by site.

    A Poisson regression with a natural cubic spline (4 degrees of freedom) in ln(1 + value), family
    and age band; the rates are those of the mix of families and ages that was watched. On days that
    no system protects.
    """
    return _fits(context)[0]


def dose_step(context: FieldContext) -> pl.DataFrame:
    """Where the rate steps, by maximum likelihood, with its 95 % set by profile likelihood.

    Candidates are the values seen that leave 5 % of the unit-years on either side; `step_at` is
    the last value below the step, `step_high` the first value seen that is surely above it. p is
    that of there being a step at all, by 499 seeded resamples of the largest likelihood ratio.
    """
    return _fits(context)[1]


def _fits(context: FieldContext) -> tuple[pl.DataFrame, pl.DataFrame]:
    return context.once("dose fits", lambda: _fitted(context))


def _fitted(context: FieldContext) -> tuple[pl.DataFrame, pl.DataFrame]:
    curves, steps = [], []
    for dose in doses(context):
        cells, line = unprotected(context, dose), None
        for event in dose.events:
            data = dosed_rows(context, cells, event)
            if line is None and data.failures.sum() >= FEWEST_OF_A_CURVE:
                line = line_of(data)
            curves.append(curve(dose, event, data, cells.units, line))
            steps.append([step_of(dose, event, data, cells.units)])
    return figure_of(curves, CURVE), figure_of(steps, STEP)
