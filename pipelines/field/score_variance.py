"""Figure 12: by how much the score of a value varies where it makes no difference.

Belongs here: the sum of squares of the units' parts in the score. Does not belong here: the score,
which values are screened (`screen`).
"""

from __future__ import annotations

import numpy as np
import polars as pl


def variances(kinds: pl.DataFrame, time: pl.DataFrame, rows: pl.DataFrame) -> list[pl.Series]:
    """The sum of squares of the units' parts in the score, for each value and kind.

    A unit's part is a - e, its failures with the value less the sum of n x share over strata, where
    n are all its failures there. The squares are summed as a^2 - 2ae + e^2: no row is made for a
    unit that failed and a value that it has not, of which there are very many.

    Args:
        kinds: unit, value, stratum and kind of each failure, as numbers.
        time: stratum, value and share of the stratum's time.
        rows: the values and kinds that are asked for.

    Returns:
        aa (the first sum) and variance, beside the rows.
    """
    unit, value, stratum, kind = (
        kinds[name].cast(pl.Int64).to_numpy() for name in ("unit", "value", "stratum", "kind")
    )
    strata, values = (
        int(max(time[name].to_numpy().max(initial=0), own.max(initial=0))) + 1
        for name, own in (("stratum", stratum), ("value", value))
    )
    share = np.zeros((strata, values))
    share[time["stratum"].to_numpy(), time["value"].to_numpy()] = time["share"].to_numpy()
    units, sorts = (int(x.max(initial=0)) + 1 for x in (unit, kind))
    failing = kind * units + unit
    own, a = np.unique(failing * values + value, return_counts=True)
    own_failing, own_value = np.divmod(own, values)
    every, n = np.unique(failing * strata + stratum, return_counts=True)
    every_failing, every_stratum = np.divmod(every, strata)
    cell = own_failing // units * values + own_value
    aa = np.bincount(cell, a * a, sorts * values)
    row, at = _pairs(own_failing, every_failing)
    mixed = a[row] * n[at] * share[every_stratum[at], own_value[row]]
    ae = np.bincount(cell[row], mixed, sorts * values)
    row, at = _pairs(every_failing, every_failing)
    of_kind = every_failing[row] // units
    pair = (of_kind * strata + every_stratum[row]) * strata + every_stratum[at]
    pairs, place = np.unique(pair, return_inverse=True)
    nn = np.bincount(place, n[row] * n[at], len(pairs))
    of_kind, one, other = np.unravel_index(pairs, (sorts, strata, strata))
    ee = np.zeros((sorts, values))
    for number in np.unique(of_kind):
        inside = of_kind == number
        ee[number] = (nn[inside, None] * share[one[inside]] * share[other[inside]]).sum(axis=0)
    wanted = rows["kind"].cast(pl.Int64).to_numpy() * values + rows["value"].to_numpy()
    variance = aa - 2 * ae + ee.reshape(-1)
    return [pl.Series("aa", aa[wanted]), pl.Series("variance", variance[wanted])]


def _pairs(one: np.ndarray, other: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places in both, of all pairs of equal elements; `other` is in rising order."""
    first = np.searchsorted(other, one)
    size = np.searchsorted(other, one, "right") - first
    row = np.repeat(np.arange(len(one)), size)
    nth = np.arange(len(row)) - np.repeat(np.cumsum(size) - size, size)
    return row, first[row] + nth
