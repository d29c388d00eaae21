"""Every claim of the store decided again under other terms; the store is only read.

Belongs here: reading, deciding as a refresh does, and the forecast made anew. Does not belong here:
any rule, and how the result is shown.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipelines.counterfactuals.comparison import Comparison, compare
from pipelines.coverage import Decided, Evidence, decide
from pipelines.coverage.clock import unit_terms
from pipelines.errors import NotFoundError
from pipelines.field.changed_limits import moved_by_terms
from pipelines.field.context import FieldContext
from pipelines.field.figures import FIGURES
from pipelines.field.moved_limits import COLUMNS, expected
from pipelines.steps.figures import field_context, one_thread_a_matrix
from pipelines.steps.units import watched_units
from pipelines.store.database import read_frame
from pipelines.store.evidence import load_evidence
from pipelines.store.inputs import Inputs, load_inputs
from pipelines.store.reading import open_store, published_state
from pipelines.terms import Terms, other_terms
from pipelines.workspace.layout import Workspace
from pipelines.workspace.toml_file import read_toml
from schemas.columns import CENTS
from schemas.polars_types import sum_of_money

METHOD = (
    "The forecast is made anew as a refresh makes it: the failures expected of the units that the "
    "other terms cover, times what their failures so far would have cost under these terms; a "
    "longer cover is underestimated, since failures past today's cover are seldom reported."
)
FORECAST = pl.Schema(
    {
        "family": pl.String(),
        "month": pl.Date(),
        "failures_before": pl.Float64(),
        "failures_after": pl.Float64(),
        "cost_before": pl.Float64(),
        "cost_after": pl.Float64(),
    }
)


@dataclass(frozen=True)
class WhatIf:
    """What other terms come to, as of the last refresh.

    `forecast` has one row a month and family (`all` for the fleet); `expected` one a moved limit.
    """

    reading: str
    edition: str
    as_of: dt.date
    currency: str
    maker: str
    timezone: str
    hide: tuple[str, ...]
    claims: int
    changed_since: bool
    comparison: Comparison
    forecast: pl.DataFrame
    expected: pl.DataFrame

    def to_dict(self) -> dict[str, Any]:
        """For JSON."""
        comparison = self.comparison
        return {
            "reading": self.reading,
            "as_of": self.as_of,
            "currency": self.currency,
            "claims": self.claims,
            "claims_moved": comparison.claims.height,
            "changed_since_refresh": self.changed_since,
            "verdicts": comparison.verdicts.to_dicts(),
            "lines": comparison.lines.to_dicts(),
            "moves": comparison.moves.to_dicts(),
            "groups": comparison.groups.to_dicts(),
            "moved": comparison.claims.to_dicts(),
            "forecast": self.forecast.with_columns(
                pl.col("cost_before", "cost_after").round(2, mode="half_away_from_zero").cast(CENTS)
            ).to_dicts(),
            "forecast_method": METHOD,
            "expected": self.expected.with_columns(
                pl.col("extra_cost", "cost_low", "cost_high")
                .round(2, mode="half_away_from_zero")
                .cast(CENTS)
            ).to_dicts(),
        }


def what_if(folder: str | Path, file: Path, stands_for: str | None = None) -> WhatIf:
    """Decides every claim of the store again with the edition of `file`.

    Raises:
        NotFoundError: there is no such file.
        UsageError: there is no edition `stands_for`.
        WorkspaceError: what is wrong with the file or the workspace; nothing refreshed yet.
    """
    if not file.is_file():
        raise NotFoundError(f"There is no file {file}; name a TOML file with one edition of terms.")
    workspace = Workspace.open(folder)
    with open_store(workspace) as con:
        state = published_state(workspace, con)
        inputs = load_inputs(folder, state.as_of)
        reference = inputs.reference
        other = other_terms(
            inputs.terms,
            read_toml(file, str(file)),
            reference.families,
            reference.abilities,
            stands_for,
        )
        evidence = load_evidence(inputs, con)
        changed = state.is_behind(inputs)
        before = _decided_again(evidence, inputs, inputs.terms) if changed else _as_stored(con)
        after = _decided_again(evidence, inputs, other.terms)
        profiles = read_frame(con, "unit_histories", columns=["serial", "water_profile"])
        sides = {"before": (inputs.terms, before), "after": (other.terms, after)}
        contexts = {
            side: field_context(
                watched_units(replace(inputs, terms=terms), con),
                con,
                inputs,
                decided.decisions,
            )
            for side, (terms, decided) in sides.items()
        }
        with one_thread_a_matrix():
            forecast = _forecasts(contexts)
            to_expect = _expected(contexts["before"], evidence, inputs.terms, other.terms)
    settings = inputs.settings
    return WhatIf(
        reading=other.reading,
        edition=other.edition,
        as_of=inputs.as_of,
        currency=settings.currency,
        maker=settings.maker,
        timezone=settings.timezone,
        hide=tuple(settings.hide),
        claims=before.decisions.height,
        changed_since=changed,
        comparison=compare(before, after, profiles),
        forecast=forecast,
        expected=to_expect,
    )


def _as_stored(con: duckdb.DuckDBPyConnection) -> Decided:
    return Decided(read_frame(con, "decisions"), read_frame(con, "findings"))


def _decided_again(evidence: Evidence, inputs: Inputs, terms: Terms) -> Decided:
    return decide(evidence, terms, timezone=inputs.settings.timezone)


def _forecasts(contexts: Mapping[str, FieldContext]) -> pl.DataFrame:
    """Failures and cost of the coming months on either side: rows of FORECAST."""
    keys = ["family", "month"]
    sides = [
        _forecast(context).rename({"failures": f"failures_{side}", "cost": f"cost_{side}"})
        for side, context in contexts.items()
    ]
    both = sides[0].join(sides[1], on=keys, how="full", coalesce=True)
    return both.select(pl.col(name).cast(kind) for name, kind in FORECAST.items()).sort(keys)


def _forecast(context: FieldContext) -> pl.DataFrame:
    tables = [FIGURES["forecast"](context, dims) for dims in _SLICES]
    coming = (pl.col("as_of") == context.as_of) & (pl.col("basis") == "all")
    return pl.concat(
        [table.filter(coming).select("family", "month", "failures", "cost") for table in tables]
    )


def _expected(
    context: FieldContext, evidence: Evidence, before: Terms, after: Terms
) -> pl.DataFrame:
    """What the limits that the other terms move may come to: one row each."""
    editions = _editions(evidence, before).join(
        _editions(evidence, after), on=["serial", "family"], suffix="_after"
    )
    moved = moved_by_terms(editions, before, after)
    ratios = FIGURES["treatment_ratios"](context, ()) if moved else pl.DataFrame()
    return expected(context, moved, ratios) if moved else pl.DataFrame(schema=COLUMNS)


def _editions(evidence: Evidence, terms: Terms) -> pl.DataFrame:
    """serial, family and the edition that judges each unit."""
    return unit_terms(evidence.units, evidence.models, terms).select("serial", "family", "edition")


_SLICES: tuple[tuple[str, ...], ...] = ((), ("family",))


def totals(comparison: Comparison) -> Iterator[tuple[str, Decimal, Decimal]]:
    """Payable and standing in all: name, before, after."""
    for kind in ("payable", "standing"):
        before, after = (
            sum_of_money(comparison.lines[f"{kind}_{side}"]) for side in ("before", "after")
        )
        yield kind, before, after
