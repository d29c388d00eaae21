"""Regions with water, family and age taken into account: a Poisson regression.

Belongs here: the regression and its limits clustered by unit. Does not belong here: the other
figures of regions (`regions`).

The model has a term for each region, water profile, family and band of months in service, and the
unit-days as offset. It is fitted on cells, which gives the same estimate as unit by unit; the
sandwich variance needs the units' residuals and is summed up per cell and pair of bands.
"""

from __future__ import annotations

import warnings

import numpy as np
import polars as pl

from pipelines.field.poisson import Z_95

# Ages, in days, at which a new band of months in service begins.
BANDS_DAYS = tuple(round(months * 30.4375) for months in (0, 6, 12, 18, 24, 36, 48))
_KINDS = ("region", "profile", "family")
_EMPTY = pl.Schema(
    {
        "region": pl.String,
        "adjusted_ratio": pl.Float64,
        "adjusted_low": pl.Float64,
        "adjusted_high": pl.Float64,
    }
)


def adjusted_regions(
    failures: pl.DataFrame, exposed: pl.DataFrame, days: pl.DataFrame | None = None
) -> pl.DataFrame:
    """exp(a region's term - the unit-year-weighted mean of the regions' terms), with 95 % limits.

    Args:
        failures: serial, age, and region, profile, family of the unit.
        exposed: of `context.episodes`: serial, entry, days, region, profile, family.
        days: `days_in_bands` of the same, where they are at hand.

    Returns:
        region, adjusted_ratio, adjusted_low, adjusted_high; regions without a failure, or whose
        term the data cannot part from that of a water, are not among them.
    """
    units = _with_failures(failures, days_in_bands(exposed) if days is None else days)
    for kind in (*_KINDS, "band"):
        # A level without any failure has no finite term; its cells say nothing of the others.
        with_failures = units.group_by(kind).agg(pl.col("f").sum()).filter(pl.col("f") > 0)[kind]
        units = units.filter(pl.col(kind).is_in(with_failures.implode()))
    if units["region"].n_unique() < 2:
        return _EMPTY.to_frame()
    return _fit(units)


def days_in_bands(exposed: pl.DataFrame) -> pl.DataFrame:
    """Days of each unit in each band of age: serial, region, profile, family, band, y."""
    ends = [*BANDS_DAYS[1:], 10**6]
    spans = [
        exposed.select(
            "serial",
            *_KINDS,
            band=pl.lit(band, pl.Int64),
            y=(
                pl.min_horizontal(pl.col("entry") + pl.col("days"), end)
                - pl.max_horizontal("entry", start)
            ),
        ).filter(pl.col("y") > 0)
        for band, (start, end) in enumerate(zip(BANDS_DAYS, ends, strict=True))
    ]
    return (
        pl.concat(spans)
        .group_by("serial", *_KINDS, "band")
        .agg(pl.col("y").sum().cast(pl.Float64))
        .sort("serial", "band")
    )


def _with_failures(failures: pl.DataFrame, days: pl.DataFrame) -> pl.DataFrame:
    """`days_in_bands` with the failures of each, f."""
    band = pl.sum_horizontal((pl.col("age") >= start).cast(pl.Int64) for start in BANDS_DAYS) - 1
    counted = failures.group_by("serial", band=band).agg(f=pl.len())
    return days.join(
        counted, on=["serial", "band"], how="left", maintain_order="left"
    ).with_columns(pl.col("f").fill_null(0).cast(pl.Float64))


