"""Letters about units: what is told of an installation and of a water, in which words.

Belongs here: the values of these letters. Does not belong here: which of them are due
(`standing_units`), templates, messages.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.findings import switched_off
from pipelines.letters.cautions import HAZARDS
from pipelines.letters.values import addresses
from pipelines.startups.letter_asks import asks
from pipelines.startups.readings import READINGS
from pipelines.startups.recommendation_sentences import UNTANKED
from pipelines.startups.standing_units import (
    INSTALLATION,
    RECOMMENDATION,
    UNSETTLED,
    latest_agencies,
    unmended,
)
from pipelines.water.advice_parts import MANUAL_CAUTION, PLUMBING_CAUTION
from pipelines.water.limits import need_words, needs_of, number_text
from schemas import codes
from schemas.columns import TEXTS
from schemas.unit_letters import UNIT_LETTERS
from schemas.wording import NEEDS

_NOT_MENDED = (
    "The start-up of this unit found what follows, and no later report says that it was mended."
)
_NOT_COVERED = "Failures that it brings about are not covered."
# Whoever works on a cooker meets these, whatever the matter is.
_AT_THE_UNIT = (HAZARDS["steam"][2], HAZARDS["electricity"][2])


def installation_letters(
    reviews: pl.DataFrame,
    findings: pl.DataFrame,
    agencies: pl.DataFrame,
    terms_values: pl.DataFrame,
) -> pl.DataFrame:
    """The values of letters of kind installation, for units with unmended readings.

    Takes what `standing_installations` takes, and `values` of `Terms`, which may leave out the
    condition that such failures are not covered. Returns rows of UNIT_LETTERS, by serial.
    """
    mends = {name: reading.mend for name, reading in READINGS.items()}
    mend = pl.col("reading").replace_strict(mends, return_dtype=pl.String)
    # The sentence ends with what is called for, which the letter says by itself.
    bare = pl.col("sentence").str.strip_suffix(pl.format(": {}.", mend)) + pl.lit(".")
    reading_sentence = pl.format("Start-up of {}, report {}: {}", "completed_on", "report", bare)
    by_unit = (
        unmended(reviews, findings)
        .group_by("serial", maintain_order=True)
        .agg(
            readings=reading_sentence,
            mends=mend,
            cautions=pl.col("caution").drop_nulls().unique(maintain_order=True),
        )
    )
    rows = (
        reviews.filter("latest")
        .join(by_unit, on="serial")
        .join(
            terms_values.select("edition", "family", "conditions_off"),
            on=["edition", "family"],
            how="left",
        )
        .with_columns(
            kind=pl.lit(INSTALLATION),
            title=pl.lit("start-up to be mended"),
            opening=pl.when(pl.col("edition").is_null() | switched_off("installation_sound"))
            .then(pl.lit(_NOT_MENDED))
            .otherwise(pl.lit(f"{_NOT_MENDED} {_NOT_COVERED}")),
            asks=pl.lit(
                "Have it mended by licensed people, and send a report of the start-up with these "
                "readings."
            ),
            cautions=pl.concat_list(
                "cautions", *(pl.lit(one) for one in (*_AT_THE_UNIT, MANUAL_CAUTION))
            ).list.unique(maintain_order=True),
        )
    )
    return _values(rows, agencies)


def recommendation_letters(
    recommendations: pl.DataFrame,
    startups: pl.DataFrame,
    water_tests: pl.DataFrame,
    coldest: pl.DataFrame,
    agencies: pl.DataFrame,
    water_limits: pl.DataFrame,
    terms_values: pl.DataFrame,
) -> pl.DataFrame:
    """The values of letters of kind recommendation, for the units that are told.

    Args:
        recommendations, startups, agencies: as for `standing_recommendations`.
        water_tests: at least the samples that they rest on.
        coldest: region, coldest_supply_c, of the reference file.
        water_limits, terms_values: of `Terms`.

    Returns:
        Rows of UNIT_LETTERS, by serial.
    """
    unsettled = recommendations.filter(pl.col("state").is_in(UNSETTLED))
    numbers = [*codes.ANALYTES, *(f"{name}_below" for name in codes.ANALYTES)]
    samples = unsettled.select("serial", "sample", "edition", "family")
    outside = needs_of(
        samples.drop("serial").unique().join(water_tests.select("sample", *numbers), on="sample"),
        water_limits,
        terms_values,
    ).select("sample", "edition", "family", "outside")
    of_terms = terms_values.select(
        "edition", "family", "sellers", "look_back_months", "conditions_off"
    )
    # Also where something was bought that does not serve, and nothing on the list would.
    nothing = pl.col("state").is_in(["nothing_serves", "unsuitable"]) & (
        pl.col("unmet").list.len() > 0
    )
    rows = (
        unsettled.join(outside, on=["sample", "edition", "family"], how="left")
        .join(of_terms, on=["edition", "family"], how="left")
        .join(coldest.select("region", "coldest_supply_c"), on="region", how="left")
        .join(latest_agencies(startups), on="serial", how="left")
        .with_columns(
            kind=pl.lit(RECOMMENDATION),
            title=pl.lit("treatment of the water"),
            opening=_opening(),
            tank=_tank(),
            asks=pl.when(nothing)
            .then(
                pl.format(
                    "No treatment on the list removes {}; a person will write what would.",
                    need_words(pl.col("unmet")),
                )
            )
            .otherwise(asks()),
            cautions=_cautions(),
            unmet=pl.col("unmet").list.eval(pl.element().replace_strict(NEEDS)),
        )
    )
    return _values(rows, agencies)


def _opening() -> pl.Expr:
    """What the water calls for; or that the model is always treated, whatever the water is."""
    needs = need_words(pl.col("needs").str.split("+"))
    always = pl.format(
        "Sample {} of {} is within its limits; model {} is always to be treated against {}.",
        "sample", "sampled_on", "model", needs,
    )  # fmt: skip
    calls = pl.format(
        "Sample {} of {} calls for treatment against {}.", "sample", "sampled_on", needs
    )
    return pl.when(pl.col("outside").list.len() == 0).then(always).otherwise(calls)


def _cautions() -> pl.Expr:
    """Those of plumbing, steam and electricity; of acids where scale or silica deposits."""
    deposits = pl.col("needs").str.split("+").list.set_intersection(HAZARDS["deliming"][1])
    acids = pl.when(deposits.list.len() > 0).then(pl.lit(HAZARDS["deliming"][2]))
    others = (PLUMBING_CAUTION, *_AT_THE_UNIT, MANUAL_CAUTION)
    return pl.concat_list(acids, *(pl.lit(one) for one in others)).list.drop_nulls()


def _tank() -> pl.Expr:
    """The tank behind a membrane, with the supply that it was sized for; or that none serves, as
    the recommendation says at its end; null without a membrane to buy."""
    cold = pl.format(", sized for a supply of {} °C", number_text(pl.col("coldest_supply_c")))
    tank = pl.format(
        "Behind the membrane: a tank of {} L{}.", number_text(pl.col("tank_l")), cold.fill_null("")
    )
    return pl.coalesce(tank, pl.col("sentence").str.extract(f"({UNTANKED}.*)$"))


def _values(rows: pl.DataFrame, agencies: pl.DataFrame) -> pl.DataFrame:
    addressed = rows.join(addresses(agencies), on="agency", how="left")
    lacking = [name for name in UNIT_LETTERS if name not in addressed.columns]
    lists = [name for name, kind in UNIT_LETTERS.items() if isinstance(kind, pl.List)]
    return (
        addressed.with_columns(pl.lit(None).alias(name) for name in lacking)
        .select(UNIT_LETTERS.names())
        .cast(UNIT_LETTERS)
        .with_columns(pl.col(lists).fill_null(pl.lit([], TEXTS)))
        .sort("serial")
    )
