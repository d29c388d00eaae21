"""Which failures are of a kind: any, those that water caused, or those of a class of causes.

Belongs here: that choice, of a frame and of arrays. Does not belong here: which failures count.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext


def of_event(event: str) -> pl.Expr:
    """The failures that are of a kind: any, water-caused ones, or those of a cause class."""
    if event == "any":
        return pl.lit(True)
    return pl.col("water_related") if event == "water" else pl.col("cause_class") == event


def which_are(context: FieldContext, event: str) -> np.ndarray:
    """Which of the context's failures are of a kind, made once."""
    return context.once(
        ("failures of", event),
        lambda: context.failures.with_columns(_=of_event(event))["_"].fill_null(False).to_numpy(),
    )


class Happened(dict[str, np.ndarray]):
    """Failures as arrays by the name of their column, and which of them are of a kind."""

    @classmethod
    def of_frame(cls, failures: pl.DataFrame) -> Happened:
        """The columns of a frame, with cause_class and water_related among them."""
        known = failures.with_columns(pl.col("water_related").fill_null(False))
        return cls({name: known[name].to_numpy() for name in known.columns})

    def __init__(self, columns: Mapping[str, np.ndarray]) -> None:
        super().__init__(columns)
        self._of: dict[str, np.ndarray] = {}  # words are compared once a kind

    def of(self, kind: str) -> np.ndarray:
        """Which are of a kind, as `of_event` says."""
        if kind not in self._of:
            if kind == "any":
                self._of[kind] = np.ones(len(self["cause_class"]), bool)
            else:
                is_water = kind == "water"
                self._of[kind] = self["water_related"] if is_water else self["cause_class"] == kind
        return self._of[kind]
