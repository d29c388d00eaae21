"""Letters about units: what has to be told of an installation and of a water, and in which words.

Belongs here: matters of the register for units, and the values of their letters. Does not belong
here: which letters follow (`pipelines.letters.register`), templates, messages.
"""

from __future__ import annotations

import polars as pl

from pipelines.letters.cautions import HAZARDS
from pipelines.letters.matters import STANDING, basis_of
from pipelines.letters.values import addresses
from pipelines.startups.readings import READINGS
from pipelines.water.advice_parts import MANUAL_CAUTION, PLUMBING_CAUTION
from pipelines.water.limits import needs_of, number_text
from schemas import codes
from schemas.columns import TEXTS
from schemas.unit_letters import UNIT_LETTERS

INSTALLATION, RECOMMENDATION = "installation", "recommendation"
# The states of which the agency is told, and those that settle the matter.
TOLD = ("open", "overdue", "unsuitable", "bought", "lapsed", "nothing_serves")
SETTLED = ("none_needed", "kept_up")
_APART = "\x1e"


def unmended(reviews: pl.DataFrame, findings: pl.DataFrame) -> pl.DataFrame:
    """The readings of each unit that were last found unsound and never sound since.

    A later report that leaves a reading out mends nothing.

    Args:
        reviews: of `startup_reviews`.
        findings: of `installation_findings`.

    Returns:
        The rows of findings, with completed_on, by serial and the order of the readings.
    """
    order = {name: place for place, name in enumerate(codes.REPORTED)}
    return (
        findings.filter(pl.col("outcome").is_in(["sound", "unsound"]))
        .join(reviews.select("report", "completed_on"), on="report")
        .sort("serial", "reading", "completed_on", "report")
        .unique(["serial", "reading"], keep="last", maintain_order=True)
        .filter(pl.col("outcome") == "unsound")
        .sort("serial", pl.col("reading").replace_strict(order, return_dtype=pl.Int8))
    )


def standing_installations(
    reviews: pl.DataFrame, findings: pl.DataFrame, agencies: pl.DataFrame
) -> pl.DataFrame:
    """One row a unit with a completed start-up, in the shape of `matters.STANDING`.

    The basis is the unit with its unmended readings; a unit without any closes what is live.
    """
    told = (
        unmended(reviews, findings)
        .group_by("serial", maintain_order=True)
        .agg(
            told=pl.concat_str(
                "serial", pl.col("reading").str.join(_APART), separator=_APART
            ).first()
        )
    )
    rows = (
        reviews.filter("latest")
        .select("serial", "report", "agency")
        .join(told, on="serial", how="left")
        .with_columns(kind=pl.lit(INSTALLATION), closes=pl.col("told").is_null())
    )
    return _standing(rows, agencies)


def standing_recommendations(
    recommendations: pl.DataFrame, startups: pl.DataFrame, agencies: pl.DataFrame
) -> pl.DataFrame:
    """One row a unit whose water is known, in the shape of `matters.STANDING`.

    The basis is the needs, what is recommended, what nothing serves and the due date; a treatment
    that is kept up, or that is not needed, closes what is live.

    Args:
        recommendations: of `treatment_recommendations`.
        startups: what is seen of the feed; the latest names the agency.
        agencies: the reference file.
    """
    parts = [
        *(pl.col(name) for name in ("serial", "needs", "recommended")),
        pl.col("unmet").list.join("+"),
        pl.col("due_on").cast(pl.String),
    ]
    told = pl.concat_str([part.fill_null("") for part in parts], separator=_APART)
    rows = (
        recommendations.filter(pl.col("state").is_in([*TOLD, *SETTLED]))
        .join(_latest_agencies(startups), on="serial", how="left")
        .with_columns(
            kind=pl.lit(RECOMMENDATION),
            told=pl.when(pl.col("state").is_in(TOLD)).then(told),
            closes=pl.col("state").is_in(SETTLED),
        )
    )
    return _standing(rows, agencies)


def _latest_agencies(startups: pl.DataFrame) -> pl.DataFrame:
    """The agency of each unit's latest start-up: by completion, else request, then the report."""
    return (
        startups.sort("serial", "completed_on", "requested_on", "report", nulls_last=False)
        .unique("serial", keep="last", maintain_order=True)
        .select("serial", "agency")
    )


def _standing(rows: pl.DataFrame, agencies: pl.DataFrame) -> pl.DataFrame:
    """Rows with kind, told (null where nothing is), closes, in the shape of STANDING."""
    digests = [None if text is None else basis_of(f"{kind}{_APART}{text}")
               for kind, text in zip(rows["kind"], rows["told"], strict=True)]  # fmt: skip
    lacking = [name for name in STANDING if name not in rows.columns]
    return (
        rows.join(addresses(agencies), on="agency", how="left")
        .with_columns(pl.lit(None).alias(name) for name in lacking)
        .with_columns(basis=pl.Series(digests, dtype=pl.String), email="agency_email")
        .select(STANDING.names())
        .cast(STANDING)
        .sort("serial")
    )


