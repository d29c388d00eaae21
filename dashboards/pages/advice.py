"""The sheet of advice on a water: one file to print and hand over, without scripts or network.

Belongs here: what stands on the sheet and its pictures. Does not belong here: the advice itself,
which comes as plain values, or how a chart looks (`charts`).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any

import polars as pl
import vl_convert
from markupsafe import Markup

from dashboards import formats, theme
from dashboards.charts import tank_week, water_bars
from dashboards.charts.theme import themed
from dashboards.environment import page_environment

STANDINGS = {
    "well founded": "measured, or from settled chemistry and the terms",
    "bound": "cannot be worse (or better) than this; the truth lies on one side",
    "empirical": "fitted to observations; holds where they were made",
    "rule of thumb": "experience of the trade; a guide, not a measurement",
}
_LONGEST = 3.0  # times the limit; a longer bar is cut and says how far it goes
_SVG_ID = re.compile(r'(\bid="|url\(#|href="#)(?=[\w-]+)')


def advice_sheet(advice: Mapping[str, Any], levels: pl.DataFrame, maker: str) -> str:
    """The sheet as HTML.

    Args:
        advice: sample, site, sampled_on (as written), model, edition, family, profile, needs,
            severity, analytes (dicts: analyte, value, below, min, max, needs, outside, reported),
            lines (dicts: topic, text, standing, cautions) in the order to be read. The first lines
            say the analytes, one each: on the sheet the table says them.
        levels: product, tank_l, hour, level_l, short_l: each tank behind each membrane over its
            worst week; no rows without reverse osmosis.
        maker: whose sheet it is.
    """
    used = {line["standing"] for line in advice["lines"]}
    return (
        page_environment()
        .get_template("advice.html")
        .render(
            advice=advice,
            maker=maker,
            facts=_facts(advice),
            answer=_answer(advice["lines"]),
            analytes=[_row(row) for row in advice["analytes"]],
            sections=_sections(advice["lines"][len(advice["analytes"]) :]),
            standings=[(word, meaning) for word, meaning in STANDINGS.items() if word in used],
            bars=_bars_picture(advice["analytes"]),
            tanks=_tanks_picture(levels),
            tokens=Markup(theme.tokens_css()),
        )
    )


def _facts(advice: Mapping[str, Any]) -> list[tuple[str, str]]:
    facts = [
        ("Model", advice["model"]),
        ("Site", advice["site"]),
        ("Sample", advice["sample"]),
        ("Taken", advice["sampled_on"]),
        ("Terms", f"{advice['edition']}, {advice['family']}"),
        ("Class of water", advice["profile"]),
        ("Severity", advice["severity"]),
    ]
    return [(name, value) for name, value in facts if value]


def _answer(lines: Sequence[Mapping[str, Any]]) -> list[str]:
    """What is needed, and the first thing that the advice says of treatment."""
    needs = [line["text"] for line in lines if line["topic"] == "needs"]
    choices = [line["text"] for line in lines if line["text"].startswith("Choice 1:")]
    doubts = [line["text"] for line in lines if line["text"].startswith("Doubt:")]
    return [*needs, *choices, *doubts]


def _sections(lines: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Lines by topic, with the cautions of the work that they are about."""
    sections = []
    for topic, group in groupby(lines, key=lambda line: line["topic"]):
        of_topic = list(group)
        cautions = dict.fromkeys(caution for line in of_topic for caution in line["cautions"])
        sections.append({"topic": topic, "lines": of_topic, "cautions": list(cautions)})
    return sections


def _row(row: Mapping[str, Any]) -> dict[str, str]:
    """One analyte as a row of the table."""
    name, unit = formats.ANALYTES[row["analyte"]]
    low, high = row["min"], row["max"]
    if low is not None and high is not None:
        limit = f"{formats.written(low)} to {formats.written(high)}"
    elif high is not None:
        limit = f"at most {formats.written(high)}"
    else:
        limit = "none" if low is None else f"at least {formats.written(low)}"
    if row["outside"]:
        verdict = "outside"
    elif limit == "none":
        verdict = ""
    else:
        verdict = "within" if row["reported"] else "not known: its bound is above the limit"
    needs = (row["needs"] or "") if row["outside"] else ""
    return {
        "name": name,
        "unit": unit,
        "value": _value(row),
        "limit": limit,
        "verdict": verdict,
        "needs": needs,
    }


def _value(row: Mapping[str, Any]) -> str:
    if row["value"] is None:
        return f"below {formats.written(row['below'])}"
    return formats.written(row["value"])


def _bars_picture(analytes: Sequence[Mapping[str, Any]]) -> Markup | None:
    """The analytes that have a limit, as shares of it; None where none has."""
    bars, ticks, names = [], [], []
    for row in analytes:
        limit = row["min"] if row["max"] is None else row["max"]
        value = row["below"] if row["value"] is None else row["value"]
        if not limit or value is None:
            continue
        name = f"{formats.ANALYTES[row['analyte']][0]}, {_value(row)}"
        share = value / limit
        names.append(name)
        bars.append(
            {
                "analyte": name,
                "share": min(share, _LONGEST),
                "text": _value(row),
                "beyond": f"{share:.1f} times" if share > _LONGEST else "",
                "outside": "bound" if row["value"] is None else "yes" if row["outside"] else "no",
            }
        )
        ticks += [
            {"analyte": name, "share": bound / limit, "text": formats.written(bound)}
            for bound in (row["min"], row["max"])
            if bound is not None
        ]
    if not bars:
        return None
    with themed():
        spec = water_bars.draw().properties(width=520).to_dict()
    spec = _with_list(spec, "@analytes", names)
    return _svg(spec, {"rows": bars, "ticks": ticks}, "water")


def _tanks_picture(levels: pl.DataFrame) -> Markup | None:
    """The tanks over their worst weeks; None without reverse osmosis."""
    if levels.is_empty():
        return None
    sizes = levels["tank_l"].unique().sort().to_list()
    rows = levels.select(
        "product",
        tank=pl.col("tank_l").map_elements(_tank, return_dtype=pl.String),
        hour=pl.col("hour"),
        until=pl.col("hour") + 1,
        level=pl.col("level_l").round(3),
        short=pl.col("short_l") > 0,
    )
    with themed():
        spec = tank_week.draw([_tank(size) for size in sizes]).to_dict()
    return _svg(spec, {"rows": rows.to_dicts()}, "tank")


def _tank(litres: float) -> str:
    return f"Tank of {formats.written(litres)} L"


def _with_list(part: Any, name: str, values: list[str]) -> Any:
    """A specification with a list in the place of its name."""
    if isinstance(part, dict):
        return {key: _with_list(value, name, values) for key, value in part.items()}
    if isinstance(part, list):
        return values if part == [name] else [_with_list(value, name, values) for value in part]
    return part


def _svg(spec: dict[str, Any], rows: Mapping[str, Any], prefix: str) -> Markup:
    """A chart as inline SVG in light colors; ids get a prefix, so that two pictures may share a
    page."""
    spec = theme.resolve_colors(spec) | {"datasets": dict(rows)}
    spec["config"] |= {"font": "sans-serif", "padding": {"left": 12, "right": 12, "bottom": 6}}
    svg = vl_convert.vegalite_to_svg(spec, vl_version=theme.VEGA_LITE)
    return Markup(_SVG_ID.sub(rf"\g<1>{prefix}-", svg))
