"""`limeledger month`: month end, as figures, CSV or a workbook; and closing a month."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from pipelines.cli.console.acting import caller_of, desk_of
from pipelines.cli.console.arguments import takes_as_of, takes_workspace, write_file
from pipelines.cli.console.output import print_json, progress, teller
from pipelines.errors import UsageError

HELP = "Tell the figures of a month's end, and close the month."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("month", metavar="YYYY-MM")
    takes_workspace(parser)
    parser.add_argument("--csv", metavar="FILE", help="write the rows as CSV")
    parser.add_argument("--xlsx", metavar="FILE", help="write the rows and totals as a workbook")
    parser.add_argument("--close", action="store_true", help="close the month; never undone")
    parser.add_argument("--by", metavar="WHO", help="with --close: who closes it")
    takes_as_of(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.desk import event
    from pipelines.desk.month_shape import month
    from schemas import json_schema as js

    return js.one_of([month(), js.record(event() | month()["properties"])])


def run(args: argparse.Namespace) -> int:
    """Tells a month, and closes it where that is asked for."""
    from pipelines.actions.closing import close_month
    from pipelines.queries.months import month_end, month_of, totals

    month = month_of(args.month)
    if args.close and not (args.by or "").strip():
        raise UsageError("--close needs --by; say who closes the month.")
    with desk_of(args) as desk:
        done: dict[str, Any] = {}
        if args.close:
            done = close_month(desk, desk.workspace, caller_of(desk, args), month=args.month)
        statement = month_end(desk, month)
    if args.csv:
        write_file(Path(args.csv), statement.csv())
        progress(f"The rows are in {args.csv}.")
    if args.xlsx:
        write_file(Path(args.xlsx), statement.xlsx())
        progress(f"The workbook is {args.xlsx}.")
    if args.json:
        print_json(done or statement.to_dict())
    say = teller(args.json)
    state = f"closed by {statement.closed.by}" if statement.closed else "open"
    say(f"{statement.month}, {state}, as of {statement.as_of}.")
    for row in totals(statement.rows).to_dicts() if not args.json else ():
        mends = f" of {row['adjusts']}" if row["adjusts"] else ""
        what = row["measure"].replace("_", " ")
        say(f"{what:<11} {row['state'] + mends:<21} {row['claims']:>6} {row['total']:>15,.2f}")
    return 0