def installation_letters(
    reviews: pl.DataFrame, findings: pl.DataFrame, agencies: pl.DataFrame
) -> pl.DataFrame:
    """The values of letters of kind installation, for units with unmended readings.

    Takes what `standing_installations` takes. Returns rows of UNIT_LETTERS, by serial.
    """
    mends = {name: told.mend for name, told in READINGS.items()}
    found = pl.format("Start-up of {}, report {}: {}", "completed_on", "report", "sentence")
    by_unit = (
        unmended(reviews, findings)
        .group_by("serial", maintain_order=True)
        .agg(
            readings=found,
            mends=pl.col("reading").replace_strict(mends, return_dtype=pl.String),
            cautions=pl.col("caution").drop_nulls().unique(maintain_order=True),
        )
    )
    rows = (
        reviews.filter("latest")
        .join(by_unit, on="serial")
        .with_columns(
            kind=pl.lit(INSTALLATION),
            title=pl.lit("start-up to be mended"),
            opening=pl.lit(
                "The start-up of this unit found what follows, and no later report says that it "
                "was mended. Failures that it brings about are not covered."
            ),
            asks=pl.lit(
                "Have it mended by licensed people, and send a report of the start-up with these "
                "readings."
            ),
            cautions=pl.concat_list("cautions", pl.lit(MANUAL_CAUTION)),
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
    told = recommendations.filter(pl.col("state").is_in(TOLD))
    numbers = [*codes.ANALYTES, *(f"{name}_below" for name in codes.ANALYTES)]
    asked = told.select("serial", "sample", "edition", "family")
    outside = needs_of(
        asked.drop("serial").unique().join(water_tests.select("sample", *numbers), on="sample"),
        water_limits,
        terms_values,
    ).select("sample", "edition", "family", "outside")
    sellers = terms_values.select("edition", "family", "sellers")
    nothing = pl.col("state") == "nothing_serves"
    needs = pl.col("needs").str.replace_all("+", ", ", literal=True)
    rows = (
        told.join(outside, on=["sample", "edition", "family"], how="left")
        .join(sellers, on=["edition", "family"], how="left")
        .join(coldest.select("region", "coldest_supply_c"), on="region", how="left")
        .join(_latest_agencies(startups), on="serial", how="left")
        .with_columns(
            kind=pl.lit(RECOMMENDATION),
            title=pl.lit("treatment of the water"),
            opening=pl.format("Sample {} of {} calls for {}.", "sample", "sampled_on", needs),
            tank=_tank(),
            asks=pl.when(nothing)
            .then(
                pl.format(
                    "No treatment on the list removes {}; a person will write what would.",
                    pl.col("unmet").list.join(", "),
                )
            )
            .otherwise(_asks()),
            cautions=pl.lit([PLUMBING_CAUTION, HAZARDS["electricity"][2], MANUAL_CAUTION], TEXTS),
        )
    )
    return _values(rows, agencies)


def _asks() -> pl.Expr:
    due, sellers = pl.col("due_on"), pl.col("sellers").list.join(" or ")
    state = pl.col("state")
    keep = pl.format(
        "For failures that water brings about to stay covered it must be bought new from {} and "
        "installed by {}, and its cartridges kept up.",
        sellers,
        due,
    )
    return (
        pl.when(state == "lapsed")
        .then(
            pl.lit(
                "What is installed serves, but its cartridges have lapsed: change them and report "
                "it; until then failures that water brings about are not covered."
            )
        )
        .when(state == "bought")
        .then(pl.format("What was bought serves: install it by {} and report it.", due))
        .otherwise(keep)
    )


def _tank() -> pl.Expr:
    """The tank behind a membrane, with the supply that it was sized for; null without one."""
    cold = pl.when(pl.col("coldest_supply_c").is_not_null()).then(
        pl.format(", sized for a supply of {} °C", number_text(pl.col("coldest_supply_c")))
    )
    return pl.format(
        "Behind the membrane: a tank of {} L{}.", number_text(pl.col("tank_l")), cold.fill_null("")
    )


def _values(rows: pl.DataFrame, agencies: pl.DataFrame) -> pl.DataFrame:
    named = rows.join(addresses(agencies), on="agency", how="left")
    lacking = [name for name in UNIT_LETTERS if name not in named.columns]
    lists = [name for name, kind in UNIT_LETTERS.items() if isinstance(kind, pl.List)]
    return (
        named.with_columns(pl.lit(None).alias(name) for name in lacking)
        .select(UNIT_LETTERS.names())
        .cast(UNIT_LETTERS)
        .with_columns(pl.col(lists).fill_null(pl.lit([], TEXTS)))
        .sort("serial")
    )
