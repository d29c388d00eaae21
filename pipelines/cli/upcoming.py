"""`limeledger upcoming`: who is about to lose cover, and why."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_csv, takes_workspace
from pipelines.cli.console.output import json_rows, print_csv, print_json, say
from pipelines.errors import UsageError
from schemas.wording import days

if TYPE_CHECKING:
    import polars as pl

HELP = "Tell who is about to lose cover, and why."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    parser.add_argument("--within", type=int, default=30, metavar="DAYS")
    takes_csv(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from schemas import json_schema as js
    from schemas.histories import Upcoming

    return js.rows_of(Upcoming, "The matters that fall due within the days asked for.")


def run(args: argparse.Namespace) -> int:
    """Lists the matters that fall due within some days, as of the last refresh."""
    import polars as pl

    from pipelines.store.reading import published_table
    from schemas.histories import Upcoming

    if args.within < 0:
        raise UsageError(f"--within {args.within} is below 0; name a number of days.")
    due = published_table(args.workspace, "upcoming").filter(pl.col("days_left") <= args.within)
    if args.json:
        print_json(json_rows(Upcoming, due))
    elif args.csv:
        print_csv(due)
    elif due.is_empty():
        say(f"Nothing falls due within {days(args.within)}.")
    else:
        _tell(due)
    return 0


def _tell(due: pl.DataFrame) -> None:
    """What can still be kept goes first, by its day; then what is overdue, the latest first."""
    import polars as pl

    ahead = due.filter(pl.col("days_left") >= 0)
    late = due.filter(pl.col("days_left") < 0).reverse()
    for title, rows in (("Ahead", ahead), ("Overdue", late)):
        say(f"{title}: {rows.height:,}")
        for row in rows.iter_rows(named=True):
            site = ", ".join(filter(None, (row["site_name"], row["site"]))) or "no site"
            days = row["days_left"]
            count = f"{abs(days)} {'day' if abs(days) == 1 else 'days'}"
            when = f"{count} late" if days < 0 else f"{count} left"
            say(f"{row['due_on']} ({when}) {row['matter']}, {site}: {row['sentence']}")
