# ruff: noqa: RUF009 - `_empty` makes the default factory of a field
"""What every figure is computed from: units with their exposure, failures inside it, states.

Belongs here: one frozen bundle of frames, how it is put together, how it is narrowed to a family
or a stretch of the calendar. Does not belong here: any figure.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from threading import RLock
from typing import Any, TypeVar

import polars as pl

from pipelines.field.dimensions import OF_SPAN, OF_UNIT, words_of_failures
from pipelines.units.watch_spans import no_systems, watch_spans
from schemas import codes

Made = TypeVar("Made")
UNIT_DIMENSIONS = ("family", "region", "profile", "startup")
# Every frame carries it, the same in all rows, so that also the whole fleet is a group by a key.
FLEET = "fleet"
# What `prepare` needs of a unit besides its serial.
HISTORY_COLUMNS = (
    "family",
    "region",
    "water_profile",
    "startup_completed_on",
    "extended_on",
    "watched_from",
    "watched_until",
    "watched_days",
    "clock_source",
    "unsound",
    "coverage_base_end",
    "coverage_end",
    "retired_on",
    "shipped_on",
    "model",
    "cold_supply",
    "entry",
    "shipped",
    "lot",
    "needs",
    "clock_start",
)
STARTUP_WORDS = ("done", "not done")
UNKNOWN = "unknown"
REPAIRS = pl.Schema(
    {
        "call": pl.String(),
        "claim": pl.String(),
        "serial": pl.String(),
        "family": pl.String(),
        "agency": pl.String(),
        "cause": pl.String(),
        "cause_class": pl.String(),
        "failed_on": pl.Date(),
        "completed_on": pl.Date(),
        "inside": pl.Boolean(),
        "watched_until": pl.Date(),
        "workmanship_days": pl.Int64(),
        "labor_hours": pl.Float64(),
        "travel_amount": pl.Float64(),
        "verdict": pl.String(),
    }
)


_WATERS = pl.Schema(
    {
        "unit": pl.UInt32(),
        "serial": pl.String(),
        "site": pl.String(),
        FLEET: pl.Int8(),
        **dict.fromkeys(UNIT_DIMENSIONS, pl.String()),
        "entry": pl.Int64(),
        "exit": pl.Int64(),
        "needs": pl.String(),
    }
)


def no_repairs() -> pl.DataFrame:
    """The frame of repairs without a row."""
    return pl.DataFrame(schema=REPAIRS)


def _empty(schema: dict[str, pl.DataType | type[pl.DataType]]) -> pl.DataFrame:
    return field(default_factory=lambda: pl.DataFrame(schema=schema))


@dataclass(frozen=True)
class Grounds:
    """What figures ask of the reference files, the terms and the water tests.

    causes: cause, class, water_related, abilities. limits: family, analyte, limit (a maximum),
    needs, of the family's newest edition. needing: families that need treatment. systems: each
    system with what it removes. samples: sample,
    each limited analyte and its bound `..._below`. pages: claim, page. arrived_calls,
    arrived_units: when each was first read. settled: of `pending.settled_claims`.
    """

    causes: pl.DataFrame = _empty(
        {
            "cause": pl.String,
            "class": pl.String,
            "water_related": pl.Boolean,
            "abilities": pl.List(pl.String),
        }
    )
    limits: pl.DataFrame = _empty(
        {"family": pl.String, "analyte": pl.String, "limit": pl.Float64, "needs": pl.String}
    )
    needing: tuple[str, ...] = ()
    systems: tuple[tuple[str, tuple[str, ...]], ...] = ()
    samples: pl.DataFrame = _empty(
        {
            "sample": pl.String,
            **{
                f"{name}{end}": pl.Float64
                for name in codes.LIMITED_ANALYTES
                for end in ("", "_below")
            },
        }
    )
    pages: pl.DataFrame = _empty({"claim": pl.String, "page": pl.String})
    arrived_calls: pl.DataFrame = _empty({"call": pl.String, "arrived_on": pl.Date})
    arrived_units: pl.DataFrame = _empty({"serial": pl.String, "arrived_on": pl.Date})
    settled: pl.DataFrame = _empty(
        {"lead_reason": pl.String, "decided": pl.Int64, "covered": pl.Int64}
    )


@dataclass(frozen=True)
class FieldContext:
    """Frames behind the figures; `prepare` builds one.

    Each has the constant column `fleet` besides, and `unit`, the unit's place in `units`.

    units: one row a unit: serial, family, region, profile, startup, watched_from, watched_until
        (null where never watched), watched_days, clock_source, unsound, coverage_base_end,
        coverage_end, extended_on, retired_on, shipped_on, site (or the serial where there is none),
        profile_needs (what the test behind its profile needs, joined by `+`), and the other
        dimensions of a unit.
    failures: one row a failure inside the exposure: call, claim, serial, failed_on, age, cause,
        part, cause_class, water_related, opened_on, claimed_on, agency, labor_hours, parts, labor,
        travel (payable, Decimal), and all dimensions with their values on that day.
    states: one row a stretch of one treatment state inside the exposure: serial, family, region,
        profile, startup, treatment, entry, exit (ages, half-open), last (the exposure ends).
    doubtful: one row a unit left out for its clock start: serial, region, unsound, days and
        failures had it been watched from its shipment.
    before: failures before `since`, with the columns of `failures`: a unit that had one is no
        longer at risk of a first one.
    as_of: the day up to which all of it is known.
    spans: one row a stretch of the exposure (`pipelines.units.watch_spans`): unit, serial, from_on,
        until_on, entry, exit (ages, half-open), last (the exposure ends), sample, needs, severity,
        treatment, product.
    by_day: the spans are some of the exposure, so that a unit may have several stretches.
    grounds: what limits, causes and samples say, for the figures that ask.
    waters: one row a stretch of the exposure under one water test in force: unit, serial, site (or
        the serial where there is none), fleet, family, region, profile, startup, entry, exit (ages,
        half-open), needs, and the columns `ratio_…` of `pipelines.units.water_of_days`.
    repairs: one row a repair call with the columns of REPAIRS, claimed or not, in the exposure
        (`inside`: it counts among the failures) or past it; the verdict is its claim's.
    since, until: the stretch of the calendar [since, until) that is looked at; None: all of it.
    chosen: the cause classes that it was narrowed to; none: all.
    competing: the same with the failures of all classes, where it was narrowed to some.
    """

    units: pl.DataFrame
    failures: pl.DataFrame
    states: pl.DataFrame
    doubtful: pl.DataFrame
    before: pl.DataFrame
    as_of: date
    since: date | None = None
    until: date | None = None
    repairs: pl.DataFrame = field(default_factory=no_repairs)
    chosen: tuple[str, ...] = ()
    competing: FieldContext | None = None
    waters: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=_WATERS))
    spans: pl.DataFrame = field(default_factory=pl.DataFrame)
    by_day: bool = False
    grounds: Grounds = field(default_factory=lambda: Grounds())
    _known: dict[object, Any] = field(default_factory=dict, init=False, repr=False)
    _making: dict[object, RLock] = field(default_factory=dict, init=False, repr=False)

    def once(self, key: object, make: Callable[[], Made]) -> Made:
        """What several figures need of this context, made by the first that asks."""
        with self._making.setdefault(key, RLock()):
            if key not in self._known:
                self._known[key] = make()
        found: Made = self._known[key]
        return found

    @cached_property
    def classes(self) -> list[str]:
        """The cause classes that occur or were chosen, in the order of the code list.

        `unknown` where there are none, so that a fleet without failures has its rows too.
        """
        seen = {*self.failures["cause_class"].unique(), *self.chosen}
        return [name for name in (*codes.CAUSE_CLASSES, UNKNOWN) if name in seen] or [UNKNOWN]


def prepare(
    histories: pl.DataFrame,
    failures: pl.DataFrame,
    payable: pl.DataFrame,
    states: pl.DataFrame,
    doubtful: pl.DataFrame,
    as_of: date,
    waters: pl.DataFrame | None = None,
    spans: pl.DataFrame | None = None,
    grounds: Grounds | None = None,
) -> FieldContext:
    """The context of a whole fleet.

    Args:
        histories: serial and `HISTORY_COLUMNS` of all units.
        failures: of `units.time_at_risk.failures_inside`.
        payable: claim, parts_payable, labor_payable, travel_payable (of the decisions).
        states: serial, from_day, until_day, state (of `histories.treatment_states`).
        doubtful: serial, unsound, days, failures (of `units.time_at_risk.doubtful_exposure`).
        as_of: the as-of date.
        waters: of `units.water_of_days.waters_in_force`; None: no day is tested.
        spans: of `units.watch_spans.watch_spans`; None: from the two above, without products.
        grounds: what figures ask besides.
    """
    histories = _with_all_columns(histories)
    done = pl.col("startup_completed_on").is_not_null()
    units = histories.select(
        "serial",
        pl.lit(0, pl.Int8).alias(FLEET),
        "family",
        pl.col("region").fill_null(UNKNOWN),
        profile="water_profile",
        startup=pl.when(done).then(pl.lit("done")).otherwise(pl.lit("not done")),
        watched_from="watched_from",
        watched_until="watched_until",
        watched_days="watched_days",
        clock_source="clock_source",
        clock_start="clock_start",
        unsound="unsound",
        coverage_base_end="coverage_base_end",
        coverage_end="coverage_end",
        extended_on="extended_on",
        retired_on="retired_on",
        shipped_on="shipped_on",
        site=_site(),
        profile_needs=pl.when(pl.col("water_profile") == "untested")
        .then(pl.lit("untested"))
        .when(pl.col("needs").list.len() > 0)
        .then(pl.col("needs").list.join("+"))
        .otherwise(pl.lit("none")),
        model=pl.col("model").fill_null(UNKNOWN),
        cold_supply=pl.col("cold_supply").fill_null(UNKNOWN),
        entry=pl.col("entry").fill_null(UNKNOWN),
        shipped=pl.col("shipped").fill_null(UNKNOWN),
        lot=pl.col("lot").fill_null("none"),
    )
    units = units.sort("serial").with_row_index("unit")
    dims = units.select("serial", "unit", FLEET, *UNIT_DIMENSIONS, "watched_from", "watched_until")
    placed = (
        states.join(dims, on="serial")
        .filter(pl.col("watched_from").is_not_null())
        .select(
            "serial",
            "unit",
            FLEET,
            *UNIT_DIMENSIONS,
            treatment="state",
            entry=(pl.col("from_day") - pl.col("watched_from")).dt.total_days(),
            exit=(pl.col("until_day") - pl.col("watched_from")).dt.total_days(),
            last=pl.col("until_day") == pl.col("watched_until"),
        )
        .sort("serial", "entry")
    )
    money = ("parts", "labor", "travel")
    paid = payable.select("claim", *(pl.col(f"{line}_payable").alias(line) for line in money))
    if "part" not in failures.columns:
        failures = failures.with_columns(part=pl.lit(None, pl.String))
    known_waters = _known_waters(histories, waters)
    laid = _placed_spans(units, spans, states, known_waters)
    known = (
        _with_days(failures, laid)
        .join(_dimensions_of(units), on="serial")
        .join(paid, on="claim", how="left")
        .with_columns(pl.col(money).fill_null(0), **words_of_failures())
        .sort("call")
    )
    left_out = doubtful.join(units.select("serial", "region"), on="serial").sort("serial")
    return FieldContext(
        units,
        known,
        placed,
        left_out,
        known.clear(),
        as_of,
        waters=_placed_waters(histories, dims, known_waters),
        spans=laid,
        grounds=grounds or Grounds(),
    )


def _dimensions_of(units: pl.DataFrame) -> pl.DataFrame:
    """What a failure takes of its unit; `entry` is an age in other frames, so `entered` here."""
    return units.select("serial", "unit", FLEET, "site", *OF_UNIT).rename({"entry": "entered"})


def _site() -> pl.Expr:
    return pl.coalesce(pl.format("at {}", pl.col("site")), "serial")


def _with_all_columns(histories: pl.DataFrame) -> pl.DataFrame:
    """Histories of fleets that know less of their units: what is missing is not known."""
    kinds: dict[str, pl.DataType] = {"needs": pl.List(pl.String), "clock_start": pl.Date()}
    return histories.with_columns(
        pl.lit(None, kinds.get(name, pl.String())).alias(name)
        for name in (*HISTORY_COLUMNS, "site")
        if name not in histories.columns
    )


def _known_waters(histories: pl.DataFrame, waters: pl.DataFrame | None) -> pl.DataFrame:
    """The waters in force; where none is told, every day is untested."""
    if waters is not None:
        return waters
    return histories.filter(pl.col("watched_days") > 0).select(
        "serial",
        from_on="watched_from",
        until_on="watched_until",
        sample=pl.lit(None, pl.String),
        needs=pl.lit("untested"),
        severity=pl.lit("untested"),
    )


def _placed_spans(
    units: pl.DataFrame, spans: pl.DataFrame | None, states: pl.DataFrame, waters: pl.DataFrame
) -> pl.DataFrame:
    """The stretches of the watch by age."""
    if spans is None:
        spans = watch_spans(waters, states, no_systems())
    if "installation" not in spans.columns:
        spans = spans.with_columns(installation=pl.lit("none"))
    begun = pl.col("watched_from")
    return (
        spans.join(units.select("serial", "unit", "watched_from", "watched_until"), on="serial")
        .filter(begun.is_not_null())
        .with_columns(
            entry=(pl.col("from_on") - begun).dt.total_days(),
            exit=(pl.col("until_on") - begun).dt.total_days(),
            last=pl.col("until_on") == pl.col("watched_until"),
        )
        .drop("watched_from", "watched_until")
        .sort("serial", "entry")
    )


def _with_days(failures: pl.DataFrame, spans: pl.DataFrame) -> pl.DataFrame:
    """The failures with what the span of their day says."""
    of_span = ("sample", *OF_SPAN)
    return failures.sort("age").join_asof(
        spans.select("serial", *of_span, age="entry").sort("age"),
        on="age",
        by="serial",
        check_sortedness=False,
    )


def _placed_waters(
    histories: pl.DataFrame, dims: pl.DataFrame, waters: pl.DataFrame
) -> pl.DataFrame:
    """The stretches of the waters by age, with the site and the unit dimensions of each."""
    sites = histories.select("serial", site=_site())
    begun = pl.col("watched_from")
    placed = waters.join(dims, on="serial").join(sites, on="serial")
    return placed.select(
        *(name for name in _WATERS if name not in ("entry", "exit")),
        *(name for name in waters.columns if name.startswith("ratio_")),
        entry=(pl.col("from_on") - begun).dt.total_days(),
        exit=(pl.col("until_on") - begun).dt.total_days(),
    ).sort("serial", "entry")


def narrow(
    context: FieldContext,
    *,
    families: Sequence[str] = (),
    classes: Sequence[str] = (),
    since: date | None = None,
    until: date | None = None,
) -> FieldContext:
    """The same, for some families, failures of some classes, and days in [since, until)."""
    units, failures, states = context.units, context.failures, context.states
    before, repairs, waters = context.before, context.repairs, context.waters
    spans = context.spans
    competing = narrow(context, families=families, since=since, until=until) if classes else None
    if families:
        wanted = pl.col("family").is_in(list(families))
        units, failures, states, repairs, waters = (
            frame.filter(wanted) for frame in (units, failures, states, repairs, waters)
        )
        spans = spans.join(units.select("unit"), on="unit", how="semi")
    if classes:
        of_class = pl.col("cause_class").is_in(list(classes))
        failures, repairs = failures.filter(of_class), repairs.filter(of_class)
    if since is not None:
        before = failures.filter(pl.col("failed_on") < since)
        failures = failures.filter(pl.col("failed_on") >= since)
    if until is not None:
        failures = failures.filter(pl.col("failed_on") < until)
    spans = _clipped(spans, since, until)
    return replace(
        context,
        units=units,
        failures=failures,
        states=states,
        doubtful=context.doubtful.join(units, on="serial", how="semi"),
        before=before,
        since=since,
        until=until,
        repairs=repairs,
        chosen=tuple(classes),
        competing=competing,
        waters=waters,
        spans=spans,
    )


def _clipped(spans: pl.DataFrame, since: date | None, until: date | None) -> pl.DataFrame:
    """The spans within [since, until)."""
    if since is not None:
        late = (pl.lit(since) - pl.col("from_on")).dt.total_days().clip(lower_bound=0)
        spans = spans.with_columns(
            from_on=pl.max_horizontal("from_on", pl.lit(since)), entry=pl.col("entry") + late
        )
    if until is not None:
        early = (pl.col("until_on") - pl.lit(until)).dt.total_days().clip(lower_bound=0)
        spans = spans.with_columns(
            until_on=pl.min_horizontal("until_on", pl.lit(until)), exit=pl.col("exit") - early
        )
    return spans.filter(pl.col("entry") < pl.col("exit"))


def episodes(context: FieldContext, *, by_state: bool = False) -> pl.DataFrame:
    """Stretches of age at risk.

    One a unit, or one a stretch of a treatment state. Within [since, until) of the context.

    Returns:
        episode (an id), serial, unit, fleet, the unit dimensions, treatment (by state only), entry,
        exit (the last age at which it is at risk, as `risk_sets` wants it) and days.
    """
    return context.once(("episodes", by_state), lambda: _episodes(context, by_state))


def _episodes(context: FieldContext, by_state: bool) -> pl.DataFrame:
    if context.by_day:
        stretches = _joined_spans(context, by_state)
    elif by_state:
        starts = context.units.select("serial", "watched_from")
        stretches = context.states.join(starts, on="serial")
    else:
        stretches = context.units.filter(pl.col("watched_days") > 0).select(
            "serial",
            "unit",
            FLEET,
            *UNIT_DIMENSIONS,
            "watched_from",
            entry=pl.lit(0, pl.Int64),
            exit="watched_days",
            last=pl.lit(True),
        )
    if context.since is not None:
        first = (pl.lit(context.since) - pl.col("watched_from")).dt.total_days()
        stretches = stretches.with_columns(entry=pl.max_horizontal("entry", first))
    if context.until is not None:
        final = (pl.lit(context.until) - pl.col("watched_from")).dt.total_days()
        stretches = stretches.with_columns(
            exit=pl.min_horizontal("exit", final),
            last=pl.col("last") | (final <= pl.col("exit")),
        )
    days = pl.col("exit") - pl.col("entry")
    # On its last day a state has passed to the next one; only an exposure's end counts as reached.
    reached = pl.when(pl.col("last")).then("exit").otherwise(pl.col("exit") - 1)
    return (
        stretches.filter(days > 0)
        .with_columns(days=days, exit=reached)
        .drop("watched_from", "last")
        .with_row_index("episode")
    )


def _joined_spans(context: FieldContext, by_state: bool) -> pl.DataFrame:
    """The spans joined up where nothing but their water or products changes between them."""
    keys = ["unit", *(["treatment"] if by_state else [])]
    apart = (pl.col("entry") != pl.col("exit").shift(1)).fill_null(True).over("unit")
    if by_state:
        apart = apart | (pl.col("treatment") != pl.col("treatment").shift(1)).over(
            "unit"
        ).fill_null(True)
    dims = context.units.select("unit", "serial", FLEET, *UNIT_DIMENSIONS, "watched_from")
    return (
        context.spans.sort("unit", "entry")
        .with_columns(run=apart.cast(pl.Int64).cum_sum().over("unit"))
        .group_by(*keys, "run", maintain_order=True)
        .agg(pl.col("entry").min(), pl.col("exit").max(), pl.col("last").any())
        .drop("run")
        .join(dims, on="unit", maintain_order="left")
        .sort("serial", "entry")
    )


def water_stretches(context: FieldContext) -> pl.DataFrame:
    """The rows of `waters` within [since, until) of the context; exit is half-open."""
    stretches = context.waters
    for bound, edge in (("entry", context.since), ("exit", context.until)):
        if edge is not None:
            began = context.units.select("unit", "watched_from")
            age = (pl.lit(edge) - pl.col("watched_from")).dt.total_days()
            cut = pl.max_horizontal if bound == "entry" else pl.min_horizontal
            stretches = stretches.join(began, on="unit").with_columns(cut(bound, age).alias(bound))
            stretches = stretches.drop("watched_from")
    return stretches.filter(pl.col("entry") < pl.col("exit"))


def failures_of(context: FieldContext, stretches: pl.DataFrame) -> pl.DataFrame:
    """The failures with the `episode` of the stretches (of `episodes`) that each lies in."""
    by_state = "treatment" in stretches.columns
    keys = ["unit", *(["treatment"] if by_state else [])]
    return (
        context.failures.join(stretches.select(*keys, "episode", "entry", "exit"), on=keys)
        .filter((pl.col("age") >= pl.col("entry")) & (pl.col("age") <= pl.col("exit")))
        .drop("entry", "exit")
    )
