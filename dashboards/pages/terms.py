"""The page of the terms: every edition in sentences, side by side where they differ.

Belongs here: saying the values of the terms in words. Does not belong here: reading or checking
them (`pipelines.terms`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from dashboards import formats
from dashboards.data import PageData
from schemas.wording import NEEDS

_DATES = {
    "installed_on": "installation",
    "purchased_on": "purchase",
    "shipped_on": "shipment",
}
Row = Mapping[str, Any]
Cell = list[tuple[str, bool]]  # sentences, and whether some edition does not say it


def content(data: PageData) -> dict[str, Any]:
    """What the template needs: families that read the same share one table."""
    values = data.terms_values
    if values.is_empty():
        return {"title": "Terms", "summary": "No terms are in force.", "families": []}
    editions = values.select("edition", "effective_from").unique().sort("effective_from").rows()
    sheets: dict[str, list[Any]] = {}
    for family in values["family"].unique().sort().to_list():
        sheets[family] = _sheet(family, [name for name, _ in editions], data)
    groups: list[tuple[list[str], list[Any]]] = []
    for family, sheet in sheets.items():
        for names, known in groups:
            if known == sheet:
                names.append(family)
                break
        else:
            groups.append(([family], sheet))
    heads = [f"{name}, for purchases from {formats.long_day(day)}" for name, day in editions]
    families = [
        {
            "key": f"family-{place}",
            "title": formats.listed(names),
            "editions": heads,
            "rows": sheet,
            "says": _differences(sheet, len(editions)),
        }
        for place, (names, sheet) in enumerate(groups)
    ]
    summary = (
        f"{formats.counted(len(editions), 'edition')}. A unit goes by the latest that began on or "
        "before its purchase (its shipment, where no purchase is known)."
    )
    return {"title": "Terms", "summary": summary, "families": families}


def _differences(sheet: list[Any], editions: int) -> str:
    titles = [
        title.lower()
        for title, cells in sheet
        if any(differs for sentences in cells for _, differs in sentences)
    ]
    if editions < 2:
        return ""
    if not titles:
        return "The editions say the same."
    return (
        f"The editions differ in {formats.listed(titles)}; sentences that not every edition says "
        "are marked."
    )


def _sheet(family: str, editions: list[str], data: PageData) -> list[tuple[str, list[Cell]]]:
    columns = []
    for edition in editions:
        here = (pl.col("family") == family) & (pl.col("edition") == edition)
        row = data.terms_values.filter(here).row(0, named=True)
        water = data.terms_water_limits.filter(here).to_dicts()
        installation = data.terms_installation_limits.filter(here).to_dicts()
        columns.append(_sections(row, water, installation))
    rows = []
    for title in columns[0]:
        cells = [column[title] for column in columns]
        shared = set(cells[0]).intersection(*cells)
        rows.append((title, [[(said, said not in shared) for said in cell] for cell in cells]))
    return rows


def _sections(row: Row, water: Sequence[Row], installation: Sequence[Row]) -> dict[str, list[str]]:
    return {
        "Clock": _clock(row),
        "Cover": [
            f"Parts are covered for {_months(row['parts_months'])}, labor for "
            f"{_months(row['labor_months'])}."
        ],
        "Start-up": [
            f"A start-up asked for within {formats.days(row['request_within_days'])} of the "
            "purchase, and completed before the failure, adds "
            f"{_months(row['bonus_parts_months'])} of parts and "
            f"{_months(row['bonus_labor_months'])} of labor."
        ],
        "Claims": [
            f"File within {formats.days(row['file_within_days'])} of the completed repair.",
            "Two claims for the same cause within "
            f"{formats.days(row['duplicate_within_days'])} count as one failure.",
            f"The same repair again within {formats.days(row['workmanship_days'])} by the same "
            "agency is looked at by a person.",
            "Documents that are asked for are due within "
            f"{formats.days(row['documents_within_days'])}.",
        ],
        "Water": _water(row, water),
        "Treatment": _treatment(row),
        "Upkeep": _upkeep(row),
        "Installation": _installation(row, installation),
        "Switched off": [
            f"“{formats.CONDITIONS[name]}” is not asked for." for name in row["conditions_off"]
        ]
        or ["Every condition is asked for."],
    }


def _months(count: int) -> str:
    return "no months" if count == 0 else formats.counted(count, "month")


def _clock(row: Row) -> list[str]:
    dates = [_DATES.get(name, name) for name in row["clock_order"]]
    shipped = f"{formats.days(row['days_after_shipment'])} after shipment"
    known = ", else the ".join(dates)
    said = [f"The warranty runs from the {known}, else from {shipped}."]
    if row["latest_days_after_shipment"] is not None:
        latest = formats.days(row["latest_days_after_shipment"])
        said.append(f"It runs from {latest} after shipment at the latest.")
    if row.get("replacement") == "carries_on":
        said.append(
            "A unit that replaces another carries on that one's clock, through any number of "
            "replacements; deliming and start-up are counted from its own."
        )
    return said


def _water(row: Row, limits: Sequence[Row]) -> list[str]:
    names = [formats.ANALYTES[analyte][0].lower() for analyte in row["panel"]]
    names = ["pH" if name == "ph" else name for name in names]
    said = [f"A test counts when it reports {formats.listed(names)}."]
    return said + [_limit(limit) for limit in sorted(limits, key=lambda limit: limit["analyte"])]


def _limit(limit: Row) -> str:
    name, unit = formats.ANALYTES[limit["analyte"]]
    need = (
        f"; outside, it calls for treatment against {NEEDS[limit['needs']]}"
        if limit["needs"]
        else ""
    )
    return f"{name} {_between(limit['min'], limit['max'], unit)}{need}."


def _between(low: float | None, high: float | None, unit: str) -> str:
    if low is not None and high is not None:
        text = f"from {formats.written(low)} to {formats.written(high)}"
    elif high is not None:
        text = f"at most {formats.written(high)}"
    else:
        text = f"at least {formats.written(low)}"
    return f"{text} {unit}".rstrip()


def _treatment(row: Row) -> list[str]:
    said = [
        f"Bought new from {formats.listed(row['sellers'], 'or')}, and fitted within "
        f"{formats.days(row['grace_days'])} of the first complete test."
    ]
    if row["fresh_days"] is not None:
        said.append(
            f"A system fitted less than {formats.days(row['fresh_days'])} before the failure, and "
            "after that grace, is looked at by a person."
        )
    if row["judged_by"] == "cause":
        said.append("Only what the cause of the failure points to must be treated.")
    return said


def _upkeep(row: Row) -> list[str]:
    months = [_months(row[f"cartridge_months_{water}"]) for water in ("mild", "normal", "severe")]
    said = [
        f"Cartridges last {months[0]} in mild water, {months[1]} in normal and {months[2]} in "
        f"severe, with {formats.days(row['cartridge_grace_days'])} of grace.",
        f"Mild is up to {formats.written(row['mild_up_to'])} times the limit, severe above "
        f"{formats.written(row['severe_above'])} times.",
    ]
    if row["look_back_months"] is not None:
        back = _months(row["look_back_months"])
        said.append(f"Lapses that ended {back} or longer before the failure are forgiven.")
    said.append(
        f"Delime every {_months(row['delime_months'])}, with "
        f"{formats.days(row['delime_grace_days'])} of grace."
    )
    return said


def _installation(row: Row, limits: Sequence[Row]) -> list[str]:
    said = []
    if row["must_report"]:
        names = [formats.READINGS.get(name, (name, ""))[0] for name in row["must_report"]]
        said.append(f"A complete start-up report tells {formats.listed(names).lower()}.")
    lines = []
    if row["two_lines_above_f"] is not None:
        lines.append(f"a supply warmer than {formats.written(row['two_lines_above_f'])} °F")
    if row["two_lines_when_treated"]:
        lines.append("a unit whose water is treated")
    if lines:
        said.append(f"Two water lines are needed for {formats.listed(lines)}.")
    for limit in sorted(limits, key=lambda limit: (limit["reading"], limit["gas"] or "")):
        name, unit = formats.READINGS.get(limit["reading"], (limit["reading"], ""))
        gas = f" ({limit['gas']})" if limit["gas"] else ""
        # An abbreviated unit ends the sentence with its own full stop.
        said.append(f"{name}{gas} {_between(limit['min'], limit['max'], unit)}".rstrip(".") + ".")
    return said or ["No limits on readings at start-up."]
