"""Figure 10: which analytes are looked at, and the days and failures at each value of them.

Belongs here: doses, and the analyte and the protection of a day. Does not belong here: bins
(`dose_bins`), rows of a regression (`dose_rows`).

Days and failures are laid out as arrays once; each dose then takes its part of them, since two
dozen doses of a small fleet cost more in queries than in sums.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.dimensions import BANDS, split_bands
from pipelines.field.slices import ALL


class Dose(NamedTuple):
    """One analyte with its limit for one family (or `all`), and the events that it is held to."""

    family: str
    analyte: str
    limit: float
    needs: str
    events: tuple[str, ...]


class Laid(NamedTuple):
    """Days or failures of the families that need treatment: one element a stretch, or a failure.

    unit: its number. site, family, age: numbers in the order of their words. product: its place
    among the sets of products that occur. sample: its place among the grounds'; -1: none. days: of
    a stretch; 1 for a failure. row: its place in the frame that it is of.
    """

    unit: np.ndarray
    site: np.ndarray
    family: np.ndarray
    age: np.ndarray
    product: np.ndarray
    sample: np.ndarray
    days: np.ndarray
    row: np.ndarray

    def taken(self, which: np.ndarray) -> Laid:
        """Some of them."""
        return Laid(*(part[which] for part in self))


class AtDose(NamedTuple):
    """The part of a dose's families: with the analyte's value, or its bound where that is within
    the limit (NaN: not known), and whether an installed good system has the limit's ability."""

    laid: Laid
    value: np.ndarray
    protected: np.ndarray

    def only(self, which: np.ndarray) -> AtDose:
        """Some of them."""
        return AtDose(self.laid.taken(which), self.value[which], self.protected[which])


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
    classes = {need: _classes(context, need) for need in rows["needs"].unique()}
    return [
        Dose(family, analyte, limit, needs or "", ("water", *classes[needs]))
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
    return pl.col("product").is_in(_able(context, need))


def _able(context: FieldContext, need: str) -> list[str]:
    """The sets of installed products of which one has an ability."""
    able = {product for product, does in context.grounds.systems if need in does}
    return [x for x in _products(context) if able & {*(x or "").split("+")}]


def _products(context: FieldContext) -> list[str]:
    return context.once("installed products", lambda: context.spans["product"].unique().to_list())


def days_at(context: FieldContext, dose: Dose, *, banded: bool = False) -> AtDose:
    """The stretches of days of a dose; `banded`: split at each band of age."""
    return _at(context, dose, ("dose days", banded), lambda: _days(context, banded))


def failures_at(context: FieldContext, dose: Dose) -> AtDose:
    """The failures of a dose, each with the analyte of its day and the protection."""
    return _at(context, dose, ("dose failures",), lambda: _failures(context))


def families(context: FieldContext) -> list[str]:
    """The families that need treatment, in the order of the numbers of `Laid.family`."""
    return sorted(context.grounds.needing)


def _at(
    context: FieldContext, dose: Dose, key: tuple[object, ...], make: Callable[[], Laid]
) -> AtDose:
    names = families(context)
    own = [names.index(name) for name in families_of(context, dose)]

    def of_families() -> Laid:
        laid = context.once(key, make)
        return laid if len(own) == len(names) else laid.taken(np.isin(laid.family, own))

    part = context.once((*key, *own), of_families)
    value, able = _of_samples(context, dose)
    return AtDose(part, value[part.sample], able[part.product])


def values_of(context: FieldContext, dose: Dose) -> tuple[np.ndarray, np.ndarray]:
    """The values of a dose in rising order, and by sample which of them it has, as `Laid` numbers
    samples; those without a value have one more than the last."""

    def ranked() -> tuple[np.ndarray, np.ndarray]:
        values, rank = np.unique(_of_samples(context, dose)[0], return_inverse=True)
        return values[:-1], rank  # behind the values stands NaN

    return context.once(("dose ranks", dose.analyte, dose.limit, dose.needs), ranked)


def _of_samples(context: FieldContext, dose: Dose) -> tuple[np.ndarray, np.ndarray]:
    return context.once(
        ("dose values", dose.analyte, dose.limit, dose.needs), lambda: _known(context, dose)
    )


def _known(context: FieldContext, dose: Dose) -> tuple[np.ndarray, np.ndarray]:
    """Values by sample and protection by product; the last of each is that of none."""
    bound = pl.col(f"{dose.analyte}_below")
    known = pl.coalesce(dose.analyte, pl.when(bound <= dose.limit).then(bound))
    values = context.grounds.samples.select(known.cast(pl.Float64)).to_series().to_numpy()
    able = {*_able(context, dose.needs)}
    products = [name in able for name in _products(context)]
    return np.append(values, np.nan), np.array([*products, False])


def _days(context: FieldContext, banded: bool) -> Laid:
    of_unit = context.units.select("unit", "family", "site")
    needing = [*context.grounds.needing]
    spans = context.spans.join(of_unit, on="unit").filter(pl.col("family").is_in(needing))
    dates = ("from_on", "until_on")
    own = spans.select("unit", "site", "family", "sample", "product", "entry", "exit", *dates)
    own = split_bands(own) if banded else own.with_columns(age=pl.lit(""))
    laid = _laid(context, own.with_columns(days=pl.col("exit") - pl.col("entry")), "age")
    return laid.taken(np.argsort(laid.site, kind="stable"))  # as regressions want them


def _failures(context: FieldContext) -> Laid:
    rows = context.failures.with_row_index("row").with_columns(days=pl.lit(1, pl.Int64))
    return _laid(context, rows.filter(pl.col("family").is_in([*context.grounds.needing])), "band")


def _laid(context: FieldContext, rows: pl.DataFrame, band: str) -> Laid:
    """The columns as numbers; `row` where it is not told yet is the place."""
    if "row" not in rows.columns:
        rows = rows.with_row_index("row")
    samples = context.grounds.samples.select("sample").with_row_index("place")
    sites = context.units.select("unit", of_site=pl.col("site").rank("dense") - 1)
    words = {
        "family": families(context),
        band: sorted(BANDS),
        "product": _products(context),
    }
    coded = {
        name: pl.col(name)
        .replace_strict(
            dict(zip(known, range(len(known)), strict=True)), default=-1, return_dtype=pl.Int64
        )
        .fill_null(-1)
        for name, known in words.items()
    }
    columns = (
        rows.join(samples, on="sample", how="left", maintain_order="left")
        .join(sites, on="unit", how="left", maintain_order="left")
        .select("unit", "of_site", "days", "row", place=pl.col("place").fill_null(-1), **coded)
    )
    order = ("unit", "of_site", "family", band, "product", "place", "days", "row")
    return Laid(*(columns[name].cast(pl.Int64).to_numpy() for name in order))
