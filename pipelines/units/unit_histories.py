"""One row a unit: its clock, cover, start-up, water, treatment and upkeep.

Belongs here: assembling what the other modules and `pipelines.coverage` know of a unit. Does not
belong here: rules of their own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from pipelines.coverage import replacements, startups
from pipelines.coverage.clock import unit_terms
from pipelines.coverage.duplicates import same_failure
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import switched_off
from pipelines.records.repairs import claims_among
from pipelines.terms import Terms
from pipelines.units.time_at_risk import ONE_DAY, time_at_risk
from pipelines.units.treatment_fit import fit_of_units
from pipelines.units.treatment_states import (
    ABILITY_BITS,
    ability_mask,
    cartridge_covers,
    fitted_systems,
    treatment_states,
)
from pipelines.units.unit_dimensions import with_dimensions
from pipelines.units.watch_spans import watch_spans
from pipelines.units.water_of_days import waters_in_force
from pipelines.water.unit_profiles import first_tests, judged_supply_tests, latest_profiles
from schemas.columns import column_names
from schemas.histories import UnitHistories

_TERMS = (
    "request_within_days",
    "sellers",
    "cartridge_months_mild",
    "cartridge_months_normal",
    "cartridge_months_severe",
    "cartridge_grace_days",
    "delime_months",
    "delime_grace_days",
    "grace_days",
    "duplicate_within_days",
    "conditions_off",
    "workmanship_days",
)


@dataclass(frozen=True)
class Histories:
    """What is known of all units.

    `units` has the columns of `UnitHistories` and besides those of `unit_terms`, of `time_at_risk`,
    of `fit_of_units` and of the terms in `_TERMS`; `fitted`, `covers` and `states` are those of
    `treatment_states`; `waters` that of `waters_in_force`, `spans` of `watch_spans`.
    """

    units: pl.DataFrame
    fitted: pl.DataFrame
    covers: pl.DataFrame
    states: pl.DataFrame
    waters: pl.DataFrame
    spans: pl.DataFrame

    def of(self, serials: pl.Series) -> Histories:
        """The same of some units alone: a part of the fleet comes with units that it took over."""
        if self.units["serial"].is_in(serials.implode()).all():
            return self
        wanted = pl.DataFrame({"serial": serials})
        frames = (self.units, self.fitted, self.covers, self.states, self.waters, self.spans)
        return Histories(*(frame.join(wanted, on="serial", how="semi") for frame in frames))

    @property
    def table(self) -> pl.DataFrame:
        """The table `unit_histories`."""
        return self.units.select(column_names(UnitHistories)).sort("serial")


def build_histories(
    evidence: Evidence,
    terms: Terms,
    *,
    duty_hours_per_day: float,
    tanks_l: Sequence[float],
    lots: pl.DataFrame | None = None,
) -> Histories:
    """The histories of all units.

    Args:
        evidence: what is seen as of its as-of date (`pipelines.coverage.evidence.seen`).
        terms: all editions.
        duty_hours_per_day: setting, for the membranes.
        tanks_l: setting, the tanks that the maker sells.
        lots: the reference file; None: there is none.
    """
    clocked = unit_terms(evidence.units, evidence.models, terms).join(
        terms.values.select("edition", "family", *_TERMS), on=["edition", "family"], how="left"
    )
    judged = judged_supply_tests(
        evidence.water_tests, clocked, terms.water_limits, terms.values, evidence.as_of
    )
    profiled = clocked.join(
        latest_profiles(judged, clocked).select(
            "serial", "water_profile", "needs", "severity", "sample"
        ),
        on="serial",
        how="left",
    ).join(first_tests(judged, evidence.as_of), on="serial", how="left")
    started = _with_startup(profiled, evidence)
    exposed = started.join(
        time_at_risk(_as_machines(started), evidence.as_of), on="serial", how="left"
    )
    fitted = fitted_systems(exposed, evidence)
    covers = cartridge_covers(fitted, exposed, evidence)
    fit = fit_of_units(
        exposed, fitted, evidence, duty_hours_per_day=duty_hours_per_day, tanks_l=tanks_l
    )
    units = (
        exposed.join(_last_delimed(evidence), on="serial", how="left")
        .join(fitting_days(exposed, fitted), on="serial", how="left")
        .join(fit, on="serial", how="left")
        .pipe(_with_cover, fitted, covers, evidence)
        .with_columns(replacement=replacements.in_words())
        .pipe(with_dimensions, evidence.regions, lots)
    )
    states = treatment_states(units, fitted, covers)
    waters = waters_in_force(judged, units)
    spans = watch_spans(waters, states, fitted)
    return Histories(units, fitted, covers, states, waters, spans)


def _as_machines(units: pl.DataFrame) -> pl.DataFrame:
    """The units as their exposure counts: each machine from its own start to its own end.

    Cover may run on from the unit that was replaced, but the days before the machine stood there
    are that one's, and are counted with it. A unit that another took over from is out of service
    by then, also where the register does not tell when it was retired.
    """
    # The day of the exchange is no longer this machine's.
    left = pl.col("replaced_on") - ONE_DAY
    return units.with_columns(
        clock_start="own_clock_start", retired_on=pl.coalesce("retired_on", left)
    )


def _with_startup(units: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Adds what the start-up reports say and earn; what is switched off counts as met in that."""
    complete_to = evidence.complete_to("startups")
    by_now = startups.completed_by(pl.lit(evidence.as_of), complete_to)
    return (
        units.join(startups.startup_facts(evidence.startups), on="serial", how="left")
        .with_columns(
            requested_in_time=_or_met(
                startups.requested_in_time(complete_to), "startup_requested_in_time"
            ),
            completed_by_now=_or_met(by_now, "startup_completed"),
        )
        .with_columns(
            startup_earned=startups.earned(pl.col("requested_in_time"), pl.col("completed_by_now"))
        )
    )


