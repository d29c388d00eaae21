"""Every chart's specification, written once and shared by all pages.

Belongs here: which charts exist, by name. Does not belong here: how one looks (`charts`) or its
rows (`pages`, `figures`).
"""

from __future__ import annotations

from typing import Any

from dashboards import theme
from dashboards.charts import (
    cause_grid,
    cohort_grid,
    cost_bars,
    forecast_fan,
    funnel,
    interval_dots,
    life_line,
    ratio_pairs,
    row_accounts,
    step_curves,
    tile_map,
    watch_line,
    water_bars,
)


def specifications(currency: str) -> dict[str, dict[str, Any]]:
    """Chart name -> Vega-Lite specification without rows, in the product's theme."""
    per_100 = "Failures per 100 unit-years"
    charts = {
        "life_line": life_line.draw(),
        "water_bars": water_bars.draw(),
        "row_accounts": row_accounts.draw(),
        "rates": interval_dots.draw(per_100),
        "cause_grid": cause_grid.draw(),
        "tile_map": tile_map.draw(),
        "funnel": funnel.draw(),
        "ratio_pairs": ratio_pairs.draw(),
        "survival": step_curves.draw("Units without a failure", percent=True),
        "incidence": step_curves.draw("Units whose first failure was this", percent=True),
        "mean_count": step_curves.draw("Failures a unit"),
        "mean_cost": step_curves.draw(f"Cost a unit, {currency}"),
        "cohort_grid": cohort_grid.draw(),
        "weibull_shape": interval_dots.draw("Weibull shape (log scale)", ratio=True),
        "treatment_rates": interval_dots.draw(per_100),
        "treatment_ratios": interval_dots.draw("Rate ratio (log scale)", ratio=True),
        "labor_ratios": interval_dots.draw("Hours over expected (log scale)", ratio=True),
        "watch_line": watch_line.draw(),
        "forecast_fan": forecast_fan.draw("Failures a month"),
        "cost_fan": forecast_fan.draw(f"Cost a month, {currency}"),
        "cost_bars": cost_bars.draw(currency),
    }
    with theme.alt.theme.enable("limeledger"):
        return {name: chart.to_dict() for name, chart in charts.items()}
