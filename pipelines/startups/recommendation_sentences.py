"""What a unit's recommendation says in a sentence, by its state.

Belongs here: words. Does not belong here: the state (`treatment_recommendations`), letters.
"""

from __future__ import annotations

import polars as pl

from pipelines.water.limits import need_words, number_text

_WATER = "cover of failures that water brings about"
UNTANKED = "No tank on sale is known"
# The states in which something is to be bought.
_TO_BUY = ("unsuitable", "overdue", "open")
AT_STAKE = pl.format("{}, until {}", pl.lit(_WATER), "coverage_end")


def sentence() -> pl.Expr:
    """Reads the columns of a recommendation before its sentence."""
    needs = need_words(pl.col("needs").str.split("+"))
    unmet = need_words(pl.col("unmet"))
    tank = pl.when(pl.col("tank_l").is_not_null()).then(
        pl.format(" with a tank of {} L", number_text(pl.col("tank_l")))
    )
    buy = pl.concat_str("recommended", tank.fill_null(""))
    calls = _calls(needs)
    # A day that is past is no day to install by.
    install = (
        pl.when(pl.col("days_left") < 0)
        .then(pl.format("install it now, as it was due by {}", "due_on"))
        .otherwise(pl.format("install it by {}", "due_on"))
    )
    kept = (
        pl.when(pl.col("kept_until").is_not_null())
        .then(pl.format("kept up, with what is on file to {}", "kept_until"))
        .otherwise(pl.lit("in place; no cartridge is called for"))
    )
    forms = {
        "none_needed": pl.format("Sample {} of {} calls for no treatment.", "sample", "sampled_on"),
        "kept_up": pl.format("{}; the treatment is {}.", calls, kept),
        "lapsed": pl.format(
            "{}; the treatment was installed by {}, and its cartridges have lapsed: change them "
            "and report it.",
            calls,
            "installed_on",
        ),
        "bought": pl.format(
            "{}; what does it was bought by {}, and no installation is on file: {}, and report it.",
            calls,
            "bought_on",
            install,
        ),
        "unsuitable": _unsuitable(calls, buy, install),
        "nothing_serves": pl.format(
            "{}; no treatment on the list removes {}: a person must say what would.", calls, unmet
        ),
        "overdue": pl.format("{}: {} was due by {}, and nothing was bought.", calls, buy, "due_on"),
        "open": pl.format("{}: buy {} new and install it by {}.", calls, buy, "due_on"),
        "waiting_for_result": pl.lit(
            "A sample was taken or tested in part; ask the laboratory for the complete result."
        ),
        "no_sample": pl.lit("The start-up is done and no sample of the supply is known: take one."),
        "no_startup": pl.lit("No start-up is on file: ask for one, with a sample of the supply."),
    }
    said = pl.lit(None, pl.String)
    for state, words in forms.items():
        said = pl.when(pl.col("state") == state).then(words).otherwise(said)
    is_to_buy = pl.col("state").is_in(_TO_BUY) & (pl.col("unmet").list.len() == 0)
    to_buy = pl.when(is_to_buy).then(_untanked())
    return pl.concat_str(said, to_buy.fill_null(""))


def _calls(needs: pl.Expr) -> pl.Expr:
    """What the water calls for; or that the model is always treated, whatever the water is."""
    of_model = pl.format(
        "Sample {} of {} is within its limits, but model {} is always treated against {}",
        "sample", "sampled_on", "model", needs,
    )  # fmt: skip
    of_water = pl.format(
        "Sample {} of {} calls for treatment against {}", "sample", "sampled_on", needs
    )
    return pl.when("by_model").then(of_model).otherwise(of_water)


def _unsuitable(calls: pl.Expr, buy: pl.Expr, install: pl.Expr) -> pl.Expr:
    """What was bought does not serve; whether anything on the list does."""
    nothing = pl.format(
        "{}, which what was bought does not do; no treatment on the list removes {}: a person must "
        "say what would.",
        calls,
        need_words(pl.col("unmet")),
    )
    other = pl.format(
        "{}, which what was bought does not do: buy {} new and {}.", calls, buy, install
    )
    return pl.when(pl.col("unmet").list.len() > 0).then(nothing).otherwise(other)


def _untanked() -> pl.Expr:
    """That no tank serves behind the recommended membrane, and what would; null where one does."""
    why = pl.coalesce(
        pl.format(
            f" {UNTANKED} to keep its membrane serving at a supply of {{}} °C",
            number_text(pl.col("coldest_supply_c")),
        ),
        pl.lit(f" {UNTANKED} to keep its membrane serving: the coldest supply is not on file"),
    )
    way_out = pl.coalesce(
        pl.format("; {} would serve.", "instead"), pl.lit("; ask before it is bought.")
    )
    return pl.when(pl.col("has_membrane") & pl.col("tank_l").is_null()).then(why + way_out)
