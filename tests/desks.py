"""A desk in an empty workspace, and people who act at it, for tests of the desk."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from pathlib import Path

from pipelines.actions import Caller
from pipelines.events import Desk, open_desk
from pipelines.workspace.layout import Workspace

DAY = dt.date(2026, 3, 31)
SETTINGS = 'maker = "Kettle & Steam"\ntimezone = "America/Denver"\ncurrency = "USD"\n'


def make_desk(folder: Path, more: str = "") -> Desk:
    """A desk whose workspace has settings and no exports."""
    (folder / "exports").mkdir(parents=True)
    (folder / "limeledger.toml").write_text(SETTINGS + more)
    return open_desk(Workspace.open(folder))


def caller(actor: str = "clara", role: str | None = "clerk", name: str | None = None) -> Caller:
    """Somebody who acts on DAY."""
    return Caller(actor, name or actor.title(), role, "command", DAY)


def decision(claim: str) -> dict:
    """A claim of 800.00 of which 300.00 are payable."""
    amounts = {"parts": (500, 200), "labor": (250, 100), "travel": (50, 0)}
    row = {"claim": claim, "verdict": "covered_in_part"}
    for line, (full, payable) in amounts.items():
        row |= {f"{line}_if_covered": Decimal(full), f"{line}_payable": Decimal(payable)}
    return row
