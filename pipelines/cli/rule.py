"""`limeledger rule`: records what a person decided on a claim."""

from __future__ import annotations

import argparse
import datetime as dt
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from pipelines.cli.console.arguments import takes_workspace
from pipelines.cli.console.output import print_json, progress, teller
from pipelines.errors import NotFoundError, UsageError
from pipelines.workspace.layout import SETTINGS_FILE, Workspace
from schemas.codes import RULINGS

if TYPE_CHECKING:
    from pipelines.workspace.settings import Settings

_AMOUNTS = ("parts_amount", "labor_amount", "travel_amount")

HELP = "Record what a person decided on a claim."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("claim", metavar="CLAIM")
    parser.add_argument("ruling", metavar="RULING", help="covered, covered_in_part or not_covered")
    takes_workspace(parser)
    parser.add_argument("--by", required=True, metavar="WHO", help="who decided")
    parser.add_argument("--reason", required=True, metavar="TEXT", help="why")
    parser.add_argument("--parts", metavar="AMOUNT", help="what is to be paid for parts")
    parser.add_argument("--labor", metavar="AMOUNT", help="what is to be paid for labor")
    parser.add_argument("--travel", metavar="AMOUNT", help="what is to be paid for travel")
    parser.add_argument("--at", metavar="WHEN", help="when it was decided (default: now)")


def output_schema() -> dict[str, Any]:
    """What the JSON holds."""
    from pipelines.cli.outputs.explain import ruling
    from schemas import json_schema as js
    from schemas.feeds import Rulings

    recorded = js.properties_of(Rulings) | {
        "ruled_at": js.moment_as_typed("When it was decided; in the workspace's time zone."),
        "granted": js.amount("What it grants in all."),
        "replaces": js.or_null(ruling("The ruling that stood until then.")),
        "overruled_by": js.or_null(ruling("The one made after it, which stands instead.")),
    }
    return js.record(recorded)


def run(args: argparse.Namespace) -> int:
    """Appends a ruling; it stands from the next refresh on, and in `explain` at once."""
    from pipelines.store.recorded_rulings import record_ruling, recorded_rulings
    from pipelines.store.rulings import moment_here
    from pipelines.workspace.clock import now
    from pipelines.workspace.lock import refresh_lock
    from pipelines.workspace.permissions import private_umask, restrict_file
    from pipelines.workspace.settings import load_settings

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
        "ruled_at": _moment(args.at, now().astimezone(settings.zone)),
        "ruled_by": args.by.strip(),
        "ruling": ruling,
        "reason": args.reason.strip(),
        "parts_amount": _amount("--parts", args.parts),
        "labor_amount": _amount("--labor", args.labor),
        "travel_amount": _amount("--travel", args.travel),
    }
    decision, rulings = _claim(workspace, row["claim"], settings)
    total = _granted(row, decision)
    _within_limit(row["ruled_by"], total, settings)
    with private_umask(settings.readable_by), refresh_lock(workspace.store):
        damaged = record_ruling(workspace, row)
        restrict_file(recorded_rulings(workspace), settings.readable_by)
    for sentence in damaged:
        progress(f"{sentence} Until that is mended it counts for nothing.")
    at = moment_here(row["ruled_at"], settings.zone)
    before = [ruling for ruling in rulings if ruling["ruled_at"] <= at]
    replaced = before[-1] if before else None
    later = rulings[-1] if len(before) < len(rulings) else None
    if args.json:
        told = {"granted": f"{total:.2f}", "replaces": replaced, "overruled_by": later}
        amounts = {name: Decimal(row[name]) if row[name] else None for name in _AMOUNTS}
        print_json({**row, **amounts, **told})
    tell = teller(args.json)
    tell(
        f"Recorded: {row['claim']} is ruled {ruling.replace('_', ' ')} by {row['ruled_by']}; "
        f"{total:,.2f} {settings.currency} to be paid. "
        "The pages and tables tell it from the next refresh on."
    )
    if later:
        tell(f"It does not stand: {_ruling(later)} was made after it.")
    elif replaced:
        tell(f"It replaces {_ruling(replaced)}, which stays on file beside it.")
    return 0


def _ruling(ruling: dict[str, Any]) -> str:
    return (
        f"the ruling {ruling['ruling'].replace('_', ' ')} by {ruling['ruled_by']} of "
        f"{ruling['ruled_at']:%Y-%m-%d %H:%M} ({ruling['reason']})"
    )


def _granted(row: dict[str, str], decision: dict[str, Any]) -> Decimal:
    from pipelines.coverage.money import LINES
    from pipelines.coverage.ruling_limits import granted

    given = {
        line: Decimal(row[f"{line}_amount"]) if row[f"{line}_amount"] else None for line in LINES
    }
    return granted(row["ruling"], given, decision)


def _within_limit(person: str, total: Decimal, settings: Settings) -> None:
    """Refuses a ruling that its maker may not make, before anything is written."""
    from pipelines.coverage.ruling_limits import limit_of

    limits = settings.ruling_limits
    if limits is None:
        return
    most = limit_of(person, limits)
    if most is None:
        raise UsageError(
            f'"{person}" may not rule: {SETTINGS_FILE} names who may under [rulings] limits. '
            "Nothing was recorded; let one of them rule, or add the name there."
        )
    if total > most:
        raise UsageError(
            f'"{person}" may rule up to {most:,.2f} {settings.currency}, and this ruling grants '
            f"{total:,.2f} in all ([rulings] limits in {SETTINGS_FILE}). Nothing was recorded; "
            "let someone with a higher limit rule, or grant less with --parts, --labor, --travel."
        )


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
        if not amount.is_finite() or amount < 0 or amount != round(amount, 2):
            raise InvalidOperation
    except (InvalidOperation, TypeError):
        raise UsageError(
            f'{name} "{given}" is no amount; write a number such as 120.50, not below 0.'
        ) from None
    return f"{amount:f}"


def _claim(
    workspace: Workspace, claim: str, settings: Settings
) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """The decision on a claim, and its rulings so far in the order in which they were made."""
    from pipelines.store.database import query_frame
    from pipelines.store.reading import no_such_claim, open_store, published_state
    from pipelines.store.rulings import all_rulings

    with open_store(workspace) as con:
        published_state(workspace, con)
        found = query_frame(con, "select * from decisions where claim = ?", [claim])
        before = all_rulings(workspace, con, claim, settings.zone)
    if found.is_empty():
        raise NotFoundError(no_such_claim(claim))
    return found.row(0, named=True), before
