"""Why a line of the money pays less than was claimed.

Belongs here: sentences about caps and about who set the amounts. Does not belong here: the amounts
themselves (`pipelines.coverage.money`, `standing`).
"""

from __future__ import annotations

import polars as pl

LINES = ("parts", "labor", "travel")


def money_notes(currency: str) -> pl.Expr:
    """The notes on the money of a claim, as a list of sentences.

    Reads the claimed and standing amounts, ruling, ruled_on and `<line>_amount_ruled` (whether the
    ruling sets the line), and of the call and the reference files labor_hours, labor_rate,
    labor_hours_allowed, agency_rate and agency_travel_cap.
    """
    ruled_lines = pl.concat_list(
        pl.when(pl.col(f"{line}_amount_ruled")).then(pl.lit(line)) for line in LINES
    ).list.drop_nulls()
    notes = [
        pl.when(ruled_lines.list.len() > 0).then(
            pl.format("Set by the ruling of {}: {}.", "ruled_on", ruled_lines.list.join(", "))
        ),
        _capped(
            "labor",
            "labor_hours",
            "labor_hours_allowed",
            "Labor: hours allowed for this cause {}, claimed {}.",
        ),
        _capped(
            "labor",
            "labor_rate",
            "agency_rate",
            f"Labor: agreed rate {{}} {currency} an hour, claimed {{}}.",
        ),
        _capped(
            "travel",
            "travel_claimed",
            "agency_travel_cap",
            f"Travel: agreed at the most {{}} {currency}, claimed {{}}.",
        ),
        pl.when(
            pl.col("ruling").is_null()
            & (pl.col("standing") == "covered_in_part")
            & (pl.col("labor_standing") == 0)
            & (pl.col("travel_claimed") > 0)
        ).then(pl.lit("Travel goes with labor.")),
    ]
    return pl.concat_list(notes).list.drop_nulls()


def _capped(line: str, claimed: str, cap: str, words: str) -> pl.Expr:
    """The note of a cap that binds on a line that is paid and that no person has set."""
    binds = (pl.col(f"{line}_standing") > 0) & ~pl.col(f"{line}_amount_ruled")
    over = (pl.col(claimed) > pl.col(cap)).fill_null(False)
    return pl.when(binds & over).then(pl.format(words, plain(pl.col(cap)), plain(pl.col(claimed))))


def plain(number: pl.Expr) -> pl.Expr:
    """A decimal as it would be written: `2.5`, not `2.5000000000`."""
    text = number.cast(pl.String)
    return (
        pl.when(text.str.contains(".", literal=True))
        .then(text.str.strip_chars_end("0").str.strip_chars_end("."))
        .otherwise(text)
    )
