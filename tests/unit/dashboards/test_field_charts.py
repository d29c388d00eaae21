"""What the charts of the Field page must not lose: scales, units, limits, who is told apart how."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from dashboards.charts.categories import ALARMS, BANDS, OPEN, THIN
from dashboards.specifications import specifications

RATIOS = ("screen", "treatment_ratios", "cohort_ratios", "weibull_shape")
NAMES = (*RATIOS, "rates", "cost_bars", "mean_cost", "cost_fan", "dose_response", "tile_map",
         "survival", "alarm_spans", "cohort_grid", "mean_count", "forecast_fan")  # fmt: skip


@pytest.fixture(scope="module")
def specs() -> dict[str, dict[str, Any]]:
    """The specifications that these tests look at."""
    return specifications("USD", NAMES)


def channels(spec: dict[str, Any], name: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """The encodings of one channel over all layers, each with its layer's mark."""
    for layer in spec.get("layer", [spec]):
        if name in layer.get("encoding", {}):
            mark = layer["mark"]
            yield mark if isinstance(mark, str) else mark["type"], layer["encoding"][name]


def one(spec: dict[str, Any], channel: str, field: str) -> dict[str, Any]:
    """The encoding of a channel by a field."""
    found = [each for _, each in channels(spec, channel) if each.get("field") == field]
    assert found, f"{channel} draws no {field}"
    return found[0]


@pytest.mark.parametrize("name", RATIOS)
def test_ratios_stand_on_a_log_axis_about_1(specs, name: str) -> None:
    """Value and limits on the same log scale, which its title tells; a rule at 1."""
    spec = specs[name]
    for field in ("value", "low"):
        x = one(spec, "x", field)
        assert x["scale"]["type"] == "log"
        assert x["title"].endswith("(log scale)")
        assert {0.5, 1, 2} <= set(x["axis"]["values"])
    assert one(spec, "x", "one")["scale"]["type"] == "log"
    assert {"one": 1} in [row for layer in spec["layer"] for row in _values(layer, spec)]


def _values(layer: dict[str, Any], spec: dict[str, Any]) -> list[dict[str, Any]]:
    data = layer.get("data", {})
    return data.get("values") or spec.get("datasets", {}).get(data.get("name"), [])


def test_rates_stand_on_an_axis_from_zero(specs) -> None:
    """A rate twice as high is twice as far from the axis."""
    assert one(specs["rates"], "x", "value")["scale"] == {"zero": True}
    assert one(specs["rates"], "x", "value")["title"] == "Failures per 100 unit-years"


@pytest.mark.parametrize(
    ("name", "channel", "field"),
    [("cost_bars", "x", "amount"), ("mean_cost", "y", "value"), ("cost_fan", "y", "value")],
)
def test_money_is_written_out_with_its_currency(specs, name, channel, field) -> None:
    """No exponent on an axis of costs, and the currency in its title."""
    axis = one(specs[name], channel, field)
    assert axis["axis"]["format"] == ",.0f"
    assert axis["title"].endswith("USD")


def test_dose_response_draws_the_limit_and_the_step(specs) -> None:
    """On a log axis whose title comes with the rows, from zero failures up."""
    spec = specs["dose_response"]
    sets = [layer["data"]["name"] for layer in spec["layer"]]
    assert {"bins", "curve", "limit", "step"} == set(sets)
    for field in ("value", "middle", "at", "low"):
        x = one(spec, "x", field)
        assert x["scale"] == {"type": "log", "nice": False}
        assert x["title"] == ["@x_title"]
    assert one(spec, "y", "rate")["scale"] == {"zero": True}
    assert one(spec, "y", "rate_per_100")["title"] == ["@y_title"]
    assert [mark for mark, each in channels(spec, "x") if each.get("field") == "low"] == ["rect"]


def test_a_tile_has_three_lines_and_its_band(specs) -> None:
    """Code, ratio and limits; seven fills, of which open and thin ones are no band's."""
    spec = specs["tile_map"]
    assert [each["field"] for _, each in channels(spec, "text")] == ["label", "ratio", "limits"]
    scale = one(spec, "color", "band")["scale"]
    assert scale["domain"] == [*BANDS, OPEN, THIN]
    assert len(set(scale["range"])) == 7


def test_curves_tell_who_is_at_risk_below_them(specs) -> None:
    """Two layers of words at places in pixels, on the months' own axis of half-years."""
    for name in ("survival", "mean_count"):
        words = [
            layer for layer in specs[name]["layer"] if layer["data"]["name"] in ("risk", "named")
        ]
        assert len(words) == 2
        for layer in words:
            assert layer["encoding"]["y"]["scale"] is None
            assert layer["encoding"]["x"]["field"] == "months"
        assert one(specs[name], "x", "months")["axis"]["values"][:4] == [0, 6, 12, 18]
    assert one(specs["survival"], "y", "value")["axis"]["format"] == "%"


def test_alarms_and_cells_know_their_states(specs) -> None:
    """A color a state of an alarm; cells in five depths, immature and projected apart."""
    assert one(specs["alarm_spans"], "color", "state")["scale"]["domain"] == list(ALARMS)
    assert one(specs["alarm_spans"], "x", "began")["field"] == "began"
    scale = one(specs["cohort_grid"], "color", "step")["scale"]
    assert scale["domain"] == ["1", "2", "3", "4", "5", "immature", "projected"]
    assert len(set(scale["range"])) == 7


def test_forecasts_have_two_bands_and_what_happened(specs) -> None:
    """95 % outside 80 %, and diamonds for what is known."""
    bands = [each["field"] for mark, each in channels(specs["forecast_fan"], "y") if mark == "area"]
    assert bands == ["low_95", "low_80"]
    ends = [each["field"] for _, each in channels(specs["forecast_fan"], "y2")]
    assert ends == ["high_95", "high_80"]
    assert one(specs["forecast_fan"], "y", "actual")["title"] == "Failures a month"
