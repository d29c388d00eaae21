"""How far a curve is shown.

Belongs here: the rule on where curves and cohorts end. Does not belong here: any curve.
"""

from __future__ import annotations

import numpy as np

FEWEST_SHOWN, LEAST_SHARE_SHOWN = 20, 0.05  # units at risk, and their share of all of the curve


def last_shown(at_risk: np.ndarray, units: np.ndarray) -> np.ndarray:
    """The last month at which 20 units and 5 % of a curve's units are at risk; -1: none.

    Args:
        at_risk: groups x months.
        units: of each group.
    """
    enough = (at_risk >= FEWEST_SHOWN) & (at_risk >= LEAST_SHARE_SHOWN * units[:, None])
    last = at_risk.shape[1] - 1 - np.argmax(enough[:, ::-1], axis=1)
    ends: np.ndarray = np.where(enough.any(axis=1), last, -1)
    return ends


def shown(at_risk: np.ndarray, units: np.ndarray) -> np.ndarray:
    """Which months of each curve are up to its end (groups x months)."""
    up_to: np.ndarray = np.arange(at_risk.shape[1])[None, :] <= last_shown(at_risk, units)[:, None]
    return up_to
