"""Which calls are learned from, and which are kept back together.

Belongs here: choices by a hash of a key, which depend neither on the order of rows nor on a
generator of random numbers. Does not belong here: learning.
"""

from __future__ import annotations

import hashlib

import numpy as np
import polars as pl

FOLDS = 5
MOST_TRAINED = 8_000
_SEED = b"causes-1"


def hashed(keys: pl.Series) -> np.ndarray:
    """A number for each key, always the same for the same key: the seeded BLAKE2b of its text."""
    unique = keys.unique()
    numbers = [
        int.from_bytes(hashlib.blake2b(key.encode(), digest_size=8, key=_SEED).digest(), "big")
        for key in unique.to_list()
    ]
    return keys.replace_strict(unique, pl.Series(numbers, dtype=pl.UInt64)).to_numpy()


def fold_of(sites: pl.Series) -> np.ndarray:
    """The fold of each call: all calls of a site are in one, as their notes resemble each other."""
    return (hashed(sites) % FOLDS).astype(np.int64)


def chosen(calls: pl.Series, most: int = MOST_TRAINED) -> np.ndarray:
    """Whether each of the calls is learned from: all, or those with the smallest hashes."""
    if calls.len() <= most:
        return np.ones(calls.len(), dtype=bool)
    numbers = hashed(calls)
    return np.asarray(numbers <= np.partition(numbers, most - 1)[most - 1])
