"""The field page: every figure with chart, table, sample and a sentence, linked by one pick."""

from __future__ import annotations

import dataclasses
from typing import Any

from markupsafe import Markup

from dashboards import formats
from dashboards.data import PageData
from dashboards.figures import (
    agencies,
    cohorts,
    costs,
    forecasts,
    lifetimes,
    rates,
    regions,
    repeats,
    treatments,
    warnings,
)
from dashboards.figures.cuts import ALL, PICKED, Field, Figure, Section, View, field_of
from dashboards.figures.stands_out import stands_out

_SECTIONS = (
    rates.section,
    regions.section,
    lifetimes.section,
    repeats.section,
    cohorts.section,
    treatments.section,
    warnings.section,
    forecasts.section,
    costs.section,
    agencies.section,
)


def content(data: PageData) -> dict[str, Any]:
    """What the template needs; sections without figures are left out."""
    field = field_of(data)
    found = [build(field) for build in _SECTIONS]
    sections = [_with_something_to_show(section) for section in found if section is not None]
    sections = [section for section in sections if section.figures]
    names = {code: field.region_name(code) for code in field.regions}
    views = {
        figure.key: {key: view.as_json() for key, view in figure.views.items()}
        for section in sections
        for figure in section.figures
    }
    shown = {
        figure.key: _first(section, figure) for section in sections for figure in section.figures
    }
    return {
        "title": "Field",
        "summary": _summary(field),
        "found": stands_out(data.figures, names),
        "sections": sections,
        "shown": shown,
        "picks": _picks(field),
        "field": Markup(formats.script_json({"views": views})),
    }


def _with_something_to_show(section: Section) -> Section:
    """The section without figures that have no view: tiny or empty fleets have few."""
    return dataclasses.replace(section, figures=[one for one in section.figures if one.views])


def _first(section: Section, figure: Figure) -> View:
    """What the figure shows before anything is picked or chosen."""
    choice = section.choices[0][0] if section.choices else ""
    for key in (f"{choice}/{ALL}", f"*/{ALL}"):
        if key in figure.views:
            return figure.views[key]
    return next(iter(figure.views.values()))


def _summary(field: Field) -> str:
    rates_cuts = field.cuts("rates")
    overall = rates_cuts.rows(ALL) if rates_cuts else []
    if not overall:
        return "No field figures yet."
    row = overall[0]
    return (
        f"{formats.counted(row['units'], 'unit')} watched for "
        f"{formats.number(row['unit_years'], 4)} unit-years, "
        f"{formats.counted(row['failures'], 'failure')}: "
        f"{formats.number(row['rate_per_100'])} per 100 unit-years."
    )


def _picks(field: Field) -> list[tuple[str, list[tuple[str, str]]]]:
    labels = {"region": "Region", "family": "Family", "profile": "Water profile"}
    return [
        (labels[dimension], [(p.key, p.label) for p in field.picks if p.dimension == dimension])
        for dimension in PICKED
        if any(pick.dimension == dimension for pick in field.picks)
    ]
