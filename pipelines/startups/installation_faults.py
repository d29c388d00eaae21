"""What is coming up for units whose latest start-up found something unsound.

Belongs here: the matter `installation fault` of the table `upcoming`. Does not belong here: the
other matters (`pipelines.units.upcoming`), what a report comes to (`startup_reviews`).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.findings import switched_off
from pipelines.startups.readings import READINGS
from pipelines.startups.reviewed_units import Reviewed, in_service
from pipelines.units.upcoming_sentences import sentence_to_send
from schemas import codes
from schemas.columns import polars_schema
from schemas.histories import Upcoming

MATTER = "installation fault"


def installation_faults(look: Reviewed, reviews: pl.DataFrame) -> pl.DataFrame:
    """One row a unit in cover whose latest review is unsound, in the form of `upcoming`."""
    today = pl.lit(look.evidence.as_of)
    unsound = reviews.filter(pl.col("latest") & (pl.col("result") == "unsound")).join(
        in_service(look).select("serial", "conditions_off"), on="serial"
    )
    # As `startup_reviews` joins them.
    faults = unsound.select("report", reading=pl.col("faults").str.split("; ")).explode("reading")
    order = {name: place for place, name in enumerate(codes.REPORTED)}
    words = {name: reading.words for name, reading in READINGS.items()}
    stakes = (
        faults.join(_causes(look.evidence.causes), on="reading", how="left")
        .sort("report", pl.col("reading").replace_strict(order, return_dtype=pl.Int8))
        .group_by("report", maintain_order=True)
        .agg(
            found=pl.col("reading").replace_strict(words, return_dtype=pl.String).str.join(", "),
            causes=pl.col("causes").drop_nulls().str.join(", "),
        )
    )
    counts = ~switched_off("installation_sound")
    cover = pl.lit("cover of failures that the installation brings about (condition 14)")
    running = pl.lit("sound running alone (the terms leave condition 14 out)")
    brought = pl.when(pl.col("causes") != "").then(pl.format("; such as {}", "causes"))
    return (
        unsound.join(stakes, on="report")
        .with_columns(
            matter=pl.lit(MATTER),
            # Due since it was found: it has to be mended now.
            due_on="completed_on",
            days_left=(pl.col("completed_on") - today).dt.total_days(),
            at_stake=pl.concat_str(
                pl.when(counts).then(cover).otherwise(running),
                pl.format("; unsound is the {}", "found"),
                brought.fill_null(""),
            ),
        )
        .with_columns(sentence_to_send())
        .select(polars_schema(Upcoming).names())
        .sort("serial")
    )


def _causes(causes: pl.DataFrame) -> pl.DataFrame:
    """What each reading may bring about: reading, causes (in words)."""
    words = pl.coalesce("description", "cause")
    return (
        causes.filter(pl.col("reading").is_not_null())
        .sort("cause")
        .group_by("reading", maintain_order=True)
        .agg(causes=words.str.join(", "))
    )
