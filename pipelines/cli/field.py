"""`limeledger field`: the field figures for any slice."""

from __future__ import annotations

import argparse

import polars as pl

from pipelines.cli.arguments import typed_day
from pipelines.cli.output import print_csv, print_json, say
from pipelines.errors import UsageError
from pipelines.steps.figures import figure_of_slice
from schemas import codes


def run(args: argparse.Namespace) -> int:
    """Estimates one figure for the slice that is asked for, from the last refresh's records."""
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
        print_json(table.to_dicts())
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
