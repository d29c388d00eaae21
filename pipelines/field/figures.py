"""All figures by name, and the slices in which each is always there.

Belongs here: the register of figures. Does not belong here: any estimate.
"""

from __future__ import annotations

from collections.abc import Callable

import polars as pl

from pipelines.field.cohorts import cohorts
from pipelines.field.context import FieldContext
from pipelines.field.costs import agency_labor, costs
from pipelines.field.early_warning import warnings
from pipelines.field.first_failures import first_causes, survival, weibull
from pipelines.field.forecast import forecast
from pipelines.field.rates import rates
from pipelines.field.regions import regions
from pipelines.field.repeats import repeat_failures
from pipelines.field.slices import ALWAYS, Slice
from pipelines.field.treatment import treatment_effect, treatment_ratios

Figure = Callable[[FieldContext, Slice], pl.DataFrame]

FIGURES: dict[str, Figure] = {
    "rates": rates,
    "regions": regions,
    "survival": survival,
    "weibull": weibull,
    "first_causes": first_causes,
    "repeat_failures": repeat_failures,
    "cohorts": cohorts,
    "treatment_effect": treatment_effect,
    "treatment_ratios": treatment_ratios,
    "warnings": warnings,
    "forecast": forecast,
    "costs": costs,
    "agency_labor": agency_labor,
}
# Figures that split by the state of the treatment, or by cause, themselves are not sliced by it.
_NOT_BY = {
    "treatment_effect": {"treatment"},
    "treatment_ratios": {"treatment"},
    "first_causes": {"cause_class"},
    "cohorts": {"treatment"},
}
# Months of every group are many; early warning is by what a factory or a supplier can act on.
_ONLY: dict[str, tuple[Slice, ...]] = {
    "regions": (("region",),),
    "agency_labor": ((),),
    "forecast": ((), ("family",), ("region",), ("profile",)),
    "warnings": ((), ("family",), ("cause_class",), ("family", "cause_class")),
}


def slices_of(name: str) -> list[Slice]:
    """The slices in which a figure is always there."""
    if name in _ONLY:
        return list(_ONLY[name])
    return [dims for dims in ALWAYS if not set(dims) & _NOT_BY.get(name, set())]


def always(context: FieldContext, name: str) -> pl.DataFrame:
    """One figure in all slices that are always there."""
    return pl.concat(
        [FIGURES[name](context, dims) for dims in slices_of(name)], how="vertical_relaxed"
    )
