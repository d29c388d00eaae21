"""Gathers what advice on water needs: tests, the model, treatments, limits, the coldest supply.

Belongs here: looking things up. Does not belong here: advice (`pipelines.water.advice`).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.coverage.evidence import seen
from pipelines.errors import NotFoundError, UsageError
from pipelines.exports.delivery import is_workbook
from pipelines.exports.sheets import read_sheet
from pipelines.records.accounting import account, gather
from pipelines.records.cross_checks import References
from pipelines.records.feed_file import parse_file
from pipelines.steps.file_parts import read_text
from pipelines.store.evidence import load_evidence
from pipelines.store.inputs import Inputs
from pipelines.store.published_state import state_of
from pipelines.store.reading import open_store
from pipelines.water.advice import Advice, advise
from pipelines.water.advice_parts import Duty


def advise_on_site(inputs: Inputs, site: str, model: str) -> Advice:
    """Advice on a site's tests as of the last refresh, with the systems that are fitted there.

    Raises:
        NotFoundError: no unit stands at such a site, and it has no test: before a sale there may be
            a test alone.
        UsageError: the site has no water test.
    """
    with open_store(inputs.workspace) as con:
        state = state_of(con)
        known = load_evidence(inputs, con, only=["units", "water_tests", "service_calls"])
        known = seen(replace(known, as_of=state.as_of if state else inputs.as_of))
        units = known.units.filter(pl.col("site") == site)
        serials = units["serial"].implode()
        tests = known.water_tests.filter((pl.col("site") == site) | pl.col("serial").is_in(serials))
        calls = known.service_calls.filter(pl.col("serial").is_in(serials))
    if units.is_empty() and tests.is_empty():
        raise NotFoundError(
            f"No unit is at a site {site}, nor was its water tested; check the site's number."
        )
    if tests.is_empty():
        raise UsageError(f"Site {site} has no water test; have its supply tested first.")
    fitted = calls.filter(
        (pl.col("kind") == "treatment_install") & pl.col("completed_on").is_not_null()
    )["product"]
    systems = inputs.reference.treatments.filter(pl.col("kind") == "system")["product"]
    served = fitted.drop_nulls().unique().sort()
    region = next(iter(units["region"].drop_nulls()), None)
    return advise_on_tests(
        inputs, tests, model, region, served.filter(served.is_in(systems.implode())).to_list()
    )


def advise_on_tests(
    inputs: Inputs,
    tests: pl.DataFrame,
    model: str,
    region: str | None = None,
    fitted: list[str] | None = None,
) -> Advice:
    """Advice on some tests in front of a model.

    Raises:
        UsageError: models.csv has no such model, or regions.csv no such region.
    """
    settings = inputs.settings
    return advise(
        tests,
        _row(inputs.reference.models, "model", model),
        inputs.reference.treatments,
        _row(inputs.reference.regions, "region", region) if region else None,
        inputs.terms.water_limits,
        inputs.terms.values,
        duty=Duty(tanks_l=settings.tanks_l, duty_hours_per_day=settings.duty_hours_per_day),
        calcium_share_of_hardness=settings.calcium_share_of_hardness,
        conductivity_to_tds=settings.conductivity_to_tds,
        fitted=fitted or (),
    )


def tests_in_file(inputs: Inputs, path: Path) -> pl.DataFrame:
    """The water tests in one file, read with the workspace's mapping.

    Raises:
        UsageError: the file, or every row of it, cannot be used.
    """
    mapping = inputs.mappings["water_tests"]
    if is_workbook(path.name):
        reading = read_sheet(path)
    else:
        reading = read_text(inputs.settings, path, "water_tests", mapping)
    parsed = parse_file("water_tests", reading, mapping, inputs.settings.timezone)
    reference = inputs.reference
    settled = account(
        "water_tests",
        *gather({path.name: (None, parsed)}),
        References.of(reference.models, reference.treatments, reference.causes),
    )
    if settled.records.is_empty():
        reasons = settled.set_aside["reason"].to_list() or ["It holds no row."]
        line = settled.set_aside["line"].to_list()[:1] or [1]
        raise UsageError(f"{path} line {line[0]}: {reasons[0]}")
    return settled.records


def _row(frame: pl.DataFrame, column: str, value: str) -> dict[str, Any]:
    rows = frame.filter(pl.col(column) == value)
    if rows.is_empty():
        known = ", ".join(frame[column].sort().to_list())
        raise UsageError(f'"{value}" is no {column} in {column}s.csv; there are: {known}.')
    return rows.row(0, named=True)