def _fit(units: pl.DataFrame) -> pl.DataFrame:
    from statsmodels.genmod.families import Poisson
    from statsmodels.genmod.generalized_linear_model import GLM
    from statsmodels.tools.sm_exceptions import PerfectSeparationWarning

    cells = units.group_by(*_KINDS, "band").agg(pl.col("f", "y").sum()).sort(*_KINDS, "band")
    design, names = _design(cells)
    kept = _independent(design)
    model = GLM(
        cells["f"].to_numpy(),
        design[:, kept],
        family=Poisson(),
        offset=np.log(cells["y"].to_numpy()),
    )
    with warnings.catch_warnings(), np.errstate(invalid="ignore", divide="ignore"):
        # So few cells that the terms give each its count: no harm to terms or sandwich.
        warnings.simplefilter("ignore", PerfectSeparationWarning)
        fitted = model.fit()
    rate = cells.select(*_KINDS, "band").with_columns(
        rate=fitted.fittedvalues / cells["y"].to_numpy(), cell=pl.int_range(pl.len())
    )
    bread = np.asarray(fitted.normalized_cov_params)
    meat = _clustered(units.join(rate, on=[*_KINDS, "band"]), design[:, kept])
    groups = units["serial"].n_unique()
    covariance = bread @ meat @ bread * groups / max(groups - 1, 1)
    return _contrasts(units, names, design, kept, np.asarray(fitted.params), covariance)


def _design(cells: pl.DataFrame) -> tuple[np.ndarray, list[tuple[str, str]]]:
    """All regions, and every other kind without its first level."""
    columns, names = [], []
    for kind in (*_KINDS, "band"):
        levels = cells[kind].unique().sort().to_list()
        for level in levels if kind == "region" else levels[1:]:
            columns.append((cells[kind] == level).to_numpy().astype(float))
            names.append((kind, level))
    return np.column_stack(columns), names


def _independent(design: np.ndarray) -> np.ndarray:
    """Columns that are no combination of those before them, in their order."""
    kept: list[int] = []
    basis = np.zeros((design.shape[0], 0))
    for column in range(design.shape[1]):
        rest = design[:, column] - basis @ (basis.T @ design[:, column])
        if np.linalg.norm(rest) > 1e-8 * max(float(np.linalg.norm(design[:, column])), 1.0):
            basis = np.column_stack([basis, rest / np.linalg.norm(rest)])
            kept.append(column)
    return np.array(kept)


def _clustered(units: pl.DataFrame, design: np.ndarray) -> np.ndarray:
    """Sum over units of the outer product of their scores.

    A unit is in few cells: its residuals stand in a sparse matrix of units and cells.
    """
    from scipy.sparse import csr_array

    ordered = units.sort("serial", "cell")
    residual = ordered.select(pl.col("f") - pl.col("rate") * pl.col("y")).to_series().to_numpy()
    unit = ordered["serial"].rle_id().to_numpy()
    shape = (int(unit[-1]) + 1, len(design))
    scores = csr_array((residual, (unit, ordered["cell"].to_numpy())), shape=shape)
    meat: np.ndarray = design.T @ ((scores.T @ scores) @ design)
    return meat


def _contrasts(
    units: pl.DataFrame,
    names: list[tuple[str, str]],
    design: np.ndarray,
    kept: np.ndarray,
    terms: np.ndarray,
    covariance: np.ndarray,
) -> pl.DataFrame:
    years = dict(units.group_by("region").agg(pl.col("y").sum()).iter_rows())
    total = sum(years.values())
    weights = np.array([years[level] / total if kind == "region" else 0.0 for kind, level in names])
    # A contrast can be estimated where it is a combination of the cells' rows.
    rows = np.linalg.svd(design, full_matrices=False)
    space = rows[2][rows[1] > 1e-8 * rows[1][0]]
    ratios = []
    for place, (kind, level) in enumerate(names):
        if kind != "region":
            continue
        contrast = -weights
        contrast[place] += 1
        beside = contrast - space.T @ (space @ contrast)
        if np.linalg.norm(beside) > 1e-6 or place not in kept:
            continue
        own = contrast[kept]
        estimate, variance = own @ terms, own @ covariance @ own
        if not variance > 0:  # rounding, where the failures barely determine the terms
            continue
        spread = np.sqrt(variance)
        limits = [np.exp(estimate + sign * Z_95 * spread) for sign in (-1, 1)]
        ratios.append((level, float(np.exp(estimate)), float(limits[0]), float(limits[1])))
    return pl.DataFrame(ratios, schema=_EMPTY, orient="row")
