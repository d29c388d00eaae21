"""What each unit's water calls for, whether it was bought and fitted, and by when it is due.

Belongs here: the state of a unit's treatment and what is recommended. Does not belong here: Test,
Needs, Good and Kept (`held_treatment`), combinations and tanks (`pipelines.water`).
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipelines.startups.held_treatment import Held
from pipelines.startups.protection import first_days, protected_to
from pipelines.startups.recommendation_sentences import AT_STAKE, sentence
from pipelines.startups.reviewed_units import Reviewed, in_service
from pipelines.units.treatment_states import ability_mask
from pipelines.water.limits import number_text
from pipelines.water.membrane import membranes_in_the_cold
from pipelines.water.treatment import combined, serving_abilities
from schemas.columns import TEXTS, polars_schema
from schemas.startups import TreatmentRecommendations

NO_NEEDS = "none"
_OF_UNIT = (
    "serial",
    "model",
    "family",
    "site",
    "site_name",
    "region",
    "edition",
    "coverage_end",
    "feed_l_per_h",
)


def treatment_recommendations(
    look: Reviewed, held: Held, *, duty_hours_per_day: float, tanks_l: Sequence[float]
) -> pl.DataFrame:
    """The table `treatment_recommendations`, by serial.

    Args:
        look: the units, their tests and their reports.
        held: of `held_treatment`.
        duty_hours_per_day, tanks_l: settings, for the tank.
    """
    units = in_service(look).filter(pl.col("needs_treatment")).select(_OF_UNIT)
    tested = units.join(held.latest, on="serial", how="left").pipe(_with_served, look)
    facts = [
        _with_tank(tested, look, duty_hours_per_day, tanks_l),
        first_days(held.systems, held.latest, "bought_on"),
        first_days(held.systems, held.latest, "installed_on"),
        held.systems.select("serial", any_good=True).unique(),
        _kept(look, held),
        _waiting(look),
        look.evidence.startups.filter(pl.col("completed_on").is_not_null())
        .select("serial", started=True)
        .unique(),
    ]
    whole = tested
    for fact in facts:
        whole = whole.join(fact, on="serial", how="left")
    today = pl.lit(look.evidence.as_of)
    stated = whole.with_columns(state=_state(today))
    return (
        _with_kept_until(stated, look, held)
        .with_columns(
            sample="test_sample",
            sampled_on="test_sampled_on",
            reported_on="test_reported_on",
            needs=_joined_needs(),
            due_on="grace_until",
            days_left=(pl.col("grace_until") - today).dt.total_days(),
            at_stake=AT_STAKE,
        )
        .with_columns(sentence=sentence())
        .select(polars_schema(TreatmentRecommendations).names())
        .sort("serial")
    )


def _joined_needs() -> pl.Expr:
    needs = pl.col("needs")
    return (
        pl.when(needs.list.len() == 0)
        .then(pl.lit(NO_NEEDS))
        .when(needs.is_not_null())
        .then(needs.list.sort().list.join("+"))
    )


def _with_served(units: pl.DataFrame, look: Reviewed) -> pl.DataFrame:
    """Adds recommended, alternatives and unmet, by the set of needs."""
    abilities = serving_abilities(look.evidence.treatments)
    able = frozenset().union(*abilities.values())
    distinct = units.get_column("needs").drop_nulls().unique().sort().to_list()
    offered = [combined(needs, abilities) for needs in distinct]
    names = [[" + ".join(one.products) for one in choices] for choices in offered]
    served = pl.DataFrame(
        {
            "needs": distinct,
            "recommended": [one[0] if one else None for one in names],
            "alternatives": [one[1:] for one in names],
            "unmet": [sorted(set(needs) - able) for needs in distinct],
        },
        schema={
            "needs": TEXTS,
            "recommended": pl.String,
            "alternatives": TEXTS,
            "unmet": TEXTS,
        },
    )
    none = pl.lit([], TEXTS)
    keyed = served.with_columns(key=pl.col("needs").list.join("+")).drop("needs")
    return (
        units.with_columns(key=pl.col("needs").list.join("+"))
        .join(keyed, on="key", how="left")
        .drop("key")
        .with_columns(pl.col("alternatives", "unmet").fill_null(none))
    )


def _with_tank(
    units: pl.DataFrame, look: Reviewed, duty_hours_per_day: float, tanks_l: Sequence[float]
) -> pl.DataFrame:
    """The tank behind the recommended membrane: serial, has_membrane, tank_l, coldest_supply_c
    (null without a membrane), and instead: the first choice that serves at the coldest supply, in
    words; only units to which something is recommended.

    Units of one feed, region and needs have one tank, so it is sized once for each.
    """
    alike = ["feed_l_per_h", "region", "needed"]
    wanting = units.filter(pl.col("recommended").is_not_null()).with_columns(
        needed=pl.col("needs").list.join("+")
    )
    choices = (
        wanting.select(*alike, choice=pl.concat_list("recommended", "alternatives"))
        .unique(alike, maintain_order=True)
        .explode("choice")
        .with_row_index("serial")
        .with_columns(pl.col("serial").cast(pl.String))
    )
    sized = membranes_in_the_cold(
        choices,
        choices.select("serial", product=pl.col("choice").str.split(" + ")).explode("product"),
        look.evidence.treatments,
        look.evidence.regions,
        duty_hours_per_day=duty_hours_per_day,
        tanks_l=tanks_l,
    ).select("serial", "tank_l", "coldest_supply_c", has_membrane=pl.lit(True))
    serves = pl.col("has_membrane").is_null() | pl.col("tank_l").is_not_null()
    tanked = pl.format(" with a tank of {} L", number_text(pl.col("tank_l"))).fill_null("")
    of_kind = (
        choices.join(sized, on="serial", how="left", maintain_order="left")
        .group_by(alike, maintain_order=True)
        .agg(
            pl.col("tank_l", "coldest_supply_c", "has_membrane").first(),
            instead=pl.concat_str("choice", tanked).filter(serves).first(),
        )
    )
    return (
        wanting.select("serial", *alike)
        .join(of_kind, on=alike, nulls_equal=True)
        .select("serial", "tank_l", "coldest_supply_c", "has_membrane", "instead")
    )


def _kept(look: Reviewed, held: Held) -> pl.DataFrame:
    """serial, kept_able: a mask of what the systems do that are kept up today, by Test."""
    today, until = pl.lit(look.evidence.as_of), pl.col("until_on")
    return (
        held.windows.join(held.latest.select("serial", "severity"), on=["serial", "severity"])
        .filter((pl.col("from_on") <= today) & (until.is_null() | (today <= until)))
        .group_by("serial")
        .agg(kept_able=pl.col("able").bitwise_or())
    )


def _waiting(look: Reviewed) -> pl.DataFrame:
    """Units of which a result may come: a sample was taken, or a test is incomplete."""
    taken = look.evidence.startups.filter(
        pl.col("completed_on").is_not_null() & pl.col("sample_taken")
    )
    incomplete = look.tests.filter(~pl.col("complete"))
    both = pl.concat([taken.select("serial"), incomplete.select("serial")])
    return both.unique().with_columns(waiting=True)


def _state(today: pl.Expr) -> pl.Expr:
    needed = ability_mask(pl.col("needs"))
    kept = (pl.col("kept_able").fill_null(0) & needed) == needed
    installed, bought = pl.col("installed_on").is_not_null(), pl.col("bought_on").is_not_null()
    with_test = (
        pl.when(pl.col("needs").list.len() == 0)
        .then(pl.lit("none_needed"))
        .when(kept)
        .then(pl.lit("kept_up"))
        .when(installed)
        .then(pl.lit("lapsed"))
        .when(bought)
        .then(pl.lit("bought"))
        .when(pl.col("any_good").fill_null(False))
        .then(pl.lit("unsuitable"))
        .when(pl.col("unmet").list.len() > 0)
        .then(pl.lit("nothing_serves"))
        .when(pl.col("grace_until") < today)
        .then(pl.lit("overdue"))
        .otherwise(pl.lit("open"))
    )
    return (
        pl.when(pl.col("test_sample").is_not_null())
        .then(with_test)
        .when(pl.col("waiting").fill_null(False))
        .then(pl.lit("waiting_for_result"))
        .when(pl.col("started").fill_null(False))
        .then(pl.lit("no_sample"))
        .otherwise(pl.lit("no_startup"))
    )


def _with_kept_until(units: pl.DataFrame, look: Reviewed, held: Held) -> pl.DataFrame:
    kept_up = units.filter(pl.col("state") == "kept_up")
    from_today = kept_up.select("serial", "severity", "needs", start=pl.lit(look.evidence.as_of))
    until = protected_to(from_today, held.windows).rename({"until_on": "kept_until"})
    return units.join(until, on="serial", how="left")
