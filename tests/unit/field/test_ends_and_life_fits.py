"""Where curves end, life fits beyond that end, and the probability plot."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipelines.field.ends import last_shown, shown
from pipelines.field.figures import figure
from pipelines.field.life_fits import _Group, _points
from pipelines.field.risk_sets import MONTH_DAYS

PUBLISHED = Path(__file__).parents[2] / "published" / "field"


@pytest.mark.parametrize(
    ("at_risk", "units", "last"),
    [
        ([30, 25, 20, 19, 0], 30, 2),
        ([30, 19, 20, 19, 0], 30, 2),  # the last month at which there are enough
        ([1000, 60, 50, 49, 20], 1000, 2),  # 5 % of a thousand
        ([19, 19, 19, 0, 0], 19, -1),
    ],
)
def test_a_curve_ends_where_20_units_or_5_percent_are_left(at_risk, units, last) -> None:
    """Both bounds hold, and all up to the last month that passes is shown."""
    table = np.array([at_risk])
    assert last_shown(table, np.array([units])).tolist() == [last]
    assert shown(table, np.array([units]))[0].tolist() == [month <= last for month in range(5)]


@pytest.mark.parametrize("name", ["survival", "first_causes", "repeat_failures"])
@pytest.mark.parametrize("dims", [(), ("profile",), ("treatment",)])
def test_curves_are_shown_up_to_their_ends(context, name, dims) -> None:
    """Every curve by hand: its units, and the last month at which enough are at risk."""
    table = figure(context, name, dims)
    keys = [key for key in ("event", "cause_class", *dims) if key in table.columns]
    ends = []
    for _, curve in table.sort("months").group_by(keys, maintain_order=True):
        units = whole(context, curve.row(0, named=True), dims)
        enough = [
            row["months"]
            for row in curve.iter_rows(named=True)
            if row["at_risk"] >= 20 and row["at_risk"] >= 0.05 * units
        ]
        last = max(enough, default=-1)
        assert curve["shown"].to_list() == [month <= last for month in curve["months"]]
        ends.append(last)
    assert 0 < max(ends) < 60


def whole(context, row: dict, dims: tuple[str, ...]) -> int:
    """The units of a curve, whenever they came under watch."""
    frame = context.states if "treatment" in dims else context.units
    frame = frame.filter(*(pl.col(name) == row[name] for name in dims))
    return frame["serial"].n_unique()


def test_what_lies_beyond_the_curve_is_extrapolated(context) -> None:
    """`watched_to` is the last month shown; scale, B10 and B50 are compared with it, each."""
    fits = figure(context, "weibull", ("profile",))
    curves = figure(context, "survival", ("profile",)).filter("shown")
    ends = dict(
        curves.group_by(pl.concat_str("profile", "event", separator="/"))
        .agg(pl.col("months").max())
        .iter_rows()
    )
    beyond = []
    for row in fits.iter_rows(named=True):
        assert row["watched_to"] == ends.get(f"{row['profile']}/{row['event']}", 0)
        if row["shape"] is None:
            assert row["b10_months"] is None
            assert row["b10_extrapolated"] is None
            continue
        for name in ("scale", "b10", "b50"):
            assert row[f"{name}_low"] < row[f"{name}_months"] < row[f"{name}_high"]
            assert row[f"{name}_extrapolated"] == (row[f"{name}_months"] > row["watched_to"])
            beyond.append(row[f"{name}_extrapolated"])
        share = 1 - np.exp(-((row["b10_months"] / row["scale_months"]) ** row["shape"]))
        assert share == pytest.approx(0.1)
    assert {True, False} == set(beyond)


def test_the_probability_plot_stands_in_the_middle_of_the_steps() -> None:
    """By hand on the 21 patients of Freireich et al. (1963) under 6-MP, days for weeks.

    Source: the data as in Gehan (1965); S falls from 1 to 0.857 at 6 and to 0.807 at 7.
    """
    rows = pl.read_csv(PUBLISHED / "km_units.csv").filter(
        pl.col("study") == "gehan", pl.col("group") == "6-MP"
    )
    assert rows.height == 21
    failing, running, entered = np.zeros(40), np.zeros(40), np.zeros(40)
    entered[0] = 21
    for time, event in rows.select("time", "event").iter_rows():
        (failing if event else running)[time] += 1
    group = _Group({}, 21, failing, running, entered, 0)
    fit = _Group({}, 21, 2 * failing, running, 2 * entered, 0).fit  # of ten failures or more
    points = pl.DataFrame(_points(group, fit))
    assert points["age_days"].to_list() == [6, 7, 10, 13, 16, 22, 23]
    survival = np.cumprod([1, 18 / 21, 16 / 17, 14 / 15, 11 / 12, 10 / 11, 6 / 7, 5 / 6])
    expected = 1 - (survival[:-1] + survival[1:]) / 2
    assert points["failed"].to_list() == pytest.approx(expected.tolist(), rel=1e-9)
    line = 1 - np.exp(-((points["age_days"].to_numpy() / fit.scale) ** fit.shape))
    assert points["fitted"].to_list() == pytest.approx(line.tolist(), rel=1e-9)
    assert (points["low"] < points["fitted"]).all()
    assert (points["fitted"] < points["high"]).all()


def test_the_plot_goes_with_the_fits(context) -> None:
    """Every group with a fit has its points, one an age at which its units first failed."""
    fits = figure(context, "weibull", ("family",)).filter(pl.col("shape").is_not_null())
    plot = figure(context, "probability_plot", ("family",)).drop_nulls("age_days")
    assert fits.height > 4
    keys = ["family", "event"]
    assert plot.select(keys).unique().sort(keys).equals(fits.select(keys).sort(keys))
    for row in fits.iter_rows(named=True):
        own = plot.filter(pl.col("family") == row["family"], pl.col("event") == row["event"])
        assert own["age_days"].is_sorted()
        assert own["failed"].is_sorted()
        age, share = own["age_days"][0], own["fitted"][0]
        scale = row["scale_months"] * MONTH_DAYS
        assert share == pytest.approx(1 - np.exp(-((age / scale) ** row["shape"])))
