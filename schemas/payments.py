"""What was paid for claims, beside what stands: one table.

Belongs here: its shape. Does not belong here: how states are told (`pipelines.assist.payments`).
"""

import polars as pl

from schemas import codes
from schemas.columns import (
    CENTS,
    TEXTS,
    Table,
    day,
    flag,
    integer,
    money,
    serial_number,
    signed_money,
    text,
    texts,
    word,
)


class Payments(Table):
    """One row is one claim for which something is to be paid or something was credited."""

    claim: str = text("The claim.", required=True, key=True)
    state: str = word(
        "How what was credited agrees with what stands.", codes.PAYMENT_STATES, required=True
    )
    difference: CENTS = signed_money("Credited less standing, all lines.", required=True)
    standing: str = word("What stands; empty where no such claim is on file.", codes.VERDICTS)
    parts_standing: CENTS = money("Parts to be paid as it stands.", required=True)
    labor_standing: CENTS = money("Labor to be paid as it stands.", required=True)
    travel_standing: CENTS = money("Travel to be paid as it stands.", required=True)
    total_standing: CENTS = money("All three.", required=True)
    parts_credited: CENTS = signed_money("Parts credited, what was taken back off.", required=True)
    labor_credited: CENTS = signed_money("Labor credited, what was taken back off.", required=True)
    travel_credited: CENTS = signed_money(
        "Travel credited, what was taken back off.", required=True
    )
    total_credited: CENTS = signed_money("All three.", required=True)
    credits: pl.Int64 = integer("Credits posted, those that take back included.", required=True)
    first_credited_on: pl.Date = day("The day of the first credit.")
    last_credited_on: pl.Date = day("The day of the last credit.")
    lines_differ: bool = flag("Paid in all, yet not line by line.", required=True)
    serial: str = serial_number("The unit.")
    region: str = text("Its region.")
    agency: str = text("The agency that did the repair.")
    claimed_on: pl.Date = day("The day the claim was filed.")
    claim_suggestion: str = text("The claim one edit away, where none is on file.")
    evidence: TEXTS = texts("The credits: feed/key/file:line.")
