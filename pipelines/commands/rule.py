"""`limeledger rule`: records what a person decided on a claim."""

from __future__ import annotations

import argparse
import datetime as dt
from decimal import Decimal, InvalidOperation

from pipelines.commands.output import print_json, teller
from pipelines.errors import NotFoundError, UsageError
from pipelines.refresh.reading import no_such_claim, open_store
from pipelines.refresh.recorded import record_ruling
from pipelines.warehouse.database import one_row
from pipelines.workspace.layout import Workspace
from pipelines.workspace.lock import refresh_lock
from pipelines.workspace.settings import load_settings
from schemas.codes import RULINGS


def run(args: argparse.Namespace) -> int:
    """Appends a ruling; it stands from the next refresh on, and in `explain` at once."""
    workspace = Workspace.open(args.workspace)
    settings = load_settings(workspace)
    ruling = args.ruling.strip().lower()
    if ruling not in RULINGS:
        raise UsageError(f'"{args.ruling}" is no ruling; choose one of {", ".join(RULINGS)}.')
    for name, value in (("--by", args.by), ("--reason", args.reason)):
        if not value.strip():
            raise UsageError(f"{name} is empty; say {'who' if name == '--by' else 'why'}.")
    row = {
        "claim": args.claim.strip(),
        "ruled_at": _moment(args.at, dt.datetime.now(settings.zone)),
        "ruled_by": args.by.strip(),
        "ruling": ruling,
        "reason": args.reason.strip(),
        "parts_amount": _amount("--parts", args.parts),
        "labor_amount": _amount("--labor", args.labor),
        "travel_amount": _amount("--travel", args.travel),
    }
    _known_claim(workspace, row["claim"])
    with refresh_lock(workspace.store):
        record_ruling(workspace, row)
    if args.json:
        print_json(row)
    teller(args.json)(
        f"Recorded: {row['claim']} is ruled {ruling.replace('_', ' ')} by {row['ruled_by']}. "
        "The pages and tables tell it from the next refresh on."
    )
    return 0


def _moment(given: str | None, now: dt.datetime) -> str:
    if given is None:
        return now.isoformat(timespec="seconds")
    try:
        return dt.datetime.fromisoformat(given).isoformat(timespec="seconds")
    except ValueError:
        raise UsageError(
            f'--at "{given}" is no date and time; write it as 2026-03-31T14:05.'
        ) from None


def _amount(name: str, given: str | None) -> str:
    if given is None:
        return ""
    try:
        amount = Decimal(given)
        if not amount.is_finite() or amount < 0 or amount.as_tuple().exponent < -2:
            raise InvalidOperation
    except (InvalidOperation, TypeError):
        raise UsageError(
            f'{name} "{given}" is no amount; write a number such as 120.50, not below 0.'
        ) from None
    return f"{amount:f}"


def _known_claim(workspace: Workspace, claim: str) -> None:
    with open_store(workspace) as con:
        found = one_row(con, "select 1 from decisions where claim = ?", [claim])
    if found is None:
        raise NotFoundError(no_such_claim(claim))
