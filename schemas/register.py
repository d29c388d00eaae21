"""The register of letters: one row a letter that an agency has to be told, in whatever state.

Belongs here: the shape, kinds, states and what may follow what. Does not belong here: which letter
is due (`pipelines.letters.register`), or what it says (`schemas.letters`).
"""

import polars as pl

from schemas.codes import LETTER_KINDS, LETTER_STATES
from schemas.columns import (
    MOMENT,
    Table,
    day,
    integer,
    moment,
    serial_number,
    text,
    word,
)

# The first four speak of a claim, a reminder of the entry that it repeats, the others of a unit.
KINDS = LETTER_KINDS
STATES = LETTER_STATES
# What a person may make of a letter; what is overtaken only the register itself says.
MAY_FOLLOW = {
    "to_send": ("sent", "closed"),
    "sent": ("answered", "to_send"),
    "answered": ("closed",),
    "told_before": ("closed",),
}
WAYS = ("mail", "by_hand")


class Letters(Table):
    """One row is one letter in the register: what an agency has to be told, or was told."""

    entry: pl.Int64 = integer("Its number in the register.", required=True, key=True)
    claim: str = text("The claim that it speaks of.")
    serial: str = serial_number("The unit that it speaks of, where that is no claim.")
    report: str = text("The start-up report that it speaks of.")
    sample: str = text("The water sample that it speaks of.")
    kind: str = word("What it is.", KINDS, required=True)
    basis: str = text("SHA-256 over what it tells.", required=True)
    as_of: pl.Date = day("The day as of which it became known.", required=True)
    made_at: MOMENT = moment("When the entry was made, in UTC.", required=True)
    agency: str = text("The agency to be told.")
    email: str = text("Its address when the entry was made.")
    state: str = word("How far it has come.", STATES, required=True)
    sent_on: pl.Date = day("The day on which it was sent.")
    sent_by: str = text("Who sent it.")
    sent_how: str = word("How it was sent.", WAYS)
    answered_on: pl.Date = day("The day on which it was answered.")
    due_on: pl.Date = day("The last day for what it asks for.")
    replaces: pl.Int64 = integer("The entry about the same before it.", references="letters.entry")
    reminds: pl.Int64 = integer("The entry that it repeats.", references="letters.entry")
    missing: str = text("The documents that were missing then, joined by `; `.")
    subject: str = text("Its subject line; empty where it was told before the register began.")
    sending_at: MOMENT = moment("When it was handed over to be mailed; it may have gone out.")
    message_id: str = text("The Message-ID of its mail.")
    note: str = text("What was noted when its state was last set.")


class LetterTexts(Table):
    """One row is what one letter says that a refresh made: frozen, as it goes into the register."""

    entry: pl.Int64 = integer("The letter.", required=True, key=True)
    subject: str = text("Its subject line.", required=True)
    html: str = text("The letter as an HTML document.", required=True)
    text: str = text("The letter as plain text.", required=True)


class RegisterSeen(Table):
    """One row is the run that made the register's table: up to which event it knew the desk."""

    last_event: pl.Int64 = integer("The last event that it read.", required=True, key=True)