def _or_met(outcome: pl.Expr, condition: str) -> pl.Expr:
    return pl.when(switched_off(condition)).then(pl.lit("met")).otherwise(outcome)


def _last_delimed(evidence: Evidence) -> pl.DataFrame:
    # By whomever: what counts for cover is the condition's own matter.
    calls = evidence.service_calls.filter(pl.col("kind") == "delime")
    return calls.group_by("serial").agg(last_delimed_on=pl.col("completed_on").max())


def fitting_days(units: pl.DataFrame, fitted: pl.DataFrame) -> pl.DataFrame:
    """When the good systems first did together what the water needs: serial, date.

    Where the water needs nothing, or is untested: the first installation of a good system.
    """
    needed = units.select("serial", needed=ability_mask(pl.col("needs")))
    return (
        fitted.select("serial", "active_from", does=ability_mask(pl.col("removes")))
        .join(needed, on="serial")
        .sort("serial", "active_from")
        .with_columns(
            # Sets of abilities only grow, so the union so far is the union up to this row.
            *(
                ((pl.col("does") // bit) % 2).cum_max().over("serial").alias(f"bit{bit}")
                for bit in ABILITY_BITS.values()
            )
        )
        .with_columns(
            does=pl.sum_horizontal(pl.col(f"bit{bit}") * bit for bit in ABILITY_BITS.values())
        )
        .filter((pl.col("does") & pl.col("needed")) == pl.col("needed"))
        .group_by("serial")
        .agg(treatment_installed_on=pl.col("active_from").min())
    )


def _with_cover(
    units: pl.DataFrame, fitted: pl.DataFrame, covers: pl.DataFrame, evidence: Evidence
) -> pl.DataFrame:
    """Adds covered_until and days_covered_share of the systems that do what the water needs.

    A system lasts to the later of what its changes and its stock give, without grace; a unit to
    the earliest of its needed systems. The share is of the days from the fitting treatment's
    installation to the as-of date (or the unit's retirement) on which a system that is needed had
    a cartridge within its months, by changes or by stock; the least over the systems.
    """
    needed = units.select("serial", needed=ability_mask(pl.col("needs")))
    serving = (
        fitted.join(needed, on="serial")
        .filter(
            pl.col("months").is_not_null()
            & ((ability_mask(pl.col("removes")) & pl.col("needed")) > 0)
        )
        .select("serial", "product")
    )
    due = (
        covers.join(serving, on=["serial", "product"])
        .group_by("serial", "product")
        # By changes or by stock, whichever lasts longer.
        .agg(pl.col("due_on").max())
    )
    until = due.group_by("serial").agg(covered_until=pl.col("due_on").min())
    share = _covered_share(units, covers.join(serving, on=["serial", "product"]), evidence)
    return units.join(until, on="serial", how="left").join(share, on="serial", how="left")


def _covered_share(units: pl.DataFrame, covers: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    ends = units.select(
        "serial",
        "treatment_installed_on",
        last=pl.min_horizontal("retired_on", pl.lit(evidence.as_of)),
    )
    spans = (
        covers.join(ends, on="serial")
        .select(
            "serial",
            "product",
            "treatment_installed_on",
            "last",
            start=pl.max_horizontal("since", "treatment_installed_on"),
            # Up to the due day: the grace forgives days, it does not cover them.
            end=pl.min_horizontal("due_on", "next_on", "last"),
        )
        .filter(pl.col("start") < pl.col("end"))
        .sort("serial", "product", "start", "end")
        .with_columns(
            # What earlier spans of the system already cover is not counted twice.
            covered_to=pl.col("end").cum_max().shift(1).over("serial", "product")
        )
        .with_columns(start=pl.max_horizontal("start", "covered_to"))
    )
    days = (pl.col("end") - pl.col("start")).dt.total_days().clip(lower_bound=0)
    length = (pl.col("last") - pl.col("treatment_installed_on")).dt.total_days()
    return (
        spans.group_by("serial", "product")
        .agg(covered=days.sum(), length=length.first())
        # A share of no days is none.
        .filter(pl.col("length") > 0)
        .group_by("serial")
        .agg(days_covered_share=(pl.col("covered") / pl.col("length")).min())
    )


def disputed_duplicates(evidence: Evidence, histories: Histories) -> pl.DataFrame:
    """The claims that repeat an earlier claim for the same failure (condition 6): claim."""
    claims = claims_among(evidence.service_calls).join(
        histories.units.select("serial", "duplicate_within_days"), on="serial"
    )
    return same_failure(claims).filter("twin_first").select("claim").unique().sort("claim")
