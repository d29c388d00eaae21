"""`limeledger field`: the field figures for any slice."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_csv, takes_workspace, typed_day
from pipelines.cli.console.output import json_rows, print_csv, print_json, say
from pipelines.errors import UsageError
from schemas import codes

if TYPE_CHECKING:
    import polars as pl

HELP = "Field figures for any slice."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    parser.add_argument("--by", default="all", metavar="DIMENSIONS", help="joined by commas")
    parser.add_argument("--figure", default="rates", metavar="NAME")
    for name in ("family", "region", "profile"):
        parser.add_argument(f"--{name}", metavar=name.upper(), help=f"only this {name}")
    parser.add_argument("--class", dest="cause_class", metavar="CLASS", help="only this class")
    parser.add_argument("--since", metavar="DATE", help="failures and time from this day on")
    parser.add_argument("--until", metavar="DATE", help="failures and time before this day")
    takes_csv(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.field.figures import FIGURES
    from schemas import json_schema as js
    from schemas.field import FIELD_TABLES

    # An empty list is of every figure, so that more than one form may fit.
    return {
        "anyOf": [
            js.rows_of(table, f"--figure {name}: its rows for the slice.")
            for name, table in FIELD_TABLES.items()
            if name in FIGURES
        ]
    }


def run(args: argparse.Namespace) -> int:
    """Estimates one figure for the slice that is asked for, from the last refresh's records."""
    import polars as pl

    from pipelines.steps.figures import figure_of_slice
    from schemas.field import FIELD_TABLES

    if args.cause_class and args.cause_class not in (*codes.CAUSE_CLASSES, "unknown"):
        raise UsageError(
            f'"{args.cause_class}" is no class; choose one of {", ".join(codes.CAUSE_CLASSES)}.'
        )
    table = figure_of_slice(
        args.workspace,
        args.figure,
        [] if args.by == "all" else [word.strip() for word in args.by.split(",")],
        family=args.family,
        cause_class=args.cause_class,
        since=typed_day("--since", args.since),
        until=typed_day("--until", args.until),
    )
    for name in ("region", "profile"):
        chosen = getattr(args, name)
        if chosen is not None:
            if name not in args.by.split(","):
                raise UsageError(f"--{name} {chosen} needs --by {name}; slice by it to choose one.")
            table = table.filter(pl.col(name) == chosen)
    if args.json:
        print_json(json_rows(FIELD_TABLES[args.figure], table))
    elif args.csv:
        print_csv(table)
    else:
        with pl.Config(tbl_rows=-1, tbl_cols=-1, tbl_hide_dataframe_shape=True, fmt_str_lengths=60):
            say(str(_without_alls(table)))
    return 0


def _without_alls(table: pl.DataFrame) -> pl.DataFrame:
    """Leaves out the dimensions that are not sliced."""
    plain = [n for n in table.columns[1:7] if table.height and (table[n] == "all").all()]
    return table.drop("by", *plain)
