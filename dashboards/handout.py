"""A finding on one page, to be printed or sent: no script, nothing from elsewhere.

Belongs here: the page and its plain chart. Does not belong here: the figure itself.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import polars as pl
from markupsafe import Markup, escape

from dashboards import formats
from schemas.catalog import TABLES
from schemas.polars_types import most

MOST_ROWS = 30
_THIN = "Rows in gray are thin: fewer than 5 failures or 10 units; never rank them."
_ESTIMATES = ("rate_per_100", "ratio", "adjusted_ratio", "survival", "mean_per_100", "value")
_STYLE = """
@page{margin:14mm}body{font:11pt/1.4 system-ui,sans-serif;max-width:180mm;margin:0 auto;padding:6mm;
color:#1b1d1f;background:#fff}h1{font-size:16pt;margin:0 0 2mm}p{margin:2mm 0}table{border-collapse:
collapse;font-size:9pt;width:100%}th,td{padding:.6mm 2mm;border-bottom:.2mm solid #ccc;text-align:
left}td.n,th.n{text-align:right;font-variant-numeric:tabular-nums}.small{font-size:9pt;color:#555}
code{font-size:8.5pt;overflow-wrap:anywhere}svg{width:100%;height:auto}tr.thin td{color:#666}
"""


def handout(
    figure: str,
    table: pl.DataFrame,
    *,
    sentence: str | None,
    selected: Sequence[str],
    since: str | None,
    until: str | None,
    as_of: dt.date,
    failures: int,
    command: str,
) -> str:
    """The page as HTML.

    Args:
        figure: the table's name; table: its rows, of which the first thirty are shown.
        sentence: what it says; None where the figure has none of its own.
        selected: the conditions; since, until: the days, as they were asked for.
        failures: how many stand behind it.
        command: what makes it again.
    """
    title = figure.replace("_", " ").capitalize()
    about = TABLES[figure].grain if figure in TABLES else "Two selections against each other."
    chosen = [
        *selected,
        *([f"from {since}"] if since else []),
        *([f"before {until}"] if until else []),
    ]
    return str(
        Markup(
            '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
            '<meta name="viewport" content="width=device-width"><style>{style}</style></head>'
            '<body><h1>{title}</h1><p>{says}</p>{chart}{rows}<p class="small">{about} {marks}</p>'
            '<p class="small">Selected: {chosen}. As of {as_of}; {failures}.</p>'
            '<p class="small">Made by <code>{command}</code></p></body></html>\n'
        ).format(
            title=title,
            style=Markup(_STYLE.replace("\n", "")),
            says=sentence or f"{formats.counted(table.height, 'row')} of {title.lower()}.",
            chart=_chart(table.head(MOST_ROWS)),
            rows=_table(table.head(MOST_ROWS)),
            about=about,
            marks=" ".join(_marks(table)),
            chosen="; ".join(chosen) or "everything",
            as_of=as_of.isoformat(),
            failures=formats.counted(failures, "failure"),
            command=command,
        )
    )


def _marks(table: pl.DataFrame) -> list[str]:
    """What is to be said of rows that are thin, extrapolated or not shown."""
    told = []
    if "thin" in table.columns and table["thin"].any():
        told.append(_THIN)
    if any(name.endswith("_extrapolated") and table[name].any() for name in table.columns):
        told.append("What is extrapolated lies beyond the ages that were watched.")
    if table.height > MOST_ROWS:
        told.append(f"The first {MOST_ROWS} of {table.height:,} rows.")
    return told


def _table(table: pl.DataFrame) -> Markup:
    numeric = {name for name, kind in table.schema.items() if kind.is_numeric()}
    names = [name for name in table.columns if name not in ("thin", "note")]
    head = Markup("").join(
        Markup("<th{}>{}</th>").format(_side(name in numeric), name.replace("_", " "))
        for name in names
    )
    body = Markup("").join(
        Markup("<tr{}>{}</tr>").format(
            Markup(' class="thin"') if row.get("thin") else "",
            Markup("").join(
                Markup("<td{}>{}</td>").format(_side(name in numeric), _text(row[name]))
                for name in names
            ),
        )
        for row in table.to_dicts()
    )
    return Markup("<table><thead><tr>{}</tr></thead><tbody>{}</tbody></table>").format(head, body)


def _side(number: bool) -> Markup:
    return Markup(' class="n"') if number else Markup("")


def _text(value: Any) -> str:
    if value is None:
        return "–"
    if isinstance(value, float):
        return formats.number(value)
    if isinstance(value, list):
        return "+".join(map(str, value))
    return f"{value:,}" if isinstance(value, int) and not isinstance(value, bool) else str(value)


def _chart(table: pl.DataFrame) -> Markup:
    """A dot a row with its 95 % limits; nothing where the table has no estimate with limits."""
    estimate = next((name for name in _ESTIMATES if name in table.columns), None)
    if estimate is None or not {"low", "high"} <= set(table.columns):
        return Markup("")
    label = next((n for n, kind in table.schema.items() if kind == pl.String), None)
    rows = table.filter(
        pl.col(estimate).is_not_null() & pl.col("low").is_not_null() & pl.col("high").is_not_null()
    )
    solid = rows.filter(~pl.col("thin")) if "thin" in rows.columns else rows
    if not solid.height > 0:
        return Markup("")
    top = most(solid["high"]) or 1.0
    lines = []
    for place, row in enumerate(solid.to_dicts()):
        y = 14 + 16 * place
        left, dot, right = (
            180 + 420 * min(float(row[n]) / top, 1) for n in ("low", estimate, "high")
        )
        lines.append(
            Markup(
                '<text x="172" y="{}" text-anchor="end" font-size="10">{}</text>'
                '<line x1="{:.1f}" x2="{:.1f}" y1="{}" y2="{}" stroke="#667"/>'
                '<circle cx="{:.1f}" cy="{}" r="3.5" fill="#1f5fa8"/>'
            ).format(y + 3, str(row[label])[:28] if label else "", left, right, y, y, dot, y)
        )
    height = 34 + 16 * solid.height
    axis = Markup(
        '<text x="180" y="{}" font-size="9">0</text>'
        '<text x="600" y="{}" font-size="9" text-anchor="end">{} {}</text>'
    ).format(height - 6, height - 6, formats.number(top), estimate.replace("_", " "))
    return Markup('<svg viewBox="0 0 610 {}" role="img" aria-label="{}">{}{}</svg>').format(
        height, escape(estimate.replace("_", " ")), Markup("").join(lines), axis
    )
