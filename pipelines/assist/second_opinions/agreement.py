"""How far a person and the rules agree: the share, and Cohen's kappa, with limits.

Belongs here: the estimates, plain and weighted to all claims. Does not belong here: who said what
(`opinions`), which claims were drawn (`sampling`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipelines.assist.second_opinions.sampling import STRATUM
from pipelines.field.peers import clopper_pearson
from pipelines.field.poisson import Z_95
from schemas.codes import VERDICTS
from schemas.columns import polars_schema
from schemas.second_opinions import SecondOpinionAgreement

# With 60 opinions in three strata, 95 % limits of kappa held a known truth in 88 of 100 samples.
FEW = 100
NONE_YET = "no second opinion has been recorded yet"
NO_KAPPA = "kappa cannot be had, because both sides gave one and the same verdict throughout"
ALL_ALIKE = "kappa has no limits, because all opinions fall alike; the limits of the share stand"
ROUGH = f"fewer than {FEW} opinions: the large-sample limits of kappa are rough"
METHODS = {
    "none": "every opinion counts once; Clopper-Pearson limits, and kappa's large-sample limits "
    "after Fleiss, Cohen and Everitt (1969)",
    "claims": "each verdict and money band counts by its claims; the stratified variance of the "
    "linearised estimate, and Korn and Graubard's (1998) limits of the share",
}


@dataclass(frozen=True)
class Kappa:
    """Cohen's kappa of a table of shares, and how each cell bears on it."""

    agreement: float
    by_chance: float
    kappa: float
    slopes: np.ndarray


def kappa_of(shares: np.ndarray) -> Kappa:
    """Cohen's (1960) kappa of a square table of shares that add up to 1.

    `slopes` are its partial derivatives by cell, from which Fleiss, Cohen and Everitt (1969) have
    the large-sample variance. NaN where chance alone would agree throughout.
    """
    rows, columns = shares.sum(axis=1), shares.sum(axis=0)
    agreement, by_chance = float(np.trace(shares)), float(rows @ columns)
    left = 1 - by_chance
    if left <= 1e-12:
        return Kappa(agreement, by_chance, np.nan, np.full_like(shares, np.nan))
    chance = columns[:, None] + rows[None, :]
    slopes = (np.eye(len(shares)) * left - (1 - agreement) * chance) / left**2
    return Kappa(agreement, by_chance, (agreement - by_chance) / left, slopes)


def agreement(opinions: pl.DataFrame, population: pl.DataFrame) -> pl.DataFrame:
    """Two rows: every opinion counting once, and every stratum counting by its claims.

    Args:
        opinions: computed, verdict (the person's), band: one row a claim that was checked.
        population: computed, band, claims: all claims as they stand now.

    The first row tells of the opinions alone. The second weighs each stratum (computed verdict and
    band at the draw) by its claims now; strata without an opinion are left out, and
    `claims_share` tells how much of all claims the others make up. Its variance is that of a
    stratified sample (Cochran 1977, chapter 5) of the linearised estimate, without the correction
    for a finite population, since the question is about claims to come too; a stratum with a
    single opinion takes the variance of all.
    """
    rows = [_plain(opinions), _weighted(opinions, population)]
    return pl.DataFrame(rows, schema=polars_schema(SecondOpinionAgreement), orient="row")


def confusion(opinions: pl.DataFrame) -> pl.DataFrame:
    """How often each verdict met each opinion: computed, verdict, opinions."""
    return (
        opinions.group_by("computed", "verdict")
        .agg(opinions=pl.len().cast(pl.Int64))
        .sort("computed", "verdict")
    )


