"""Every figure on fleets too small, too new or too quiet to estimate from: notes, never NaN."""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Callable, Iterable
from dataclasses import replace
from decimal import Decimal

import polars as pl
import pytest
from polars import selectors as cs

from pipelines.field.context import FieldContext
from pipelines.field.figures import FIGURES, always, slices_of
from pipelines.field.narrowing import narrow
from pipelines.field.preparation import prepare
from pipelines.field.slices import ALL, ALWAYS

AS_OF = dt.date(2026, 6, 30)
TODAY = AS_OF + dt.timedelta(days=1)
REGIONS = ("US-ME", "US-OR")
PROFILES = ("scale-forming", "within limits")
STATES = ("untreated", "treated", "lapsed")
CLASSES = {"scale": True, "electrical": False}


def fleet(
    days: Iterable[int],
    failures: Iterable[tuple[int, int]] = (),
    *,
    regions: tuple[str | None, ...] = REGIONS,
    cover: int = 1096,
    unsound: bool = False,
) -> FieldContext:
    """Units watched for `days`; `failures` are (unit, age), of one class after the other."""
    watched = list(days)
    start = [TODAY - dt.timedelta(days=length) for length in watched]
    count = range(len(watched))
    until = pl.when(pl.col("watched_days") > 0).then(pl.lit(TODAY))
    units = pl.DataFrame(
        {
            "serial": [f"U{n:03d}" for n in count],
            "family": ["Force" if n % 3 else "Beck" for n in count],
            "region": [regions[n % len(regions)] for n in count],
            "water_profile": [PROFILES[n // 2 % 2] for n in count],
            "began": start,
            "watched_days": watched,
        },
        schema_overrides={
            "region": pl.String,
            "began": pl.Date,
            "watched_days": pl.Int64,
        }
        | dict.fromkeys(("serial", "family", "water_profile"), pl.String),
    ).with_columns(
        watched_from=pl.when(pl.col("watched_days") > 0).then("began"),
        watched_until=until,
        coverage_end=pl.col("began") + pl.duration(days=cover),
        coverage_base_end=pl.col("began") + pl.duration(days=cover),
        extended_on=pl.lit(None, pl.Date),
        shipped_on="began",
        retired_on=pl.lit(None, pl.Date),
        startup_completed_on=pl.lit(None, pl.Date),
        clock_source=pl.lit("installed_on"),
        unsound=pl.lit("retired before the clock start" if unsound else None, pl.String),
    )
    states = units.filter(pl.col("watched_days") > 0).select(
        "serial",
        from_day="watched_from",
        until_day="watched_until",
        state=pl.Series([STATES[n % 3] for n in count if watched[n] > 0], dtype=pl.String),
    )
    happened = list(failures)
    kinds = [list(CLASSES)[n % 2] for n in range(len(happened))]
    failed_on = [start[unit] + dt.timedelta(days=age) for unit, age in happened]
    known = pl.DataFrame(
        {
            "call": [f"C{n}" for n in range(len(happened))],
            "claim": [f"K{n}" for n in range(len(happened))],
            "serial": [f"U{unit:03d}" for unit, _ in happened],
            "failed_on": failed_on,
            "age": [age for _, age in happened],
            "cause": [kind.upper() for kind in kinds],
            "cause_class": kinds,
            "water_related": [CLASSES[kind] for kind in kinds],
            "opened_on": failed_on,
            "claimed_on": failed_on,
            "agency": ["A"] * len(happened),
            "labor_hours": [Decimal("1.5")] * len(happened),
        },
        schema=dict.fromkeys(("call", "claim", "serial"), pl.String)
        | {"failed_on": pl.Date, "age": pl.Int64, "cause": pl.String, "cause_class": pl.String}
        | {"water_related": pl.Boolean, "opened_on": pl.Date, "claimed_on": pl.Date}
        | {"agency": pl.String, "labor_hours": pl.Decimal(18, 10)},
    )
    payable = known.select(
        "claim",
        *(
            pl.lit(Decimal("10.00"), pl.Decimal(18, 2)).alias(f"{line}_payable")
            for line in ("parts", "labor", "travel")
        ),
    )
    doubtful = units.filter(pl.lit(unsound)).select(
        "serial",
        "unsound",
        days=pl.lit(0, pl.Int64),
        failures=pl.lit(0, pl.Int64),
    )
    return prepare(units, known, payable, states, doubtful, AS_OF)


FLEETS = {
    "no unit": lambda: fleet([]),
    "no failure": lambda: fleet([400] * 40),
    "one unit": lambda: fleet([400]),
    "one unit failing": lambda: fleet([400], [(0, 100)]),
    "one unit failing daily": lambda: fleet([40], [(0, age) for age in range(30)]),
    "one region": lambda: fleet([400] * 40, [(n, 9 * n) for n in range(24)], regions=("US-ME",)),
    "no region told": lambda: fleet([400] * 40, [(n, 9 * n) for n in range(24)], regions=(None,)),
    "a region each": lambda: fleet(
        [400] * 12, [(n, 30) for n in range(12)], regions=tuple(f"R{n}" for n in range(12))
    ),
    "all thin": lambda: fleet([300, 200, 500], [(0, 3), (1, 100)]),
    "one failure": lambda: fleet([400] * 40, [(7, 11)]),
    "all fail on the first day": lambda: fleet([400] * 30, [(n, 0) for n in range(30)]),
    "all fail on the same day": lambda: fleet([400] * 30, [(n, 200) for n in range(30)]),
    "all fail on the last day": lambda: fleet([400] * 30, [(n, 399) for n in range(30)]),
    "watched for a day": lambda: fleet([1] * 30, [(n, 0) for n in range(12)]),
    "nobody watched": lambda: fleet([0] * 30),
    "clocks all unsound": lambda: fleet([0] * 30, unsound=True),
    "cover all over": lambda: fleet([400] * 30, [(n, 9 * n) for n in range(24)], cover=400),
    "before any watch": lambda: narrow(
        fleet([400] * 30, [(n, 9 * n) for n in range(24)]), until=dt.date(2020, 1, 1)
    ),
    "an empty stretch": lambda: narrow(
        fleet([400] * 30, [(n, 9 * n) for n in range(24)]),
        since=dt.date(2026, 1, 1),
        until=dt.date(2026, 1, 1),
    ),
    "a family nobody has": lambda: narrow(fleet([400] * 30, [(3, 9)]), families=["Linn"]),
    "a class nobody has": lambda: narrow(fleet([400] * 30, [(3, 9)]), classes=["gas"]),
}
# A null here needs no words: what it stands beside says it (a month to come has no count yet).
_SILENT = {
    "forecast": {"actual", "held_80", "held_95"},
}


@pytest.fixture(scope="module", params=list(FLEETS))
def context(request) -> FieldContext:
    """One fleet that is hard to estimate from."""
    return FLEETS[request.param]()


@pytest.fixture(scope="module")
def told(context: FieldContext) -> Callable[[str], pl.DataFrame]:
    """A figure of that fleet by its name, worked out once."""
    return functools.cache(lambda name: always(context, name))


@pytest.mark.parametrize("name", list(FIGURES))
def test_no_figure_crashes_or_shows_what_is_no_number(
    told: Callable[[str], pl.DataFrame], name: str
) -> None:
    """Numbers are finite or null, limits hold their estimate, and a row without any says why."""
    table = told(name)
    floats = table.select(cs.float())
    bad = floats.select((~pl.all().is_finite()).any()).row(0) if floats.width else ()
    assert not any(bad), dict(zip(floats.columns, bad, strict=True))
    figures = [column for column in floats.columns if column not in _SILENT.get(name, set())]
    if "note" in table.columns and figures:
        silent = table.filter(
            pl.all_horizontal(pl.col(figures).is_null()) & pl.col("note").is_null()
        )
        assert silent.is_empty(), silent.row(0, named=True)
    if "thin" in table.columns:
        assert table["thin"].null_count() == 0
    if {"failures", "unit_years"} <= set(table.columns):
        assert table["failures"].null_count() == table["unit_years"].null_count() == 0


@pytest.mark.parametrize("name", [name for name in FIGURES if slices_of(name) != [()]])
def test_every_slice_that_is_always_there_is_there(
    context: FieldContext, told: Callable[[str], pl.DataFrame], name: str
) -> None:
    """Also without a failure or a watched unit: rows that say why, never no row at all."""
    promised = {",".join(dims) or ALL for dims in slices_of(name)}
    if name == "first_causes":  # its slices bring those by cause class along
        promised |= {",".join(dims) for dims in ALWAYS if "cause_class" in dims}
    if context.units.is_empty():
        # Nothing is known of families, regions and waters then.
        promised &= {ALL, "cause_class", "treatment"}
    if context.chosen and name == "first_causes":
        promised = {by for by in promised if "cause_class" in by}
    assert promised <= set(told(name)["by"])


def test_without_failures_first_causes_and_warnings_say_so() -> None:
    """Nobody has failed, so that the share is 0 without limits and nothing can be charted."""
    quiet = FLEETS["no failure"]()
    causes = always(quiet, "first_causes").filter(pl.col("by") == "all", pl.col("months") == 6)
    assert causes["incidence"].to_list() == [0.0]
    assert causes["note"].str.contains("because no unit").all()
    for by, groups in (("cause_class", 1), ("profile,cause_class", 2), ("family,cause_class", 2)):
        rows = always(quiet, "first_causes").filter(pl.col("by") == by, pl.col("months") == 6)
        assert rows["cause_class"].to_list() == ["unknown"] * groups
        assert rows["incidence"].to_list() == [0.0] * groups
        assert rows["note"].str.contains("because no unit").all()
    warnings = always(quiet, "warnings").filter(pl.col("by") == "family,cause_class")
    assert warnings["family"].to_list() == ["Beck", "Force"]
    assert set(warnings["note"]) == {"cannot be estimated, because there was no failure"}
    assert warnings["month"].to_list() == [dt.date(2026, 6, 1)] * 2


def test_a_class_that_a_group_never_had_has_a_share_of_nothing() -> None:
    """Force fails alone, of two classes: Beck has both at 0, and so has each water."""
    lopsided = fleet([400] * 24, [(n, 30) for n in (1, 4, 2, 5)])
    table = always(lopsided, "first_causes").filter(pl.col("months") == 6)
    for dim, words in (("family", ["Beck", "Force"]), ("profile", list(PROFILES))):
        rows = table.filter(pl.col("by") == f"{dim},cause_class")
        pairs = [(word, kind) for word in words for kind in ("electrical", "scale")]
        assert rows.select(dim, "cause_class").rows() == pairs
    quiet = table.filter(pl.col("by") == "family,cause_class", pl.col("family") == "Beck")
    assert quiet.select("incidence", "low", "high").rows() == [(0.0, None, None)] * 2
    assert quiet["note"].str.contains("first failed of it").all()
    # Slices by class that nobody asked for keep to what happened there.
    assert table.filter(pl.col("by") == "region,cause_class")["incidence"].min() > 0


def test_failures_of_the_month_still_running_are_not_called_none() -> None:
    """A chart has complete months only; who failed since then alone is told so."""
    # As of the 29th, June is still running.
    early = replace(fleet([400] * 24, [(1, 380), (2, 390)]), as_of=AS_OF - dt.timedelta(days=1))
    table = always(early, "warnings").sort("family")
    nothing = "cannot be estimated, because there was no failure"
    assert table["family"].to_list() == ["Beck", "Force", "Force"]
    assert table["note"][0] == nothing
    assert set(table["month"]) == {dt.date(2026, 5, 1)}
    assert table["failures"].to_list() == [0, 0, 0]
    assert table["cusum"].null_count() == 3


def nothing_payable(context: FieldContext, calls: Iterable[str] = ()) -> FieldContext:
    """The same, with nothing payable for these calls; for any where none is named."""
    free = pl.col("call").is_in(list(calls)) if calls else pl.lit(True)
    money = (
        pl.when(free).then(pl.lit(0).cast(pl.Decimal(18, 2))).otherwise(line).alias(line)
        for line in ("parts", "labor", "travel")
    )
    return replace(context, failures=context.failures.with_columns(money))


def test_a_forecast_of_nothing_is_near_nothing_and_not_sure() -> None:
    """Beck never failed: hardly anything is expected of it, with limits; all bases are there."""
    quiet = fleet([400] * 24, [(n, 30) for n in (1, 4, 2, 5)])
    coming = always(quiet, "forecast").filter(
        pl.col("by") == "family",
        pl.col("as_of") == AS_OF,
        pl.col("month") < dt.date(2027, 1, 1),
        pl.col("basis") == "all",
    )
    beck, force = (coming.filter(pl.col("family") == name) for name in ("Beck", "Force"))
    assert beck.height == 6
    assert 0 < beck["failures"].sum() < force["failures"].sum() / 4
    assert beck["thin"].all()
    assert beck["high_95"].null_count() == force["high_95"].null_count() == 0
    assert set(always(quiet, "forecast")["basis"]) == {"installed", "sales", "all"}


def test_a_forecast_without_cost_says_why_the_cost_has_no_limits() -> None:
    """Counts keep their limits where nothing was payable so far."""
    free = nothing_payable(fleet([400] * 24, [(n, 30) for n in (1, 4, 2, 5)]))
    coming = always(free, "forecast").filter(pl.col("by") == "all", pl.col("as_of") == AS_OF)
    coming = coming.filter(pl.col("failures") > 0, pl.col("basis") == "installed")
    assert coming.height > 6
    assert coming["high_95"].null_count() == 0
    assert coming["cost_high_95"].null_count() == coming.height
    assert coming["note"].str.contains("limits of the cost cannot be estimated").all()


@pytest.mark.parametrize(
    ("failures", "free", "limits", "said"),
    [
        ([(0, 30), (1, 30)], [], (True, False), "limits of the cost"),
        ([(n, 30) for n in range(12)], ["C0"], (False, True), "limits of the count"),
        ([(n, 30) for n in range(12)], [], (False, False), "limits cannot"),
        ([(0, 40), *((n, 30) for n in range(12))], ["C0"], (True, False), "all cost alike"),
    ],
)
def test_mean_counts_and_costs_each_say_why_they_have_no_limits(
    failures, free, limits, said
) -> None:
    """Nothing payable, or all alike in one of the two, takes the limits of that one alone."""
    context = nothing_payable(fleet([400] * 12, failures), free)
    row = (
        always(context, "repeat_failures")
        .filter(pl.col("by") == "all", pl.col("event") == "any", pl.col("months") == 6)
        .row(0, named=True)
    )
    assert (row["count_low"] is not None, row["cost_low"] is not None) == limits
    assert said in row["note"]


def test_other_causes_compete_also_where_one_class_is_asked_for() -> None:
    """Narrowed to scale, its share is the same as beside the others, not one minus survival."""
    whole = FLEETS["one region"]()
    beside = always(whole, "first_causes").filter(
        pl.col("by") == "cause_class", pl.col("cause_class") == "scale"
    )
    alone = always(narrow(whole, classes=["scale"]), "first_causes").filter(
        pl.col("by") == "cause_class"
    )
    assert alone.equals(beside)


@pytest.mark.parametrize(
    ("name", "estimate", "low", "high"),
    [
        ("rates", "rate_per_100", "low", "high"),
        ("survival", "survival", "low", "high"),
        ("first_causes", "incidence", "low", "high"),
        ("repeat_failures", "mean_count", "count_low", "count_high"),
        ("repeat_failures", "mean_cost", "cost_low", "cost_high"),
        ("weibull", "shape", "shape_low", "shape_high"),
        ("treatment_ratios", "ratio", "low", "high"),
        ("regions", "adjusted_ratio", "adjusted_low", "adjusted_high"),
    ],
)
def test_limits_enclose_their_estimate(told, name, estimate, low, high) -> None:
    """Where both limits exist the estimate lies between them, and a limit alone is at its side."""
    table = told(name).drop_nulls(estimate)
    tiny = 1e-9
    assert table.filter(pl.col(low) > pl.col(estimate) + tiny).is_empty()
    assert table.filter(pl.col(high) < pl.col(estimate) - tiny).is_empty()


def test_a_failure_on_the_first_day_is_one_at_age_0() -> None:
    """Survival falls at month 0 already, and the mean count starts at one."""
    survival = always(FLEETS["all fail on the first day"](), "survival")
    row = survival.filter((pl.col("by") == "all") & (pl.col("event") == "any")).sort("months")
    assert row["survival"][0] == 0
    counts = always(FLEETS["all fail on the first day"](), "repeat_failures")
    counts = counts.filter((pl.col("by") == "all") & (pl.col("event") == "any")).sort("months")
    assert counts["mean_count"][0] == 1


def test_too_few_failures_for_a_weibull_fit_are_said_to_be() -> None:
    """Below ten there is no shape, and the note names the number."""
    table = always(FLEETS["all thin"](), "weibull")
    assert table["shape"].null_count() == table.height
    assert table["note"].str.contains("10").all()


@pytest.mark.parametrize(("days", "last"), [(91, 2), (92, 3), (487, 16), (486, 15)])
def test_a_quarter_has_cells_to_the_month_its_oldest_unit_was_watched_for(days, last) -> None:
    """Three months are 91.3 days, so that 92 days reach them; the youngest units do not matter."""
    cells = always(fleet([days, 1]), "cohorts").filter(pl.col("by") == "all")
    oldest = cells.filter(pl.col("cohort") == cells["cohort"].min(), ~pl.col("projected"))
    assert oldest["months"].max() == last
