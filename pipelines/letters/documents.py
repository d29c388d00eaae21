"""What a missing document must show to serve: one sentence a kind.

Belongs here: the sentences, with the claim's own dates, sellers and analytes. Does not belong here:
which documents are missing (`pipelines.coverage.verdict`).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions import (
    agency_authorized,
    cause_established,
    delimed,
    filed_in_time,
    startup_completed,
    startup_requested_in_time,
    terms_in_force,
    treatment_bought_new,
    treatment_installed,
    treatment_maintained,
    unit_on_register,
    water_tested,
)
from pipelines.water.limits import analyte_words


def forms() -> dict[str, pl.Expr]:
    """What each kind of document must show, by its name.

    Reads failed_on, clock_start, panel and sellers; the last three may be null.
    """
    failed = pl.col("failed_on")
    since = pl.coalesce(pl.format("between {} and ", "clock_start"), pl.lit("up to "))
    delimings = pl.format("each deliming {}{}", since, failed)
    sellers = pl.coalesce(
        pl.format(", the seller ({})", pl.col("sellers").list.join(" or ")), pl.lit(", the seller")
    )
    panel = pl.coalesce(pl.format("reports {}, and ", analyte_words(pl.col("panel"))), pl.lit(""))
    return {
        unit_on_register.DOCUMENT: pl.lit(
            "A photograph of the rating plate that shows the serial, and the invoice or delivery "
            "note of the unit."
        ),
        terms_in_force.DOCUMENT: pl.lit(
            "The bill of sale that shows the unit's serial and the day of purchase, with the terms "
            "that were handed over."
        ),
        filed_in_time.COMPLETION: pl.lit(
            "The signed work order that shows the call and the day on which the repair was "
            "completed."
        ),
        filed_in_time.FILING: pl.lit(
            "The claim form, or the message that it came with, that shows the day of filing."
        ),
        agency_authorized.DOCUMENT: pl.lit(
            "The call's report, or a line in your answer, that names the agency that did the work."
        ),
        startup_requested_in_time.DOCUMENT: pl.lit(
            "The request for the start-up, or a message about it, that shows the unit's serial and "
            "the day of the request."
        ),
        startup_completed.DOCUMENT: pl.lit(
            "The start-up report that shows the unit's serial and the day on which the start-up "
            "was completed."
        ),
        cause_established.DOCUMENT: pl.lit(
            "The technician's report that gives one cause from the list of causes, and what was "
            "found."
        ),
        water_tested.DOCUMENT: pl.format(
            "A laboratory's report on the untreated supply water of the site that {}was sampled on "
            "or before {}.",
            panel,
            failed,
        ),
        treatment_bought_new.DOCUMENT: pl.format(
            "The order or invoice of the treatment system that shows the product, that it was new{}"
            ", a day on or before {}, and the site or the unit's serial.",
            sellers,
            failed,
        ),
        treatment_installed.DOCUMENT: pl.lit(
            "A work order or start-up report that shows the product, the site or the unit's "
            "serial, and the day of its installation."
        ),
        treatment_maintained.DOCUMENT: pl.format(
            "Work orders or invoices of the cartridges up to {} that show the product, each day, "
            "and the site or the unit's serial.",
            failed,
        ),
        delimed.TECHNICIANS_REPORT: pl.format(
            "The technician's reports that show the unit's serial and the day of {}.", delimings
        ),
        delimed.OWNERS_LOG: pl.format(
            "The owner's log, or a photograph of its pages, that shows the unit's serial and the "
            "day of {}.",
            delimings,
        ),
    }


def documents_of(claims: pl.DataFrame) -> pl.DataFrame:
    """The documents that claims ask for, in the order of the conditions.

    Args:
        claims: claim, missing (joined by `; `), and what `forms` reads.

    Returns:
        claim, document, form; one row a document.
    """
    form = pl.coalesce(
        *(pl.when(pl.col("document") == name).then(words) for name, words in forms().items()),
        pl.format("A record that shows the {}.", "document"),
    )
    return (
        claims.filter(pl.col("missing").is_not_null())
        .with_columns(document=pl.col("missing").str.split("; "))
        .explode("document")
        .select("claim", "document", form=form)
    )
