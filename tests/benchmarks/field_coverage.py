"""How often limits hold and alarms are false, over fleets of known truth.

`python tests/benchmarks/field_coverage.py FLEETS` prints a line a figure; seeded.
"""

from __future__ import annotations

import sys
import warnings

import numpy as np
import polars as pl

from pipelines.field.cohorts import cohorts
from pipelines.field.context import FieldContext
from pipelines.field.early_warning import chart
from pipelines.field.figures import figure
from pipelines.steps.figures import one_thread_a_matrix
from tests.field_fleets import FAMILIES, NEEDS, RATES, drawn


def coverage(fleets: int) -> dict[str, float]:
    """Shares of fleets, or of cells, by what is measured."""
    year: dict[str, list[bool]] = {}
    bias, found, wrongly, held, inside, flagged = [], [], [], [], [], []
    for seed in range(fleets):
        fleet = drawn(seed, growth=0.2)
        rows = figure(fleet.context, "forecast_year", ()).filter(
            pl.col("as_of") == fleet.context.as_of
        )
        for row in rows.to_dicts():
            for level in (80, 95):
                low, high = row[f"low_{level}"], row[f"high_{level}"]
                truth = fleet.to_come[row["basis"]]
                year.setdefault(f"year {row['basis']} {level}", []).append(low <= truth <= high)
            if row["basis"] == "all":
                bias.append(row["failures"] / fleet.to_come["all"] - 1)
        used = dict(figure(fleet.context, "forecast_model", ()).select("term", "used").rows())
        wrongly.append(used["trend"])
        rising = drawn(seed, trend=0.4)
        used = dict(figure(rising.context, "forecast_model", ()).select("term", "used").rows())
        found.append(used["trend"])
        held += _cohorts_hold(fleet.context)
        told = figure(fleet.whole, "completion_record", ()).filter(pl.col("event") == "any")
        inside.append(told.select("inside_80", "inside_95", "bias").row(0))
        flagged.append(bool(figure(fleet.context, "screen", ())["flagged"].any()))
    shares = {name: float(np.mean(hits)) for name, hits in year.items()}
    projected = np.array(inside, dtype=float)
    return shares | {
        "forecast bias": float(np.mean(bias)),
        "trend found where planted": float(np.mean(found)),
        "trend found where none": float(np.mean(wrongly)),
        "cohorts' mean within 95 %": float(np.mean(held)),
        "projections within 80 %": float(projected[:, 0].mean()),
        "projections within 95 %": float(projected[:, 1].mean()),
        "projections' bias": float(projected[:, 2].mean()),
        "fleets with a flag in the screen": float(np.mean(flagged)),
    }


def _cohorts_hold(context: FieldContext) -> list[bool]:
    """Whether limits at 12 months hold the mean of the quarter's own units."""
    cells = cohorts(context, ()).filter(
        pl.col("event") == "any", pl.col("months") == 12, pl.col("shown"), ~pl.col("immature")
    )
    mean = np.mean([*RATES.values()]) * (1.5 * 183 + 365.25 - 183) / 365.25
    assert len(RATES) == len(FAMILIES) * len(NEEDS)
    return cells.select(
        (pl.col("mean_low") <= 100 * mean) & (pl.col("mean_high") >= 100 * mean)
    ).to_series().to_list()  # fmt: skip


def false_alarms(fleets: int, *, pairs: int = 50, months: int = 48) -> tuple[float, float]:
    """False alarms a year of all pairs, and how many are told, in the last two years."""
    alarms, told = 0, 0.0
    for seed in range(fleets):
        random = np.random.default_rng([7, seed])
        years = np.linspace(20, 80, months)  # unit-years a month of each pair
        rate = np.exp(random.normal(np.log(0.03), 1.0, pairs))
        counts = random.poisson(rate[:, None] * years / 12)
        days = np.tile(years * 365.25 / 12, (pairs, 1))[:, None, :]
        path = chart(days, counts[:, None, :].astype(float), np.ones(months), 12 * pairs)
        begins = path.alarm & ~np.pad(path.alarm, ((0, 0), (1, 0)))[:, :-1]
        late = np.arange(months) >= months - 24
        alarms += int(begins[:, late].sum())
        known = np.where(np.isfinite(path.expected), 1 / path.lengths, 0.0)
        told += float(known[:, late].sum())
    return alarms / (2 * fleets), told / (2 * fleets)


def main() -> None:
    """Prints what is measured."""
    fleets = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    with one_thread_a_matrix(), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name, value in coverage(fleets).items():
            print(f"{name:36}{value:8.3f}")
    happened, told = false_alarms(fleets)
    print(f"{'false alarms a year, 50 pairs':36}{happened:8.3f} (told {told:.3f})")


if __name__ == "__main__":
    main()
