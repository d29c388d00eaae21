"""Folds and samples follow from keys alone."""

import polars as pl

from pipelines.assist.causes.folds import FOLDS, chosen, fold_of, hashed

KEYS = pl.Series([f"K-{place:06}" for place in range(5_000)])


def test_a_key_has_one_number_for_good():
    """The number does not depend on the other keys, and is the one put down here."""
    first, other, again = hashed(pl.Series(["a", "b", "a"]))
    assert first == again != other
    assert hashed(KEYS)[17] == hashed(KEYS[17:18])[0]
    assert hashed(KEYS[:1])[0] == 13_285_799_663_155_189_402


def test_folds_are_about_even():
    """Each of the folds has a fifth of the sites, within five standard deviations."""
    counts = pl.Series(fold_of(KEYS)).value_counts()["count"].cast(pl.Int64)
    assert len(counts) == FOLDS
    assert (counts - 1_000).abs().max() < 5 * (5_000 * 0.2 * 0.8) ** 0.5


def test_a_sample_is_of_calls_and_not_of_rows():
    """So many are chosen, the same ones in any order; all where there are few."""
    picked = set(KEYS.filter(pl.Series(chosen(KEYS, 700))))
    assert len(picked) == 700
    assert set(KEYS.reverse().filter(pl.Series(chosen(KEYS.reverse(), 700)))) == picked
    assert chosen(KEYS, 5_000).all()
