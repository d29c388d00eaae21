"""Figure 2: regions against all regions together, crude and with their water taken into account.

Belongs here: the comparison of regions. Does not belong here: shrinkage, funnel and limits
themselves (`shrinkage`, `funnel`, `poisson`), the regression (`adjustment`).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from pipelines.field.adjustment import adjusted_regions, days_in_bands
from pipelines.field.context import FLEET, FieldContext
from pipelines.field.episodes import episodes, water_stretches
from pipelines.field.funnel import funnel_limits, overdispersion, p_values, q_values
from pipelines.field.happened import of_event
from pipelines.field.poisson import garwood_limits
from pipelines.field.shrinkage import shrink
from pipelines.field.slices import DIMENSIONS, NO_EXPOSURE, NO_FAILURES, Slice, labelled, thin
from schemas import codes

_FUNNEL = (
    "funnel_95_low",
    "funnel_95_high",
    "funnel_998_low",
    "funnel_998_high",
    "p_value",
    "q_value",
)
COLUMNS = (
    "event",
    "failures",
    "units",
    "unit_years",
    "rate_per_100",
    "low",
    "high",
    "shrunk_per_100",
    "expected",
    "crude_ratio",
    "adjusted_ratio",
    "adjusted_low",
    "adjusted_high",
    "adjusted_p_value",
    "adjusted_q_value",
    *_FUNNEL,
    "flagged",
    "direction",
    "confounded",
)
DAYS_PER_YEAR = 365.25
FALSE_DISCOVERY_RATE = 0.10
# Share of a region's time in cells of water and family in which the others have as much, below
# which no method can tell the region from its water.
LEAST_OVERLAP = 0.10
_ONE = "the only region: there is nothing to compare it with"
_APART = "region and water hardly overlap here: no method can part them"


def regions(context: FieldContext, dims: Slice = ("region",)) -> pl.DataFrame:
    """Every region for all failures and for water-caused ones.

    Crude = failures / expected at the overall rate. Funnel limits are around 1, widened by the
    overdispersion of the regions (Spiegelhalter 2005); p and q come from the same and flag nobody.
    The adjusted p is Wald's (`adjustment`), its q Benjamini & Hochberg's over the regions of one
    event that are not thin; flagged, above or below 1, where that is 10 % or less and region and
    water overlap. Sliced by more than the region, regions are compared within each of the other
    dimensions' groups.
    """
    exposed, waters = episodes(context), water_stretches(context)
    others = [name for name in dims if name not in ("region", "cause_class")]
    placed = tuple(name for name in DIMENSIONS if name in {*dims, "region"})
    classes: list[str | None] = [*context.classes] if "cause_class" in dims else [None]
    parts = []
    groups = context.units.select(FLEET, *others).unique().sort(FLEET, *others)
    for group in groups.to_dicts():
        inside = pl.all_horizontal(pl.col(name) == word for name, word in group.items())
        units, stretches = context.units.filter(inside), exposed.filter(inside)
        failed, days = context.failures.filter(inside), days_in_bands(waters.filter(inside))
        for name in classes:
            of_class = failed if name is None else failed.filter(pl.col("cause_class") == name)
            within = replace(context, units=units, failures=of_class)
            labels = {key: word for key, word in group.items() if key != FLEET}
            labels |= {"cause_class": name} if name else {}
            parts += [
                _compared_regions(within, stretches, days, event).with_columns(
                    pl.lit(word).alias(key) for key, word in labels.items()
                )
                for event in codes.EVENTS
            ]
    if not parts:  # the columns, without a row
        none = _compared_regions(context, exposed, days_in_bands(waters), "any").clear()
        parts = [none.with_columns(pl.lit("").alias(name) for name in placed if name != "region")]
    rows = pl.concat(parts, how="diagonal_relaxed").sort(*placed, "event")
    return labelled(rows, placed, COLUMNS)


def _compared_regions(
    context: FieldContext, exposed: pl.DataFrame, days: pl.DataFrame, event: str
) -> pl.DataFrame:
    table = _of_event(context, exposed, days, event).join(overlap(days), on="region", how="left")
    confounded = (pl.col("overlap") < LEAST_OVERLAP).fill_null(False)
    significant = (pl.col("adjusted_q_value") <= FALSE_DISCOVERY_RATE).fill_null(False)
    above = pl.col("adjusted_ratio") > 1
    return (
        table.with_columns(confounded=confounded, flagged=significant & ~confounded)
        .with_columns(
            direction=pl.when("flagged").then(
                pl.when(above).then(pl.lit("above")).otherwise(pl.lit("below"))
            ),
            note=_notes(),
        )
        .drop("overlap", "regions")
    )


def _of_event(
    context: FieldContext, exposed: pl.DataFrame, days: pl.DataFrame, event: str
) -> pl.DataFrame:
    failures = context.failures.filter(of_event(event))
    counted = failures.group_by("region").agg(failures=pl.len().cast(pl.Int64))
    time = exposed.group_by("region").agg(
        units=pl.col("serial").n_unique().cast(pl.Int64), unit_years=pl.col("days").sum() / 365.25
    )
    table = (
        context.units.select("region")
        .unique()
        .join(time, on="region", how="left")
        .join(counted, on="region", how="left")
        .with_columns(pl.col("units", "failures").fill_null(0), pl.col("unit_years").fill_null(0.0))
        .sort("region")
    )
    count = table["failures"].to_numpy().astype(float)
    years = table["unit_years"].to_numpy()
    total_years = years.sum()
    overall = count.sum() / total_years if total_years > 0 else np.nan
    expected = years * overall
    figures = _compared(count, years, expected, overall)
    adjusted = adjusted_regions(failures, days)
    placed = table.with_columns(
        pl.lit(event).alias("event"),
        *(pl.Series(name, values) for name, values in figures.items()),
        thin=thin(),
        regions=pl.len(),
    ).join(adjusted, on="region", how="left", maintain_order="left")
    return placed.with_columns(adjusted_q_value=adjusted_q_values(placed))


def adjusted_q_values(table: pl.DataFrame) -> pl.Series:
    """Benjamini & Hochberg's over the regions that are not thin; null elsewhere."""
    ranked = ~table["thin"] & table["adjusted_p_value"].is_not_null()
    adjusted = np.full(table.height, np.nan)
    place = ranked.arg_true().to_numpy()
    adjusted[place] = q_values(table["adjusted_p_value"].gather(place).to_numpy())
    return pl.Series(adjusted, nan_to_null=True)


