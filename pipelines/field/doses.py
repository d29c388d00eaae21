"""Figure 10: which analytes are looked at, and the days and failures at each value of them.

Belongs here: doses, and the analyte and the protection of a day. Does not belong here: bins
(`dose_bins`), rows of a regression (`dose_rows`).
"""

from __future__ import annotations

from typing import NamedTuple

import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.dimensions import split_bands
from pipelines.field.slices import ALL


class Dose(NamedTuple):
    """One analyte with its limit for one family (or `all`), and the events that it is held to."""

    family: str
    analyte: str
    limit: float
    needs: str
    events: tuple[str, ...]


def doses(context: FieldContext) -> list[Dose]:
    """Every analyte that the newest terms limit by a maximum, for each family and for all.

    Families that need treatment; for all of them together the most frequent limit (the lowest of
    those as frequent). Events: water, and the classes of causes that the limit's ability prevents.
    """
    return context.once("doses", lambda: _doses(context))


def _doses(context: FieldContext) -> list[Dose]:
    grounds = context.grounds
    present = set(context.units["family"].unique())
    own = grounds.limits.filter(pl.col("family").is_in([*grounds.needing]))
    own = own.filter(pl.col("family").is_in(list(present)))
    pooled = (
        own.group_by("analyte", "limit", "needs")
        .len()
        .sort("len", "limit", descending=[True, False])
        .unique("analyte", keep="first", maintain_order=True)
        .with_columns(family=pl.lit(ALL))
    )
    rows = pl.concat([pooled.select(own.columns), own]).sort("analyte", "family")
    return [
        Dose(family, analyte, limit, needs or "", ("water", *_classes(context, needs)))
        for family, analyte, limit, needs in rows.rows()
    ]


def _classes(context: FieldContext, need: str | None) -> list[str]:
    causes = context.grounds.causes.filter(pl.col("abilities").list.contains(need or ""))
    return sorted(causes["class"].unique())


def families_of(context: FieldContext, dose: Dose) -> list[str]:
    """The families whose units a dose is about."""
    return [*context.grounds.needing] if dose.family == ALL else [dose.family]


def protected(context: FieldContext, need: str) -> pl.Expr:
    """Whether one of the installed good systems of a day has an ability."""
    able = {product for product, does in context.grounds.systems if need in does}
    installed = context.once("installed products", lambda: context.spans["product"].unique())
    return pl.col("product").is_in([x for x in installed if able & {*(x or "").split("+")}])


def dosed_days(context: FieldContext, dose: Dose, *, banded: bool = False) -> pl.DataFrame:
    """The spans of the dose's families with the analyte of the test in force.

    Returns:
        unit, site, family, entry, exit, value and bound (null where not known), and protected:
        whether an installed good system has the limit's ability; `banded`: split at each band of
        age, with `age`.
    """
    return _dosed(
        context, dose, context.once(("dosed days", banded), lambda: _days(context, banded))
    )


def dosed_failures(context: FieldContext, dose: Dose) -> pl.DataFrame:
    """The failures of the dose's families, each with the analyte of its day and the protection.

    Returns:
        call, unit, site, family, band, cause_class, water_related, and as in `dosed_days`.
    """
    own = context.once("dosed failures", lambda: _failures(context))
    return _dosed(context, dose, own)


def _dosed(context: FieldContext, dose: Dose, rows: pl.DataFrame) -> pl.DataFrame:
    own = rows.filter(pl.col("family").is_in(families_of(context, dose)))
    samples, place = context.grounds.samples, own["place"]
    return own.drop("place", "product").with_columns(
        samples[dose.analyte].gather(place).alias("value"),
        samples[f"{dose.analyte}_below"].gather(place).alias("bound"),
        own.select(protected(context, dose.needs)).to_series().fill_null(False).alias("protected"),
    )


def _days(context: FieldContext, banded: bool) -> pl.DataFrame:
    of_unit = context.units.select("unit", "family", "site")
    spans = context.spans.join(of_unit, on="unit").filter(
        pl.col("family").is_in([*context.grounds.needing])
    )
    dates = ("from_on", "until_on") if banded else ()
    own = _placed(context, spans).select(
        "unit", "site", "family", "place", "product", "entry", "exit", *dates
    )
    return split_bands(own).drop(dates) if banded else own


def _failures(context: FieldContext) -> pl.DataFrame:
    own = context.failures.filter(pl.col("family").is_in([*context.grounds.needing]))
    kind = ("cause_class", "water_related")
    return _placed(context, own).select(
        "call", "unit", "site", "family", "band", *kind, "place", "product"
    )


def _placed(context: FieldContext, rows: pl.DataFrame) -> pl.DataFrame:
    """With the place of the sample among those of the grounds; null where it has none."""
    places = context.grounds.samples.select("sample").with_row_index("place")
    return rows.join(places, on="sample", how="left", maintain_order="left")
