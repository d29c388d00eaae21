"""Free text to codes: the first phrase of a mapping that a text holds gives the code.

Belongs here: the entries and what they give. Does not belong here: whole cells (`parsing`), what
may be wrong with an entry (`rule_checks`).
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.records.steps import literal


@dataclass(frozen=True)
class Phrase:
    """What a text must hold, in any case, for a code: one of `any`, or what `matches` finds.

    With neither it is the last entry, for every text that no other one fits.
    """

    code: str
    any: tuple[str, ...] = ()
    matches: str | None = None


def coded(text: pl.Expr, phrases: tuple[Phrase, ...]) -> pl.Expr:
    """The codes of texts; a text that no entry fits stays as it came, an empty one stays empty."""
    code = text
    for phrase in reversed(phrases):
        code = pl.when(_holds(text, phrase)).then(pl.lit(phrase.code)).otherwise(code)
    return pl.when(text.is_not_null()).then(code)


def _holds(text: pl.Expr, phrase: Phrase) -> pl.Expr:
    tests = [text.str.contains(f"(?i){literal(one)}") for one in phrase.any]
    if phrase.matches is not None:
        tests.append(text.str.contains(f"(?i){phrase.matches}"))
    return pl.any_horizontal(tests) if tests else pl.lit(True)
