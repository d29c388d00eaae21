"""All figures by name, and the slices in which each is always there.

Belongs here: the register of figures. Does not belong here: any estimate.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, partial

import polars as pl

from pipelines.errors import UsageError
from pipelines.field.agencies import agency_figures
from pipelines.field.alarms import alarms
from pipelines.field.cohort_ratios import cohort_ratios
from pipelines.field.cohorts import cohorts
from pipelines.field.completion_record import completion_record
from pipelines.field.context import FieldContext
from pipelines.field.costs import RECORDED, costs, costs_by
from pipelines.field.dose_bins import dose_bins
from pipelines.field.dose_fits import dose_curve, dose_step
from pipelines.field.early_warning import warnings
from pipelines.field.failures import field_failures
from pipelines.field.first_causes import first_causes
from pipelines.field.first_failures import survival
from pipelines.field.forecast import forecast, forecast_year
from pipelines.field.forecast_record import forecast_model, forecast_record
from pipelines.field.groups import Grouped, TimeAtRisk, grouped
from pipelines.field.life_fits import probability_plot, weibull
from pipelines.field.rates import rates
from pipelines.field.regions import regions
from pipelines.field.repeats import repeat_failures
from pipelines.field.reporting_lag import reporting_lags
from pipelines.field.screen import screen
from pipelines.field.sensitivity import clock_starts, sensitivity
from pipelines.field.sentences import field_sentences
from pipelines.field.slice_rates import slice_rates
from pipelines.field.slices import ALWAYS, DIMENSIONS, Slice
from pipelines.field.standard_curves import standard_curves
from pipelines.field.treatment import treatment_effect, treatment_ratios
from pipelines.field.watch_length import watch_length

_SLICED: dict[str, Callable[[FieldContext, Slice], pl.DataFrame]] = {
    "rates": rates,
    "regions": regions,
    "cohorts": cohorts,
    "treatment_effect": treatment_effect,
    "forecast": forecast,
    "forecast_year": forecast_year,
    "completion_record": completion_record,
    "costs": costs,
}
# From episodes and failures by age, numbered once for all of them.
_BY_AGE: dict[str, Callable[[Grouped], pl.DataFrame]] = {
    "survival": survival,
    "weibull": weibull,
    "probability_plot": probability_plot,
    "first_causes": first_causes,
    "repeat_failures": repeat_failures,
    "treatment_ratios": treatment_ratios,
}
BY_AGE = tuple(_BY_AGE)
SENTENCES = "field_sentences"
_BY_STATE = ("treatment_ratios",)  # whose stretches are those of one state whatever the slice
_WHOLE: dict[str, Callable[[FieldContext], pl.DataFrame]] = {
    "warnings": warnings,
    "alarms": alarms,
    "standard_curves": standard_curves,
    "watch_length": watch_length,
    "cohort_ratios": cohort_ratios,
    "forecast_record": forecast_record,
    "forecast_model": forecast_model,
    "dose_bins": dose_bins,
    "screen": screen,
    "dose_curve": dose_curve,
    "dose_step": dose_step,
    "field_sentences": lambda context: sentences_of(context),
    "slice_rates": slice_rates,
    "field_failures": field_failures,
    "agency_figures": agency_figures,
    "clock_starts": clock_starts,
    "sensitivity": sensitivity,
    "reporting_lags": lambda context: reporting_lags(context.failures, context.as_of),
}
# What a figure cannot be sliced by, because it goes by the state of the treatment itself, or
# because a unit has no one state over the time that it is about.
_NOT_BY = dict.fromkeys(
    (
        *("regions", "cohorts", "treatment_effect", "treatment_ratios"),
        *("forecast", "forecast_year"),
    ),
    ("treatment",),
) | {"completion_record": ("treatment", "cause_class")}


def figure(context: FieldContext, name: str, dims: Slice) -> pl.DataFrame:
    """One figure in one slice.

    Raises:
        UsageError: the figure cannot be sliced so.
    """
    refused = DIMENSIONS if name in _WHOLE else _NOT_BY.get(name, ())
    for dim in dims:
        if dim in refused:
            others = ", ".join(word for word in DIMENSIONS if word not in refused)
            way_out = f"it takes {others}" if others else "leave --by out"
            raise UsageError(f"{name} cannot be sliced by {dim}; {way_out}.")
    if name in _WHOLE:
        return _WHOLE[name](context)
    if name in _BY_AGE:
        return _BY_AGE[name](grouped(TimeAtRisk.of(context, by_state=_by_state(name, dims)), dims))
    return _SLICED[name](context, dims)


def _by_state(name: str, dims: Slice) -> bool:
    return name in _BY_STATE or "treatment" in dims


def slices_of(name: str) -> list[Slice]:
    """The slices in which a figure is always there."""
    if name in _WHOLE:
        return [()]
    if name == "regions":
        return [("region",)]
    if name == "completion_record":  # small groups have too few cells to tell anything
        return [(), *((dim,) for dim in ("family", "region", "profile", "startup"))]
    refused = {*_NOT_BY.get(name, ()), *(("cause_class",) if name == "first_causes" else ())}
    return [dims for dims in ALWAYS if not refused & set(dims)]


def always(context: FieldContext, name: str) -> pl.DataFrame:
    """One figure in all slices that are always there."""
    if name in _BY_AGE:
        return always_by_age(context, name)[name]
    parts = [figure(context, name, dims) for dims in slices_of(name)]
    if name == "costs":
        parts += [costs_by(context, record) for record in RECORDED]
    return pl.concat(parts, how="vertical_relaxed")


def always_by_age(context: FieldContext, *names: str) -> dict[str, pl.DataFrame]:
    """The same for several figures of `BY_AGE`, which share what is counted."""
    at_risk = cache(lambda by_state: TimeAtRisk.of(context, by_state=by_state))
    parts: dict[str, list[pl.DataFrame]] = {name: [] for name in names}
    for dims in ALWAYS:
        slices = cache(lambda by_state, dims=dims: grouped(at_risk(by_state), dims))
        for name in names:
            if dims in slices_of(name):
                parts[name].append(_BY_AGE[name](slices(_by_state(name, dims))))
    tables = {name: pl.concat(own, how="vertical_relaxed") for name, own in parts.items()}
    for name, table in tables.items():
        context.once(("always", name), partial(_same, table))
    return tables


def _same(table: pl.DataFrame) -> pl.DataFrame:
    return table


def known(context: FieldContext, name: str) -> pl.DataFrame:
    """One figure in all its slices, made once for a context."""
    return context.once(("always", name), lambda: always(context, name))


def sentences_of(context: FieldContext) -> pl.DataFrame:
    """The sentences of all figures that have one."""
    return field_sentences(context, lambda name: known(context, name))


def _sliced_by(name: str) -> Callable[[FieldContext, Slice], pl.DataFrame]:
    def of_slice(context: FieldContext, dims: Slice = ()) -> pl.DataFrame:
        return figure(context, name, dims)

    return of_slice


FIGURES: dict[str, Callable[[FieldContext, Slice], pl.DataFrame]] = {
    name: _sliced_by(name) for name in (*_SLICED, *_BY_AGE, *_WHOLE)
}
