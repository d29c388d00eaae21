"""The field page: what stands out first, then one question a section, linked by one pick."""

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
    dose,
    forecasts,
    grids,
    lifetimes,
    rates,
    regions,
    treatments,
    warnings,
)
from dashboards.figures.cuts import ALL, PICKED, Field, Figure, Section, View, field_of
from dashboards.figures.stands_out import stands_out
from dashboards.pages import handouts

SECTIONS = (
    grids.section,
    dose.section,
    regions.section,
    lifetimes.section,
    treatments.section,
    cohorts.section,
    warnings.section,
    forecasts.section,
    costs.section,
    agencies.section,
    rates.section,
)


def content(data: PageData) -> dict[str, Any]:
    """What the template needs; sections without figures are left out."""
    field = field_of(data)
    standing_out = stands_out(field)
    built = [build(field) for build in SECTIONS]
    sections = [_with_something_to_show(section) for section in built if section is not None]
    sections = [section for section in sections if section.figures]
    top = Section("found", "What stands out", standing_out.figures)
    every = [(section, figure) for section in (top, *sections) for figure in section.figures]
    views = {
        figure.key: {key: view.as_json() for key, view in figure.views.items()}
        for _, figure in every
    }
    return {
        "title": "Field",
        "summary": field.sentence("rates", ALL, "any") or "No field figures yet.",
        "found": standing_out,
        "sections": sections,
        "shown": {figure.key: first_view(section, figure) for section, figure in every},
        "picks": _picks(field),
        "handouts": set(handouts.names(data)),
        "field": Markup(formats.script_json({"views": views})),
    }


def _with_something_to_show(section: Section) -> Section:
    """The section without figures that have no view: tiny or empty fleets have few."""
    return dataclasses.replace(section, figures=[one for one in section.figures if one.views])


def first_view(section: Section, figure: Figure) -> View:
    """What the figure shows before anything is picked or chosen."""
    choice = section.choices[0][0] if section.choices else "*"
    for key in (f"{choice}/{ALL}", f"*/{ALL}"):
        if key in figure.views:
            return figure.views[key]
    return next(iter(figure.views.values()))


def _picks(field: Field) -> list[tuple[str, list[tuple[str, str]]]]:
    labels = {"region": "Region", "family": "Family", "profile": "Water profile"}
    return [
        (labels[dimension], [(p.key, p.label) for p in field.picks if p.dimension == dimension])
        for dimension in PICKED
        if any(pick.dimension == dimension for pick in field.picks)
    ]