def _coded(opinions: pl.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    places = {verdict: place for place, verdict in enumerate(VERDICTS)}
    computed, given = (
        opinions[name].replace_strict(places, return_dtype=pl.Int64).to_numpy()
        for name in ("computed", "verdict")
    )
    return computed, given


def _table(computed: np.ndarray, given: np.ndarray, weights: np.ndarray) -> np.ndarray:
    size = len(VERDICTS)
    return np.bincount(computed * size + given, weights, size * size).reshape(size, size)


def _plain(opinions: pl.DataFrame) -> dict[str, object]:
    n = opinions.height
    if not n:
        return _empty("none")
    computed, given = _coded(opinions)
    measured = kappa_of(_table(computed, given, np.full(n, 1 / n)))
    slopes = measured.slopes[computed, given]
    agreeing = int((computed == given).sum())
    low, high = clopper_pearson(np.array([agreeing]), np.array([n]))
    return _row("none", n, agreeing, measured, float(slopes.var() / n), (low[0], high[0])) | {
        "strata": opinions.select(STRATUM).n_unique()
    }


def _weighted(opinions: pl.DataFrame, population: pl.DataFrame) -> dict[str, object]:
    strata = (
        opinions.group_by(STRATUM)
        .agg(checked=pl.len())
        .join(population, on=STRATUM)
        .filter(pl.col("claims") > 0)
        .sort(STRATUM)
        .with_row_index("stratum")
    )
    placed = opinions.join(strata, on=STRATUM)
    if placed.is_empty():
        return _empty("claims")
    share = (strata["claims"] / strata["claims"].sum()).to_numpy()
    size = strata["checked"].to_numpy()
    stratum = placed["stratum"].to_numpy()
    computed, given = _coded(placed)
    weights = (share / size)[stratum]
    measured = kappa_of(_table(computed, given, weights))
    agrees = (computed == given).astype(float)
    variance = _stratified_variance(measured.slopes[computed, given], stratum, share, size)
    of_share = _stratified_variance(agrees, stratum, share, size)
    # So many simple draws would tell as much; where nothing varies, what the weights alone leave.
    effective = 1 / (weights**2).sum()
    if of_share > 0:
        effective = min(measured.agreement * (1 - measured.agreement) / of_share, placed.height)
    low, high = clopper_pearson(np.array([measured.agreement * effective]), np.array([effective]))
    row = _row("claims", placed.height, int(agrees.sum()), measured, variance, (low[0], high[0]))
    return row | {
        "strata": strata.height,
        "claims": int(strata["claims"].sum()),
        "claims_share": int(strata["claims"].sum()) / int(population["claims"].sum()),
    }


def _stratified_variance(
    values: np.ndarray, stratum: np.ndarray, share: np.ndarray, size: np.ndarray
) -> float:
    """The sum of share² · s² / size over strata; where size is 1, s² is that of all values."""
    mean = np.bincount(stratum, values) / size
    within = np.bincount(stratum, (values - mean[stratum]) ** 2)
    overall = values.var(ddof=1) if len(values) > 1 else np.nan
    spread = np.where(size > 1, within / np.maximum(size - 1, 1), overall)
    return float((share**2 * spread / size).sum())


def _row(
    weighting: str,
    opinions: int,
    agreeing: int,
    measured: Kappa,
    variance: float,
    limits: tuple[float, float],
) -> dict[str, object]:
    known = np.isfinite(measured.kappa)
    varies = known and np.isfinite(variance) and variance > 1e-15
    error = float(np.sqrt(variance)) if varies else None
    note = None
    if not known:
        note = NO_KAPPA
    elif error is None:
        note = ALL_ALIKE
    elif opinions < FEW:
        note = ROUGH
    return {
        "weighting": weighting,
        "opinions": opinions,
        "agreeing": agreeing,
        "agreement": measured.agreement,
        "agreement_low": float(limits[0]),
        "agreement_high": float(limits[1]),
        "expected_agreement": measured.by_chance,
        "kappa": measured.kappa if known else None,
        "kappa_error": error,
        "kappa_low": None if error is None else max(-1.0, measured.kappa - Z_95 * error),
        "kappa_high": None if error is None else min(1.0, measured.kappa + Z_95 * error),
        "method": METHODS[weighting],
        "note": note,
    }


def _empty(weighting: str) -> dict[str, object]:
    return {
        "weighting": weighting,
        "opinions": 0,
        "agreeing": 0,
        "strata": 0,
        "method": METHODS[weighting],
        "note": NONE_YET,
    }
