"""What every letter says in its own words: the decision, what it rests on, how to appeal.

Belongs here: sentences about the whole claim, without a word of blame. Does not belong here: single
reasons, documents and amounts.
"""

from __future__ import annotations

import datetime as dt

import polars as pl

# Breaks, control characters, and marks that turn the direction of what follows.
_BREAKS = r"[\s\p{Cc}\p{Zl}\p{Zp}]+"
_MARKS = r"[\u{200b}\u{200e}\u{200f}\u{202a}-\u{202e}\u{2060}-\u{2069}\u{feff}]"


def one_line(column: str) -> pl.Expr:
    """A text from the records on one line, without what could pass for more than its words."""
    text = pl.col(column).str.replace_all(_MARKS, "").str.replace_all(_BREAKS, " ")
    text = text.str.strip_chars()
    return pl.when(text != "").then(text).alias(column)


def decision(currency: str) -> pl.Expr:
    """The decision in one sentence; reads standing, total_standing, missing, documents."""
    count = pl.col("documents").list.len()
    total = pl.format("{} {}", _amount("total_standing"), pl.lit(currency))
    nothing = pl.col("total_standing") == 0
    needs = (
        pl.when(count == 0)
        .then(pl.lit("The claim cannot be decided yet."))
        .when(count == 1)
        .then(pl.lit("The claim cannot be decided yet: one document is missing."))
        .otherwise(pl.format("The claim cannot be decided yet: {} documents are missing.", count))
    )
    sentences = {
        "covered": pl.format("The claim is covered: {} is payable.", total),
        "covered_in_part": pl.format("The claim is covered in part: {} is payable.", total),
        "not_covered": pl.when(nothing)
        .then(pl.lit("The claim is not covered, and nothing is payable."))
        .otherwise(pl.format("The claim is not covered; {} is payable all the same.", total)),
        "needs_review": pl.lit("The claim is with a person, who looks at it before it is decided."),
        "needs_evidence": needs,
    }
    standing = pl.col("standing")
    return pl.coalesce(pl.when(standing == name).then(said) for name, said in sentences.items())


def basis(maker: str, as_of: dt.date) -> pl.Expr:
    """Whether the decision is computed or ruled, and as of which day; reads ruled_on."""
    computed = (
        f"This is computed from the records on file as of {as_of}; no person has ruled on it."
    )
    ruled = pl.format("{} ruled so on {}.", pl.lit(maker), "ruled_on")
    again = " Records that came in since are being looked at."
    return (
        pl.when(pl.col("ruling").is_null())
        .then(pl.lit(computed))
        .when(pl.col("look_again"))
        .then(ruled + again)
        .otherwise(ruled)
    )


def appeal() -> pl.Expr:
    """How to appeal: a person rules over what is computed, or anew beside the ruling before."""
    how = (
        "To appeal, answer this letter with the claim number, the point that you see otherwise, "
        "and a record that shows it. "
    )
    anew = "A person then rules anew, with a reason; this ruling is kept beside it."
    return (
        pl.when(pl.col("ruling").is_null())
        .then(pl.lit(how + "A person then rules, with a reason, over what is computed."))
        .otherwise(pl.lit(how + anew))
    )


def _amount(column: str) -> pl.Expr:
    """Money to the cent with separators of thousands: `1,234.50`."""
    text = pl.col(column).cast(pl.String)
    whole = text.str.head(-3).str.reverse().str.replace_all(r"(\d{3})", "${1},").str.reverse()
    return whole.str.strip_chars_start(",") + text.str.tail(3)
