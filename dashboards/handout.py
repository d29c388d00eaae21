"""A finding on one page, to be printed or sent: no script, nothing from elsewhere.

Belongs here: the page. Does not belong here: its picture (`plain_drawing`), the figure itself,
which rows of a figure the site's handouts show (`pages.handouts`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import polars as pl
from markupsafe import Markup

from dashboards import formats
from dashboards.plain_drawing import drawing
from schemas.catalog import TABLES

MOST_ROWS = 30
_LABELS = ("by", "family", "region", "profile", "cause_class", "startup", "treatment")
_THIN = "Rows in gray are thin: fewer than 5 failures or 10 units; never rank them."
# Nothing is fetched and nothing runs; style stands in the page itself.
_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'"
)
_STYLE = """
@page{margin:14mm}body{font:11pt/1.4 system-ui,sans-serif;max-width:180mm;margin:0 auto;padding:6mm;
color:#1b1d1f;background:#fff}h1{font-size:16pt;margin:0 0 2mm}p{margin:2mm 0}table{border-collapse:
collapse;font-size:9pt;width:100%}th,td{padding:.6mm 2mm;border-bottom:.2mm solid #ccc;text-align:
left}td.n,th.n{text-align:right;font-variant-numeric:tabular-nums}.small{font-size:9pt;color:#555}
code{font-size:8.5pt;overflow-wrap:anywhere}svg{width:100%;height:auto;max-height:90mm}
tr.thin td{color:#666}.rows{overflow-x:auto}
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
    title: str | None = None,
) -> str:
    """The page as HTML.

    Args:
        figure: the table's name; table: its rows, of which the first thirty are shown.
        sentence: what it says; None where the figure has none of its own.
        selected: the conditions; since, until: the days, as they were asked for.
        failures: how many stand behind it.
        command: what makes it again.
        title: what it is called; None for the table's name.
    """
    title = title or figure.replace("_", " ").capitalize()
    about = TABLES[figure].grain if figure in TABLES else "Two selections against each other."
    chosen = [
        *selected,
        *([f"from {since}"] if since else []),
        *([f"before {until}"] if until else []),
    ]
    return str(
        Markup(
            '<!doctype html><html lang="en"><head><meta charset="utf-8">'
            '<meta http-equiv="Content-Security-Policy" content="{policy}">'
            "<title>{title}</title>"
            '<meta name="viewport" content="width=device-width, initial-scale=1">'
            "<style>{style}</style></head>"
            '<body><main><h1>{title}</h1><p>{says}</p>{chart}<div class="rows" tabindex="0" '
            'role="region" aria-label="{title}, rows">{rows}</div>'
            '<p class="small">{about} {marks}</p>'
            '<p class="small">Selected: {chosen}. As of {as_of}; {failures}.</p>'
            '<p class="small">Made by <code>{command}</code></p></main></body></html>\n'
        ).format(
            title=title,
            policy=Markup(_POLICY),
            style=Markup(_STYLE.replace("\n", "")),
            says=sentence or f"{formats.counted(table.height, 'row')} of {title.lower()}.",
            chart=drawing(table, MOST_ROWS),
            rows=_table(table.head(MOST_ROWS)),
            about=about,
            marks=" ".join(_marks(table)),
            chosen="; ".join(chosen) or "everything",
            as_of=as_of.isoformat(),
            failures=formats.counted(failures, "failure"),
            command=command,
        )
    )


def without_alls(table: pl.DataFrame) -> pl.DataFrame:
    """Leaves out dimensions that are not sliced and notes where there are none; marks come last."""
    plain = [
        name
        for name in _LABELS
        if name in table.columns and table.height and (table[name] == "all").all()
    ]
    quiet = [n for n in ("note",) if n in table.columns and table[n].null_count() == table.height]
    by = ["by"] if "by" in table.columns and "by" not in plain else []
    kept = table.drop(*plain, *by, *quiet)
    last = [name for name in ("thin", "note") if name in kept.columns]
    return kept.select(*(name for name in kept.columns if name not in last), *last)


def _marks(table: pl.DataFrame) -> list[str]:
    """What is to be said of rows that are thin, extrapolated or not shown."""
    sentences = []
    if "thin" in table.columns and table["thin"].any():
        sentences.append(_THIN)
    if any(name.endswith("_extrapolated") and table[name].any() for name in table.columns):
        sentences.append("What is extrapolated lies beyond the ages that were watched.")
    if table.height > MOST_ROWS:
        sentences.append(f"The first {MOST_ROWS} of {table.height:,} rows.")
    return sentences


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
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return formats.number(value)
    if isinstance(value, list):
        return "+".join(map(str, value))
    return f"{value:,}" if isinstance(value, int) else str(value)
