"""The site's handouts: one page a figure, the rows that carry its finding.

Belongs here: which rows of each figure stand on its handout, in which order, and the command that
makes it again. Does not belong here: the page itself (`dashboards.handout`).
"""

from __future__ import annotations

import shlex
from collections.abc import Iterator

import polars as pl

from dashboards.data import PageData
from dashboards.handout import handout, without_alls
from dashboards.pages.findings import FINDINGS, Finding

ALL = "all"
_NO_HANDOUT = ("field_failures", "field_sentences")


def pages(data: PageData) -> Iterator[tuple[str, str]]:
    """File name and text of the handout of every figure that has rows."""
    sentence_rows = data.figures.get("field_sentences", pl.DataFrame())
    sentences = {(row[0], row[1], row[2]): row[3] for row in sentence_rows.rows()}
    for name in names(data):
        frame = data.figures[name]
        finding = FINDINGS.get(name) or _plain(name, frame)
        yield f"{name}.html", _page(data, name, frame, finding, sentences)


def names(data: PageData) -> list[str]:
    """The figures that have a handout: those with rows, without agencies where these are hidden."""
    hidden = ("agency_figures",) if "agency" in data.hide else ()
    return [
        name
        for name, frame in data.figures.items()
        if name not in (*_NO_HANDOUT, *hidden) and not frame.is_empty()
    ]


def _plain(name: str, frame: pl.DataFrame) -> Finding:
    """The whole fleet's rows of a figure that has no finding of its own."""
    sliced = "by" in frame.columns and frame["by"].is_in([ALL]).any()
    rows = pl.col("by") == ALL if sliced else pl.lit(True)
    return Finding(name.replace("_", " ").capitalize(), rows, None, (ALL, ALL))


def rows_of(frame: pl.DataFrame, finding: Finding) -> pl.DataFrame:
    """The finding's rows in its order, thin ones last; all rows where it finds none."""
    rows = frame.filter(finding.rows)
    rows = frame if rows.is_empty() else rows
    if finding.order is None:
        return rows
    column, down = finding.order
    thin = ["thin"] if "thin" in rows.columns else []
    return rows.sort(
        *thin, column, descending=[*([False] * len(thin)), down], nulls_last=True,
        maintain_order=True,
    )  # fmt: skip


def _page(
    data: PageData,
    name: str,
    frame: pl.DataFrame,
    finding: Finding,
    sentences: dict[tuple[str, str, str], str],
) -> str:
    by, event = finding.sentence_key
    words = ["limeledger", "field", "--figure", name, *finding.arguments]
    failures = data.figures.get("field_failures", pl.DataFrame({"water_related": []}))
    if event == "water":
        failures = failures.filter("water_related")
    return handout(
        name,
        without_alls(rows_of(frame, finding)),
        sentence=sentences.get((name, by, event)) or _other(name, by, event, sentences),
        selected=[],
        since=None,
        until=None,
        as_of=data.as_of,
        failures=failures.height,
        command=shlex.join([*words, "--handout", f"{name}.html"]),
        title=finding.title,
    )


# Figures whose finding is told under another figure's name.
_SENTENCE_OF = {
    "repeat_failures": "standard_curves",
    "dose_bins": "dose_step",
    "treatment_effect": "treatment_ratios",
    "survival": "standard_curves",
}


def _other(
    name: str, by: str, event: str, sentences: dict[tuple[str, str, str], str]
) -> str | None:
    other = _SENTENCE_OF.get(name)
    if other is None:
        return None
    slice_ = "survival" if name == "survival" else by
    return sentences.get((other, slice_, event))
