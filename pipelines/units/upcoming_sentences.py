"""The sentence to send about each matter that is coming up, or that is overdue.

Belongs here: words for the site, one form a matter. Does not belong here: what is due
(`pipelines.units.upcoming`), letters about claims.
"""

from __future__ import annotations

import polars as pl

# A serial, a day and what is at stake go in, in this order.
AHEAD = {
    "start-up request due": "Ask for the start-up of unit {} by {}, or {} is lost.",
    "start-up outstanding": (
        "Have the start-up of unit {} completed and its report sent by {}, or {} is lost."
    ),
    "test outstanding": (
        "Send a complete test of the supply water of unit {} by {}, or {} is lost."
    ),
    "treatment due": (
        "Have the treatment that the water of unit {} needs bought new and installed by {}, or {} "
        "is lost."
    ),
    "cartridge due": (
        "Have the cartridge of unit {} changed and the change reported by {}, or {} is lost."
    ),
    "deliming due": "Have unit {} delimed and the deliming reported by {}, or {} is lost.",
    "installation fault": (
        "The start-up of unit {} found something unsound on {}. Have it mended by licensed people "
        "and report it; until then {} is at risk."
    ),
}
LATE = {
    "start-up request due": (
        "The start-up of unit {} was to be asked for by {}. If it was, send the report; until "
        "then {} does not count."
    ),
    "start-up outstanding": (
        "The start-up of unit {} was to be completed by {}. If it was, send the report; until "
        "then {} does not count."
    ),
    "test outstanding": (
        "A complete test of the supply water of unit {} was due by {}. If one was made, send it; "
        "until then {} is open."
    ),
    "treatment due": (
        "Treatment for the water of unit {} was due by {}. If it was bought new and installed, "
        "send the proof; until then {} has lapsed."
    ),
    "cartridge due": (
        "The cartridge of unit {} was to be changed by {}. If it was, send the report. If it was "
        "not, {} has lapsed; have it changed, and see in the terms which lapses they forgive."
    ),
    "installation fault": (
        "The start-up of unit {} found something unsound on {}. Have it mended by licensed people "
        "and report it; until then {} is at risk."
    ),
    "deliming due": (
        "Unit {} was to be delimed by {}. If it was, send the report; until it is, {} has lapsed."
    ),
}
# What is at stake, and behind a colon or semicolon what that means for this unit.
_STAKE = r"^([^:;]*)"
_DETAIL = r"(?s)^[^:;]*[:;]\s*(.+)$"


def sentence_to_send() -> pl.Expr:
    """The sentence of a row of `upcoming` (serial, matter, due_on, days_left, at_stake)."""
    day = pl.col("due_on").dt.strftime("%-d %B %Y")
    stake = pl.col("at_stake").str.extract(_STAKE)
    detail = pl.col("at_stake").str.extract(_DETAIL)
    said = pl.lit(None, pl.String)
    for forms, holds in ((AHEAD, pl.col("days_left") >= 0), (LATE, pl.col("days_left") < 0)):
        for matter, form in forms.items():
            sentence = pl.format(form, pl.col("serial"), day, stake)
            said = pl.when(holds & (pl.col("matter") == matter)).then(sentence).otherwise(said)
    more = pl.format(" {}{}.", detail.str.head(1).str.to_uppercase(), detail.str.slice(1))
    return pl.concat_str(said, more.fill_null("")).alias("sentence")
