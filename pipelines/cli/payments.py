"""`limeledger payments`: what was credited for claims, beside what stands."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_csv, takes_workspace
from pipelines.cli.console.output import json_rows, print_csv, print_json, say
from pipelines.errors import UsageError
from schemas.codes import PAYMENT_STATES, SETTLED_PAYMENTS

if TYPE_CHECKING:
    import polars as pl

HELP = "Tell what was paid beside what is to be paid: unpaid, twice, too much."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    takes_workspace(parser)
    parser.add_argument("--state", metavar="STATE", help="only this state, such as unpaid")
    takes_csv(parser)


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from schemas import json_schema as js
    from schemas.payments import Payments

    return js.rows_of(Payments, "Payments of the state asked for, else all.")


def run(args: argparse.Namespace) -> int:
    """Lists payments as of the last refresh: those of one state, else all that need a look."""
    import polars as pl

    from pipelines.store.reading import published_table
    from pipelines.workspace.layout import Workspace
    from pipelines.workspace.settings import load_settings
    from schemas.payments import Payments

    state = None if args.state is None else _state(args.state)
    table = published_table(args.workspace, "payments")
    payments = table if state is None else table.filter(pl.col("state") == state)
    if args.json:
        print_json(json_rows(Payments, payments))
    elif args.csv:
        print_csv(payments)
    elif table.is_empty():
        say("No credit has come in, so nothing is known of payments.")
    else:
        _tell(payments, state, load_settings(Workspace.open(args.workspace)).currency)
    return 0


def _state(given: str) -> str:
    state = given.strip().lower().replace(" ", "_").replace("-", "_")
    if state not in PAYMENT_STATES:
        raise UsageError(f'"{given}" is no state; choose one of {", ".join(PAYMENT_STATES)}.')
    return state


def _tell(payments: pl.DataFrame, state: str | None, currency: str) -> None:
    """A line a state, then its claims, the largest difference first."""
    import polars as pl

    for name in PAYMENT_STATES:
        rows = payments.filter(pl.col("state") == name)
        if rows.is_empty():
            continue
        due, paid = rows["total_standing"].sum(), rows["total_credited"].sum()
        say(
            f"{name.replace('_', ' ').capitalize()}: {rows.height:,}; {paid:,.2f} {currency} "
            f"paid of {due:,.2f} to be paid"
        )
        if name in SETTLED_PAYMENTS and state is None:
            continue
        for row in rows.sort(
            pl.col("difference").abs(), "claim", descending=[True, False]
        ).iter_rows(named=True):
            say(_line(row))
    if payments.is_empty():
        say(f"No claim is {(state or '').replace('_', ' ')}.")


def _line(row: dict[str, Any]) -> str:
    near = f"; {row['claim_suggestion']} is one character away" if row["claim_suggestion"] else ""
    last = f", last on {row['last_credited_on']}" if row["last_credited_on"] else ""
    return (
        f"  {row['claim']} {row['difference']:+,.2f}: {row['total_credited']:,.2f} paid "
        f"of {row['total_standing']:,.2f}{last}{near}"
    )
