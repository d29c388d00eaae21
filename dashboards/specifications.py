"""Every chart's specification, written once and shared by all pages.

Belongs here: which charts exist, by name. Does not belong here: how one looks (`charts`) or its
rows (`pages`, `figures`).
"""

from __future__ import annotations

import base64
from collections.abc import Collection, Mapping
from typing import Any

import altair as alt
import vl_convert
from altair.utils import schemapi

from dashboards import theme
from dashboards.charts import (
    alarm_spans,
    cause_grid,
    cohort_grid,
    cost_bars,
    dose_response,
    forecast_fan,
    funnel,
    interval_dots,
    life_line,
    probability_plot,
    reliability,
    row_accounts,
    step_curves,
    tile_map,
    watch_line,
    water_bars,
    way_of_units,
)
from dashboards.charts.theme import themed

_TO_PEERS = "Ratio to the other agencies"


def specifications(
    currency: str, names: Collection[str] | None = None, *, validate: bool = False
) -> dict[str, dict[str, Any]]:
    """Chart name -> Vega-Lite specification without rows, in the product's theme.

    Only those of `names`, where they are given: each takes a while to write out. Checking them
    against altair's schema takes longer than that; as no data comes in, tests do it.
    """
    with schemapi.debug_mode(validate), themed():
        charts = _charts(currency)
        # Only the width follows the page: a height of so many pixels a row stays.
        fit = {"type": "fit-x", "contains": "padding"}
        return {
            name: chart.to_dict(validate=validate) | {"autosize": fit}
            for name, chart in charts.items()
            if names is None or name in names
        }


def _charts(currency: str) -> dict[str, alt.TopLevelMixin]:
    per_100 = "Failures per 100 unit-years"
    return {
        "life_line": life_line.draw(),
        "water_bars": water_bars.draw(),
        "row_accounts": row_accounts.draw(),
        "reliability": reliability.draw(),
        "screen": interval_dots.draw("Ratio to all other days (log scale)", ratio=True),
        "alarm_spans": alarm_spans.draw(),
        "dose_response": dose_response.draw(),
        "rates": interval_dots.draw(per_100),
        "cause_grid": cause_grid.draw(),
        "tile_map": tile_map.draw(),
        "funnel": funnel.draw(),
        "survival": step_curves.draw("Units without a failure", percent=True),
        "incidence": step_curves.draw("Units whose first failure was this", percent=True),
        "mean_count": step_curves.draw("Failures a unit"),
        "mean_cost": step_curves.draw(f"Cost a unit, {currency}", money=True),
        "cohort_grid": cohort_grid.draw(),
        "cohort_ratios": interval_dots.draw("Failures over expected (log scale)", ratio=True),
        "weibull_shape": interval_dots.draw("Weibull shape (log scale)", ratio=True),
        "probability_plot": probability_plot.draw(),
        "treatment_rates": interval_dots.draw(per_100),
        "treatment_ratios": interval_dots.draw("Rate ratio (log scale)", ratio=True),
        "agency_returns": funnel.draw("Repairs expected to come back", _TO_PEERS, "Agency"),
        "agency_labor_hours": funnel.draw("Hours expected", _TO_PEERS, "Agency"),
        "agency_travel": funnel.draw(f"Travel expected, {currency}", _TO_PEERS, "Agency"),
        "agency_documents": funnel.draw("Claims expected to wait", _TO_PEERS, "Agency"),
        "watch_line": watch_line.draw(),
        "forecast_fan": forecast_fan.draw("Failures a month"),
        "cost_fan": forecast_fan.draw(f"Cost a month, {currency}", money=True),
        "cost_bars": cost_bars.draw(currency),
        "way_of_units": way_of_units.draw(),
    }


def compiled_specifications(currency: str) -> dict[str, dict[str, Any]]:
    """The same compiled to Vega, so that no page compiles; named data sets are still empty."""
    return {
        name: vl_convert.vegalite_to_vega(spec, vl_version=theme.VEGA_LITE)
        for name, spec in specifications(currency).items()
    }


def picture(name: str, data: Mapping[str, Any], currency: str, *, width: int = 860) -> str:
    """One chart with its rows as a data URL of an SVG in light colors, for a page without scripts.

    `data` holds `rows` (data sets by name) and `lists`, as the charts name them.
    """
    return drawn(specifications(currency, [name])[name] | {"width": width}, data)


def drawn(spec: dict[str, Any], data: Mapping[str, Any]) -> str:
    """A chart's specification with its rows as a data URL of an SVG in light colors."""
    spec = _filled(spec, data.get("lists", {}))
    spec["datasets"] = data["rows"]
    # A font that is measured as it is drawn; where the reader's is wider, the margin takes it up.
    spec["config"] |= {"font": "sans-serif", "padding": {"left": 16, "right": 8, "bottom": 6}}
    svg = vl_convert.vegalite_to_svg(theme.resolve_colors(spec), vl_version=theme.VEGA_LITE)
    return f"data:image/svg+xml;base64,{base64.b64encode(svg.encode()).decode()}"


def _filled(part: Any, lists: Mapping[str, list[str]]) -> Any:
    """A specification with lists in the place of their names (`["@tracks"]`)."""
    if isinstance(part, dict):
        return {key: _filled(value, lists) for key, value in part.items()}
    if isinstance(part, list):
        if len(part) == 1 and isinstance(part[0], str) and part[0].startswith("@"):
            return lists[part[0][1:]]
        return [_filled(value, lists) for value in part]
    return part
