"""`limeledger agencies`: what is worth asking an agency about."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_csv, takes_workspace
from pipelines.cli.console.output import json_rows, print_csv, print_json, say

if TYPE_CHECKING:
    import polars as pl

_TITLES = {
    "returns": "Repairs that came back",
    "labor_hours": "Labor hours a claim",
    "travel": "Travel a claim",
    "documents": "Claims that wait on documents",
}

HELP = "Tell what is worth asking an agency about, beside its peers."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    takes_csv(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from schemas import json_schema as js
    from schemas.field import AgencyFigures

    return js.rows_of(AgencyFigures, "Every measure of every agency, and of all together.")


def run(args: argparse.Namespace) -> int:
    """Lists, measure by measure, the agencies that stand out, as of the last refresh."""
    import polars as pl

    from pipelines.store.reading import published_table
    from schemas.field import AgencyFigures

    figures = published_table(args.workspace, "agency_figures")
    if args.json:
        print_json(json_rows(AgencyFigures, figures))
    elif args.csv:
        print_csv(figures)
    elif figures.is_empty():
        say("No repair or claim names an agency yet.")
    else:
        for measure, title in _TITLES.items():
            _tell(title, figures.filter(pl.col("measure") == measure))
    return 0


def _tell(title: str, rows: pl.DataFrame) -> None:
    import polars as pl

    if rows.is_empty():
        return
    say(f"{title}:")
    shown = rows.filter((pl.col("agency") == "all") | pl.col("flagged"))
    for agency, sentence in shown.select("agency", "sentence").iter_rows():
        say(f"  {sentence}" if agency == "all" else f"  {agency}: {sentence}")
    if not rows["flagged"].any():
        say("  No agency stands out at a false-discovery rate of 10 %.")
