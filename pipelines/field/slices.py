"""By what a figure is sliced, and how its rows are labelled.

Belongs here: dimensions, the slices that are always there, the common columns, thin marks and
notes. Does not belong here: estimates.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipelines.errors import UsageError

DIMENSIONS = ("family", "region", "profile", "cause_class", "startup", "treatment")
ALL = "all"
LABELS = ("by", *DIMENSIONS)

Slice = tuple[str, ...]
# In the order of DIMENSIONS within each.
ALWAYS: tuple[Slice, ...] = (
    (),
    *((name,) for name in DIMENSIONS),
    ("profile", "cause_class"),
    ("region", "profile"),
    ("family", "cause_class"),
)

FEWEST_FAILURES = 5
FEWEST_UNITS = 10

NO_EXPOSURE = "cannot be estimated, because no unit was watched"
NO_FAILURES = "cannot be estimated, because there was no failure"


def ordered(by: Sequence[str]) -> Slice:
    """A slice from the words of a user, in the order in which `by` is written."""
    unknown = [name for name in by if name not in DIMENSIONS]
    if unknown:
        raise UsageError(
            f"--by knows no {unknown[0]!r}; it takes any of {', '.join(DIMENSIONS)}, "
            "joined by commas."
        )
    return tuple(name for name in DIMENSIONS if name in by)


def labelled(frame: pl.DataFrame, dims: Slice, columns: Sequence[str]) -> pl.DataFrame:
    """The figure's rows with their common columns, `thin` and `note` around its own columns.

    `frame` holds the columns of `dims`, `columns`, `thin` and, where there is something to say,
    `note`. Numbers that are not finite become null. Rows are sorted by their labels and by what
    comes before the first figure.
    """
    missing = [name for name in DIMENSIONS if name not in dims]
    floats = [name for name in columns if frame.schema[name].is_float()]
    words = {"by": ",".join(dims) or ALL} | dict.fromkeys(missing, ALL)
    columns_of = {
        **{name: pl.lit(word) for name, word in words.items()},
        **({} if "note" in frame.columns else {"note": pl.lit(None, pl.String)}),
        **{name: pl.when(pl.col(name).is_finite()).then(pl.col(name)) for name in floats},
    }
    return frame.select(
        columns_of.get(name, pl.col(name)).alias(name)
        for name in (*LABELS, *columns, "thin", "note")
    )


def thin(failures: str = "failures", units: str | pl.Expr = "units") -> pl.Expr:
    """Fewer than 5 failures or 10 units at risk: shown as thin and never ranked."""
    at_risk = pl.col(units) if isinstance(units, str) else units
    return (pl.col(failures) < FEWEST_FAILURES) | (at_risk < FEWEST_UNITS)


def selections(dims: Slice, classes: Sequence[str]) -> list[tuple[str | None, pl.Expr]]:
    """The parts into which a slice's failures fall: (class or None, filter)."""
    if "cause_class" not in dims:
        return [(None, pl.lit(True))]
    return [(name, pl.col("cause_class") == name) for name in classes]
