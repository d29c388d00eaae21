"""What has to be told of units: their installations and their waters, as matters of the register.

Belongs here: kind, basis and address of each. Does not belong here: which letters follow
(`pipelines.letters.register`), what they say (`unit_letters`).
"""

from __future__ import annotations

import polars as pl

from pipelines.letters.matters import STANDING, basis_of
from pipelines.letters.values import addresses
from schemas import codes

INSTALLATION, RECOMMENDATION = "installation", "recommendation"
# The states of which the agency is told, and those that settle the matter.
UNSETTLED = ("open", "overdue", "unsuitable", "bought", "lapsed", "nothing_serves")
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
    basis_texts = (
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
        .join(basis_texts, on="serial", how="left")
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
    basis_text = pl.concat_str([part.fill_null("") for part in parts], separator=_APART)
    rows = (
        recommendations.filter(pl.col("state").is_in([*UNSETTLED, *SETTLED]))
        .join(latest_agencies(startups), on="serial", how="left")
        .with_columns(
            kind=pl.lit(RECOMMENDATION),
            told=pl.when(pl.col("state").is_in(UNSETTLED)).then(basis_text),
            closes=pl.col("state").is_in(SETTLED),
        )
    )
    return _standing(rows, agencies)


def no_longer_told(
    standing: pl.DataFrame, register: pl.DataFrame, on_file: pl.Series
) -> pl.DataFrame:
    """The matters of the register of which nothing stands, in the shape of `matters.STANDING`.

    Without cover, a test or a completed start-up there is nothing to tell, so that a letter that
    was not sent yet must not go out. An installation of which nothing is unsound closes what went
    out; a water of which nothing is known leaves it.

    Args:
        standing: of `standing_installations` and `standing_recommendations`.
        register: all entries.
        on_file: the serials of the units that are on the register of units; others stay.
    """
    matter = ["kind", "serial"]
    return (
        register.filter(pl.col("kind").is_in([INSTALLATION, RECOMMENDATION]))
        .filter(pl.col("serial").is_in(on_file.implode()))
        .select(matter)
        .unique(matter)
        .join(standing, on=matter, how="anti")
        .with_columns(closes=pl.col("kind") == INSTALLATION)
        .with_columns(
            pl.lit(None).alias(name) for name in STANDING if name not in (*matter, "closes")
        )
        .select(STANDING.names())
        .cast(STANDING)
        .sort("serial", "kind")
    )


def latest_agencies(startups: pl.DataFrame) -> pl.DataFrame:
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
