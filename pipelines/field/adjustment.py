"""Regions with water, family and age taken into account: a Poisson regression.

Belongs here: the regression and its limits clustered by site. Does not belong here: the other
figures of regions (`regions`), which water a day has (`pipelines.units.water_of_days`).

The model has a term for each region, family, band of age, set of needs and class of each analyte's
ratio to its maximum, and the unit-days as offset, of the days whose water is known. It is fitted on
cells of these, which gives the same estimate as day by day; the sandwich variance sums the
residuals of each site.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipelines.field.dependent_columns import independent, not_seen
from pipelines.field.laws import normal_above
from pipelines.field.poisson import Z_95
from pipelines.field.poisson_regression import unpenalized
from pipelines.units.water_of_days import UNTESTED

# Ages, in days, at which a new band begins: 0-6, 6-12, 12-24 and from 24 months on.
BANDS_DAYS = (0, 183, 366, 731)
FEWEST_OF_A_SET = 5  # failures, below which sets of needs go together
RARE = "rare"
_EMPTY = pl.Schema(
    {
        "region": pl.String,
        "adjusted_ratio": pl.Float64,
        "adjusted_low": pl.Float64,
        "adjusted_high": pl.Float64,
        "adjusted_p_value": pl.Float64,
    }
)
_AT_ONCE = 200_000  # rows of the sites' scores that stand in memory together


def adjusted_regions(failures: pl.DataFrame, days: pl.DataFrame) -> pl.DataFrame:
    """exp(a region's term - the unit-year-weighted mean of the regions' terms), with 95 % limits.

    p is the two-sided Wald one of that contrast.

    Args:
        failures: serial, age.
        days: of `days_in_bands`.

    Returns:
        region, adjusted_ratio, adjusted_low, adjusted_high, adjusted_p_value; regions without a
        failure, or whose term the data cannot part from that of a water, are not among them.
    """
    cells = _rare_sets_together(_tested(_with_failures(failures, days)))
    years = dict(cells.group_by("region").agg(pl.col("y").sum()).iter_rows())
    kinds = _kinds(cells)
    for kind in kinds:
        # A level without any failure has no finite term; its cells say nothing of the others.
        with_failures = cells.group_by(kind).agg(pl.col("f").sum()).filter(pl.col("f") > 0)[kind]
        cells = cells.filter(pl.col(kind).is_in(with_failures.implode()))
    if cells["region"].n_unique() < 2:
        return _EMPTY.to_frame()
    return _fit(cells, kinds, years)


def days_in_bands(waters: pl.DataFrame) -> pl.DataFrame:
    """The stretches of one water split at each band of age.

    Args:
        waters: of `context.water_stretches`: serial, site, region, family, entry, exit (half-open),
            needs and the columns `ratio_...`.

    Returns:
        The same with band, and y, its days; words of kinds numbered in their order.
    """
    ends = [*BANDS_DAYS[1:], 10**6]
    entry, exit_ = (pl.max_horizontal("entry", "start"), pl.min_horizontal("exit", "end"))
    bands = pl.DataFrame({"band": range(len(ends)), "start": BANDS_DAYS, "end": ends})
    return (
        _narrow(waters)
        .join(bands, how="cross")
        .with_columns(entry=entry, exit=exit_)
        .filter(pl.col("entry") < pl.col("exit"))
        .with_columns(y=(pl.col("exit") - pl.col("entry")).cast(pl.Float64))
        .drop("start", "end")
        .sort("serial", "entry")
    )


def _narrow(waters: pl.DataFrame) -> pl.DataFrame:
    """What is asked of them, words as numbers in their order: a quarter of the memory."""
    words = {
        "family": pl.Enum(waters["family"].unique().sort()),
        # A set of needs may be put among the rare ones.
        "needs": pl.Enum(sorted({*waters["needs"].unique(), RARE, UNTESTED})),
    }
    ratios = [name for name in waters.columns if name.startswith("ratio_")]
    return waters.select(
        *("serial", "region", "entry", "exit"),
        pl.col("site").rank("dense"),
        *(pl.col(name).cast(kind) for name, kind in words.items()),
        *(pl.col(name).cast(pl.Int8) for name in ratios),
    )


def _kinds(cells: pl.DataFrame) -> tuple[str, ...]:
    ratios = (name for name in cells.columns if name.startswith("ratio_"))
    return ("region", "family", "band", "needs", *ratios)


def _with_failures(failures: pl.DataFrame, days: pl.DataFrame) -> pl.DataFrame:
    """`days_in_bands` with the failures of each, f."""
    numbered = days.with_row_index("stretch")
    counted = (
        failures.select("serial", pl.col("age").cast(pl.Int64))
        .sort("age")
        .join_asof(
            numbered.select("serial", "stretch", "exit", age=pl.col("entry").cast(pl.Int64)).sort(
                "age"
            ),
            on="age",
            by="serial",
            check_sortedness=False,
        )
        .group_by("stretch")
        .agg(f=pl.len().cast(pl.Float64))
    )
    return (
        numbered.join(counted, on="stretch", how="left", maintain_order="left")
        .with_columns(pl.col("f").fill_null(0.0))
        .drop("stretch", "entry", "exit")
    )


def _tested(cells: pl.DataFrame) -> pl.DataFrame:
    """The days whose water is known; all of them where no day's is.

    An untested day has the water of its region, which no term tells: with such days among the
    others a region of hard water is blamed for it after all.
    """
    known = cells.filter(pl.col("needs") != UNTESTED)
    return known if known.height else cells


def _rare_sets_together(cells: pl.DataFrame) -> pl.DataFrame:
    """The same with the sets of needs that have few failures as one."""
    few = cells.group_by("needs").agg(pl.col("f").sum()).filter(pl.col("f") < FEWEST_OF_A_SET)
    rare = pl.col("needs").is_in(few["needs"].implode())
    one = pl.lit(RARE, cells.schema["needs"])
    return cells.with_columns(needs=pl.when(rare).then(one).otherwise("needs"))


def _fit(units: pl.DataFrame, kinds: tuple[str, ...], years: dict[str, float]) -> pl.DataFrame:
    cells = units.group_by(kinds).agg(pl.col("f", "y").sum()).sort(kinds)
    design, names = _design(cells, kinds)
    shared = design.T @ design  # of each two columns, the rows that are in both
    kept = independent(shared)
    if len(kept) < len(shared):
        design = design[:, kept]
    terms, bread = unpenalized(design, cells["f"].to_numpy(), cells["y"].to_numpy())
    rate = cells.select(kinds).with_columns(
        rate=np.exp(design @ terms), cell=pl.int_range(pl.len())
    )
    meat = _clustered(units.join(rate, on=kinds), design)
    sites = units["site"].n_unique()
    covariance = bread @ meat @ bread * sites / max(sites - 1, 1)
    return _contrasts(years, names, shared, kept, terms, covariance)


def _design(
    cells: pl.DataFrame, kinds: tuple[str, ...]
) -> tuple[np.ndarray, list[tuple[str, str]]]:
    """All regions, and every other kind without its first level."""
    columns, names = [], []
    for kind in kinds:
        levels = cells[kind].unique().sort().to_list()
        for level in levels if kind == "region" else levels[1:]:
            columns.append((cells[kind] == level).to_numpy().astype(float))
            names.append((kind, level))
    return np.column_stack(columns), names


def _clustered(units: pl.DataFrame, design: np.ndarray) -> np.ndarray:
    """Sum over sites of the outer product of their scores.

    A site is in few cells: its residuals stand in a sparse matrix of sites and cells.
    """
    from scipy.sparse import csr_array

    ordered = units.sort("site", "cell")
    residual = ordered.select(pl.col("f") - pl.col("rate") * pl.col("y")).to_series().to_numpy()
    site = ordered["site"].rle_id().to_numpy()
    shape = (int(site[-1]) + 1, len(design))
    residuals = csr_array((residual, (site, ordered["cell"].to_numpy())), shape=shape)
    levels = csr_array(design)  # a cell is of one level of each kind
    meat = np.zeros((design.shape[1],) * 2)
    for start in range(0, shape[0], _AT_ONCE):
        scores = (residuals[start : start + _AT_ONCE] @ levels).toarray()
        meat += scores.T @ scores
    return meat


def _contrasts(
    years: dict[str, float],
    names: list[tuple[str, str]],
    shared: np.ndarray,
    kept: np.ndarray,
    terms: np.ndarray,
    covariance: np.ndarray,
) -> pl.DataFrame:
    weights = np.array([years[level] if kind == "region" else 0.0 for kind, level in names])
    weights /= weights.sum()  # of the regions that have a term
    blind = not_seen(shared, kept)
    ratios = []
    for place, (kind, level) in enumerate(names):
        if kind != "region":
            continue
        contrast = -weights
        contrast[place] += 1
        # A contrast can be estimated where it is a combination of the cells' rows.
        if np.linalg.norm(blind.T @ contrast) > 1e-6 or place not in kept:
            continue
        own = contrast[kept]
        estimate, variance = own @ terms, own @ covariance @ own
        if not variance > 0:  # rounding, where the failures barely determine the terms
            continue
        spread = np.sqrt(variance)
        figures = [estimate + sign * Z_95 * spread for sign in (0, -1, 1)]
        chance = 2 * normal_above(abs(estimate) / spread)
        with np.errstate(over="ignore"):  # a limit that the data leave open
            ratio_limits = np.exp(figures)
        ratios.append((level, *(float(x) for x in ratio_limits), float(chance)))
    return pl.DataFrame(ratios, schema=_EMPTY, orient="row")
