"""Cohen's kappa and agreement beside published tables, reference libraries and simulated truth."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from sklearn.metrics import cohen_kappa_score
from statsmodels.stats.inter_rater import cohens_kappa

from pipelines.assist.second_opinions.agreement import (
    ALL_ALIKE,
    NO_KAPPA,
    NONE_YET,
    ROUGH,
    agreement,
    confusion,
)
from pipelines.assist.second_opinions.agreement import kappa_of as kappa_of_table
from schemas.codes import MONEY_BANDS, VERDICTS

BAND = MONEY_BANDS[0]


def opinions_of(counts: np.ndarray, band: str = BAND) -> pl.DataFrame:
    """One row an opinion for a square table of counts (rows computed, columns the person's)."""
    cells = [
        (VERDICTS[row], VERDICTS[column], band)
        for row in range(len(counts))
        for column in range(len(counts))
        for _ in range(counts[row][column])
    ]
    return pl.DataFrame(
        cells, schema=dict.fromkeys(("computed", "verdict", "band"), pl.String), orient="row"
    )


def population(opinions: pl.DataFrame, claims: dict[str, int] | int) -> pl.DataFrame:
    """As many claims of each stratum as `claims` says, by computed verdict or for all."""
    strata = opinions.select("computed", "band").unique().sort("computed", "band")
    sizes = [claims if isinstance(claims, int) else claims[v] for v in strata["computed"]]
    return strata.with_columns(claims=pl.Series(sizes, dtype=pl.Int64))


def plain(opinions: pl.DataFrame) -> dict:
    """The row in which every opinion counts once."""
    return agreement(opinions, population(opinions, 100)).row(0, named=True)


# Cohen (1960), Educational and Psychological Measurement 20:37-46, table 2; from memory: 200
# patients, agreement .70, by chance .41, kappa .492.
COHEN_1960 = np.array([[88, 14, 18], [10, 40, 10], [2, 6, 12]])
# Fleiss, Cohen and Everitt (1969), Psychological Bulletin 72:323-327; from memory: 200 patients,
# kappa .429, its large-sample standard error .054.
FLEISS_1969 = np.array([[106, 10, 4], [22, 28, 10], [2, 12, 6]])


def test_cohens_example_of_1960() -> None:
    """Agreement .70, chance .41, kappa .492."""
    row = plain(opinions_of(COHEN_1960))
    assert row["agreement"] == pytest.approx(0.70)
    assert row["expected_agreement"] == pytest.approx(0.41)
    assert row["kappa"] == pytest.approx(0.492, abs=5e-4)
    assert (row["opinions"], row["agreeing"]) == (200, 140)


def test_the_example_of_fleiss_cohen_and_everitt() -> None:
    """Kappa .429 with the large-sample error .054, and limits from both."""
    row = plain(opinions_of(FLEISS_1969))
    assert row["kappa"] == pytest.approx(0.429, abs=5e-4)
    assert row["kappa_error"] == pytest.approx(0.054, abs=6e-4)
    assert row["kappa_low"] == pytest.approx(row["kappa"] - 1.959964 * row["kappa_error"])
    assert row["kappa_high"] == pytest.approx(row["kappa"] + 1.959964 * row["kappa_error"])


@pytest.mark.parametrize("seed", range(8))
def test_kappa_agrees_with_statsmodels_and_sklearn(seed: int) -> None:
    """Random tables of five verdicts: kappa by both libraries, its error by statsmodels."""
    random = np.random.default_rng(seed)
    counts = random.poisson(np.full((5, 5), 2.0) + 20 * np.eye(5))
    rows = opinions_of(counts)
    row = plain(rows)
    reference = cohens_kappa(counts)
    assert row["kappa"] == pytest.approx(reference.kappa)
    assert row["kappa_error"] == pytest.approx(np.sqrt(reference.var_kappa))
    assert row["kappa"] == pytest.approx(cohen_kappa_score(rows["computed"], rows["verdict"]))


def test_slopes_are_derivatives() -> None:
    """Each slope is the change of kappa for a small change of its cell, by differences."""
    shares = FLEISS_1969 / FLEISS_1969.sum()
    slopes = kappa_of_table(shares).slopes
    for place in np.ndindex(3, 3):
        step = np.zeros((3, 3))
        step[place] = 1e-6

        def kappa(table: np.ndarray) -> float:
            # The formula without the shares adding up to 1, as a partial derivative takes it.
            chance = table.sum(axis=1) @ table.sum(axis=0)
            return float((np.trace(table) - chance) / (1 - chance))

        by_difference = (kappa(shares + step) - kappa(shares - step)) / 2e-6
        assert slopes[place] == pytest.approx(by_difference, rel=1e-5)


def test_weights_that_follow_the_sample_change_nothing_but_the_error() -> None:
    """Drawn in proportion, weighted and plain estimates are the same."""
    rows = opinions_of(COHEN_1960)
    claims = {VERDICTS[0]: 1200, VERDICTS[1]: 600, VERDICTS[2]: 200}
    table = agreement(rows, population(rows, claims))
    one, other = table.to_dicts()
    for name in ("agreement", "expected_agreement", "kappa"):
        assert other[name] == pytest.approx(one[name])
    assert other["kappa_error"] < one["kappa_error"]  # strata are alike within
    assert other["claims"] == 2000
    assert other["claims_share"] == 1.0


def test_a_weighted_share_is_the_sum_over_strata() -> None:
    """0.9 x 8/10 + 0.1 x 2/4 = 0.77; its variance is 0.9^2 x .8 x .2 / 9 + 0.1^2 x .25 / 3."""
    rows = opinions_of(np.array([[8, 2, 0], [2, 2, 0], [0, 0, 0]]))
    claims = population(rows, {VERDICTS[0]: 900, VERDICTS[1]: 100})
    row = agreement(rows, claims).row(1, named=True)
    assert row["agreement"] == pytest.approx(0.77)
    variance = 0.81 * 0.16 / 9 + 0.01 * 0.25 / 3
    effective = 0.77 * 0.23 / variance
    from scipy.stats import beta

    low = beta.ppf(0.025, 0.77 * effective, 0.23 * effective + 1)
    high = beta.ppf(0.975, 0.77 * effective + 1, 0.23 * effective)
    assert (row["agreement_low"], row["agreement_high"]) == pytest.approx((low, high))


def test_strata_without_an_opinion_are_told() -> None:
    """The weighted row says how many claims it stands for."""
    rows = opinions_of(COHEN_1960)
    more = pl.concat(
        [
            population(rows, 100),
            pl.DataFrame({"computed": ["needs_review"], "band": [BAND], "claims": [100]}),
        ]
    )
    row = agreement(rows, more).row(1, named=True)
    assert row["strata"] == 3
    assert row["claims"] == 300
    assert row["claims_share"] == pytest.approx(0.75)


def test_weighted_errors_are_those_of_repeated_samples() -> None:
    """Over 300 samples of 180 opinions the told error is kappa's spread, and limits hold the truth.

    Large-sample limits of kappa run short (93 % over 3,000 samples here); 300 draws have a
    standard error of 1.5 %, so that 88 % or more is asked. The share's limits may only hold more.
    """
    random = np.random.default_rng(5)
    sizes = np.array([700, 200, 100])
    given = np.array([[0.92, 0.05, 0.03], [0.15, 0.8, 0.05], [0.2, 0.2, 0.6]])
    truth = kappa_of_table(sizes[:, None] / 1000 * given)
    told = []
    for _ in range(300):
        counts = np.array([random.multinomial(60, given[row]) for row in range(3)])
        rows = opinions_of(counts)
        claims = population(rows, dict(zip(VERDICTS[:3], sizes.tolist(), strict=True)))
        told.append(agreement(rows, claims).row(1, named=True))
    table = pl.DataFrame(told)
    assert table["kappa"].std() == pytest.approx(table["kappa_error"].mean(), rel=0.12)
    assert table["kappa"].mean() == pytest.approx(truth.kappa, abs=0.01)
    for name, value, least in (("kappa", truth.kappa, 0.88), ("agreement", truth.agreement, 0.93)):
        inside = (table[f"{name}_low"] <= value) & (table[f"{name}_high"] >= value)
        assert inside.mean() >= least, name


def test_nothing_recorded_gives_a_note_and_no_nan() -> None:
    """Without an opinion both rows are empty and say why."""
    none = opinions_of(np.zeros((3, 3), int))
    table = agreement(none, population(opinions_of(COHEN_1960), 10))
    assert table["note"].to_list() == [NONE_YET, NONE_YET]
    assert table["opinions"].to_list() == [0, 0]
    assert table["kappa"].null_count() == 2
    assert confusion(none).is_empty()


@pytest.mark.parametrize(
    ("counts", "note"),
    [
        ([[5, 0], [0, 5]], ALL_ALIKE),
        ([[5, 0], [0, 0]], NO_KAPPA),
        ([[0, 1], [0, 0]], ALL_ALIKE),
        ([[5, 1], [1, 5]], ROUGH),
    ],
)
def test_what_cannot_be_had_is_null_with_a_note(counts, note) -> None:
    """Perfect, single-sided and small tables give notes, limits of the share, and never NaN."""
    table = agreement(opinions_of(np.array(counts)), population(opinions_of(np.array(counts)), 50))
    assert set(table["note"]) == {note}
    floats = table.select(pl.selectors.float())
    assert not floats.select(pl.all().is_nan().any()).sum_horizontal().item()
    assert table["agreement_low"].null_count() == 0
    assert (table["agreement_low"] <= table["agreement"] + 1e-12).all()
    assert (table["agreement_high"] >= table["agreement"] - 1e-12).all()


def test_the_order_of_opinions_changes_nothing() -> None:
    """The same opinions in any order give the same rows."""
    rows = opinions_of(COHEN_1960)
    claims = population(rows, {VERDICTS[0]: 500, VERDICTS[1]: 100, VERDICTS[2]: 90})
    shuffled = rows.sample(fraction=1.0, shuffle=True, seed=3)
    from polars.testing import assert_frame_equal

    assert_frame_equal(agreement(rows, claims), agreement(shuffled, claims))
