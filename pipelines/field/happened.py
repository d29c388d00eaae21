"""Which failures are of a kind: any, those that water caused, or those of a class of causes.

Belongs here: that choice, of a frame and of arrays. Does not belong here: which failures count.
"""

from __future__ import annotations

import numpy as np
import polars as pl


def of_event(event: str) -> pl.Expr:
    """The failures that are of a kind: any, water-caused ones, or those of a cause class."""
    if event == "any":
        return pl.lit(True)
    return pl.col("water_related") if event == "water" else pl.col("cause_class") == event


class Happened(dict[str, np.ndarray]):
    """Failures as arrays by the name of their column, and which of them are of a kind."""

    @classmethod
    def of_frame(cls, failures: pl.DataFrame) -> Happened:
        """The columns of a frame, with cause_class and water_related among them."""
        known = failures.with_columns(pl.col("water_related").fill_null(False))
        return cls({name: known[name].to_numpy() for name in known.columns})

    def of(self, kind: str) -> np.ndarray:
        """Which are of a kind, as `of_event` says."""
        if kind == "any":
            return np.ones(len(self["cause_class"]), bool)
        chosen: np.ndarray = (
            self["water_related"] if kind == "water" else self["cause_class"] == kind
        )
        return chosen
