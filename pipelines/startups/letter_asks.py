"""What a letter about a unit's water asks for, and what it says of cover.

Belongs here: these sentences, by the state of the treatment. Does not belong here: the other values
of letters about units (`unit_letters`).

A state ends cover by one condition of a claim; where the terms leave that one out, nothing is said
of cover.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.calendar_days import months_words
from pipelines.coverage.findings import switched_off

# The condition by which a state ends cover; of what was not bought, that it was bought.
_ENDS_COVER = {
    "unsuitable": "treatment_suits_water",
    "bought": "treatment_installed",
    "lapsed": "treatment_maintained",
}
_BOUGHT = "treatment_bought_new"
_WATER = "failures that water brings about"


def asks() -> pl.Expr:
    """Reads state, due_on, days_left, sellers, look_back_months and conditions_off."""
    state = pl.col("state")
    return (
        pl.when(state == "lapsed")
        .then(_change())
        .when(state == "bought")
        .then(_install())
        .otherwise(_buy())
    )


def _counts() -> pl.Expr:
    """Whether the terms hold the condition by which the unit's state ends cover."""
    off = switched_off(_BOUGHT)
    for state, condition in _ENDS_COVER.items():
        off = pl.when(pl.col("state") == state).then(switched_off(condition)).otherwise(off)
    return ~off


def _is_past() -> pl.Expr:
    return pl.col("days_left") < 0


def _buy() -> pl.Expr:
    sellers, due = pl.col("sellers").list.join(" or "), pl.col("due_on")
    late = pl.format(
        f"For {_WATER} to stay covered it had to be bought new from {{}} and installed by {{}}. "
        "That day is past: until it is installed they are not covered. Install it now, report it, "
        "and keep its cartridges up.",
        sellers,
        due,
    )
    ahead = pl.format(
        f"For {_WATER} to stay covered it must be bought new from {{}} and installed by {{}}, and "
        "its cartridges kept up.",
        sellers,
        due,
    )
    plain = pl.format(
        "Have it bought new from {} and installed, report it, and keep its cartridges up.", sellers
    )
    return pl.when(~_counts()).then(plain).when(_is_past()).then(late).otherwise(ahead)


def _install() -> pl.Expr:
    late = pl.format(
        "What was bought serves, but it was to be installed by {}: install it now and report it",
        "due_on",
    )
    ends = pl.when(_counts()).then(pl.lit(f"; until then {_WATER} are not covered."))
    ahead = pl.format("What was bought serves: install it by {} and report it.", "due_on")
    return pl.when(_is_past()).then(late + ends.otherwise(pl.lit("."))).otherwise(ahead)


def _change() -> pl.Expr:
    """To change cartridges; and that cover comes back by the terms alone, not by the change."""
    change = pl.lit(
        "What is installed serves, but its cartridges have lapsed: change them now and report it, "
        "with every change and purchase that was not told yet."
    )
    back = months_words("look_back_months")
    forgiven = pl.format(f" F{_WATER[1:]} are covered again {{}} after the lapse has ended.", back)
    never = pl.lit(
        f" The terms forgive no lapse: by what is on file, {_WATER} are no longer covered."
    )
    # While the treatment could still be fitted, nobody asks how it is kept up.
    grace = pl.format(f" F{_WATER[1:]} are covered all the same up to {{}}", "due_on")
    then_forgiven = pl.format("; after it only {} after the lapse has ended.", back)
    then_never = pl.lit("; the terms forgive no lapse: by what is on file, later ones are not.")
    said = (
        pl.when(_is_past())
        .then(pl.coalesce(forgiven, never))
        .otherwise(grace + pl.coalesce(then_forgiven, then_never))
    )
    return change + pl.when(_counts()).then(said).otherwise(pl.lit(""))