def _compared(
    count: np.ndarray, years: np.ndarray, expected: np.ndarray, overall: float
) -> dict[str, np.ndarray]:
    """Rates, shrinkage and funnel of regions; NaN where nothing can be said."""
    nothing = np.full(len(count), np.nan)
    usable = np.isfinite(expected) & (expected > 0)
    low, high = garwood_limits(count)
    with np.errstate(divide="ignore", invalid="ignore"):
        per_100 = np.where(years > 0, 100 / years, np.nan)
        crude = np.where(usable, count / expected, np.nan)
    figures = {
        "rate_per_100": count * per_100,
        "low": low * per_100,
        "high": high * per_100,
        "shrunk_per_100": nothing.copy(),
        "expected": np.where(years > 0, expected, np.nan),
        "crude_ratio": crude,
        **{name: nothing.copy() for name in _FUNNEL},
    }
    shrunk = shrink(count, np.where(usable, expected, 0.0))
    if shrunk is not None:
        ratios = nothing.copy()
        ratios[: len(ratios)] = shrunk.ratios
        figures["shrunk_per_100"] = np.where(usable, 100 * overall * ratios, np.nan)
    if usable.sum() >= 2:
        o, e = count[usable], expected[usable]
        spread = max(1.0, overdispersion(o, e))
        for name, tail in (
            ("funnel_95_low", 0.025),
            ("funnel_95_high", 0.975),
            ("funnel_998_low", 0.001),
            ("funnel_998_high", 0.999),
        ):
            figures[name][usable] = funnel_limits(e, tail, spread)
        p = p_values(o, e, spread)
        figures["p_value"][usable] = p
        figures["q_value"][usable] = q_values(p)
    return figures


def overlap(days: pl.DataFrame) -> pl.DataFrame:
    """For each region the share of its time in needs x family where the others have as much."""
    cells = days.group_by("region", "needs", "family").agg(pl.col("y").sum())
    others = pl.col("y").sum().over("needs", "family") - pl.col("y")
    shared = pl.when(others >= pl.col("y")).then("y").otherwise(0.0)
    return (
        cells.with_columns(shared=shared, regions=pl.col("region").n_unique())
        .group_by("region")
        .agg(
            overlap=pl.when(pl.col("regions").first() > 1).then(
                pl.col("shared").sum() / pl.col("y").sum()
            )
        )
    )


def _notes() -> pl.Expr:
    return (
        pl.when(pl.col("unit_years") <= 0)
        .then(pl.lit(NO_EXPOSURE))
        .when(pl.col("regions") == 1)
        .then(pl.lit(_ONE))
        .when("confounded")
        .then(pl.lit(_APART))
        .when(pl.col("failures") == 0)
        .then(pl.lit(f"adjusted ratio {NO_FAILURES}"))
        .when(pl.col("adjusted_ratio").is_null())
        .then(pl.lit("adjusted ratio cannot be estimated, because waters and regions coincide"))
    )
