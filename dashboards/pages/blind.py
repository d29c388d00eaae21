"""The printed sheet of a second opinion: each claim's evidence, and room for an answer.

Belongs here: what a person must see to decide a claim by the terms. Does not belong here: any
verdict, finding, ruling or amount payable, none of which may stand on it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from dashboards import formats
from dashboards.data import CITED, PageData
from dashboards.pages import terms
from dashboards.pages.claim_parts import water_bars

_LINES = ("parts", "labor", "travel")
Row = Mapping[str, Any]


def content(data: PageData, claims: Sequence[str]) -> dict[str, Any]:
    """What the template needs, claims in their order."""
    chosen = pl.DataFrame({"claim": claims}, schema={"claim": pl.String})
    rows = chosen.join(data.decisions, on="claim", maintain_order="left")
    events = _by(data.events.sort("serial", "on", "kind", "label"), "serial")
    water = _by(data.water_values, "claim")
    cited = data.findings.select("claim", cited="evidence").explode("cited").unnest("cited")
    landed = _by(cited.unique().join(data.evidence_rows, on=CITED).sort("claim", *CITED), "claim")
    names = {
        "region": dict(data.regions.select("region", "name").iter_rows()),
        "agency": dict(data.agencies.select("agency", "name").iter_rows()),
        "cause": dict(data.causes.select("cause", "description").iter_rows()),
    }
    sheets = [
        {
            "claim": row["claim"],
            "facts": _facts(row, names),
            "money": [(line, formats.money(row[f"{line}_claimed"])) for line in _LINES],
            "life": [[formats.day(e["on"]), e["label"]] for e in events[row["serial"]]],
            "water": _water(water[row["claim"]]),
            "records": [_record(record) for record in landed[row["claim"]]],
        }
        for row in rows.iter_rows(named=True)
    ]
    terms_content = terms.content(data)
    return {
        "title": "Second opinion",
        "sheets": sheets,
        "verdicts": list(formats.VERDICTS.items()),
        "feeds": [
            [formats.FEEDS.get(row["feed"], row["feed"]), formats.day(row["through_date"])]
            for row in data.feeds.iter_rows(named=True)
        ],
        "summary": terms_content["summary"],
        "families": terms_content["families"],
    }


def _by(frame: pl.DataFrame, key: str) -> dict[str, list[Row]]:
    grouped: dict[str, list[Row]] = defaultdict(list)
    for row in frame.iter_rows(named=True):
        grouped[row[key]].append(row)
    return grouped


def _facts(row: Row, names: Mapping[str, Mapping[str, str | None]]) -> list[tuple[str, str]]:
    def name_and_code(kind: str) -> str | None:
        code = row[kind]
        name = names[kind].get(code) if code else None
        return f"{name} ({code})" if name and name != code else code

    unit = " ".join(filter(None, (row["model"], row["family"])))
    site = ", ".join(filter(None, (row["site_name"], row["site"])))
    facts = [
        ("Call", row["call"]),
        ("Unit", f"{row['serial']}{f' ({unit})' if unit else ''}"),
        ("Site", site),
        ("Region", name_and_code("region")),
        ("Agency", name_and_code("agency")),
        ("Failed, or opened where that is not told", formats.day(row["failed_on"])),
        ("Completed", formats.day(row["completed_on"])),
        ("Filed", formats.day(row["claimed_on"])),
        ("Cause", name_and_code("cause")),
    ]
    return [(label, value or "–") for label, value in facts]


def _water(values: list[Row]) -> dict[str, Any] | None:
    """The latest complete test, as reported and limited; not whether it is within."""
    bars = water_bars([dict(row) for row in values], None)
    if bars is None:
        return None
    first = values[0]
    head = f"Sample {first['sample']} of {formats.long_day(first['sampled_on'])}"
    return {"title": head, "rows": [row[:3] for row in bars["rows"]]}


def _record(row: Row) -> dict[str, Any]:
    feed = row["feed"]
    cells = [
        f"{name}: {value}"
        for name, value in zip(row["headers"], row["cells"], strict=True)
        if value
    ]
    return {
        "title": f"{formats.FEEDS.get(feed, feed)} {row['key']}",
        "place": f"{row['file']}, line {row['line']}",
        "text": "; ".join(cells),
    }
