"""`limeledger upcoming`: who is about to lose cover, and why."""

from __future__ import annotations

import argparse
import sys

import polars as pl

from pipelines.commands.output import print_json, say
from pipelines.errors import UsageError
from pipelines.refresh.reading import published_table


def run(args: argparse.Namespace) -> int:
    """Lists the matters that fall due within some days, as of the last refresh."""
    if args.within < 0:
        raise UsageError(f"--within {args.within} is below 0; name a number of days.")
    due = published_table(args.workspace, "upcoming").filter(pl.col("days_left") <= args.within)
    if args.json:
        print_json(due.to_dicts())
    elif args.csv:
        sys.stdout.write(due.write_csv())
    elif due.is_empty():
        say(f"Nothing falls due within {args.within} days.")
    else:
        for row in due.iter_rows(named=True):
            late = "overdue" if row["days_left"] < 0 else f"{row['days_left']} days left"
            say(
                f"{row['due_on']} ({late}) {row['serial']} at {row['site'] or 'no site'}: "
                f"{row['matter']}. At stake: {row['at_stake']}."
            )
    return 0
