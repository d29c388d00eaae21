"""The letter to an agency, the register of letters, and what is done with its entries."""

from __future__ import annotations

from schemas import codes
from schemas import json_schema as js
from schemas.register import Letters

FORMATS = ("text", "html", "eml")
_PARTS = {
    "claim": js.text("The claim."),
    "call": js.text("The service call."),
    "agency": js.or_null(js.text("The agency that did the repair.")),
    "agency_name": js.or_null(js.text("Its name.")),
    "agency_email": js.or_null(js.text("Where a letter to it goes.")),
    "serial": js.text("The unit."),
    "model": js.or_null(js.text("Its model.")),
    "family": js.or_null(js.text("Its family.")),
    "site": js.or_null(js.text("Its site.")),
    "site_name": js.or_null(js.text("The site's name.")),
    "failed_on": js.day("The failure date that was used."),
    "completed_on": js.or_null(js.day("The day the repair was completed.")),
    "claimed_on": js.or_null(js.day("The day the claim was filed.")),
    "cause": js.or_null(js.text("The cause, by its code.")),
    "cause_words": js.or_null(js.text("The cause in words.")),
    "edition": js.or_null(js.text("The edition of the terms.")),
    "verdict": js.word("The computed verdict.", codes.VERDICTS),
    "standing": js.word("What stands: the ruling, else the verdict.", codes.VERDICTS),
    "ruling": js.or_null(js.word("The latest ruling.", codes.RULINGS)),
    "ruled_on": js.or_null(js.day("The day on which it was made.")),
    "ruling_reason": js.or_null(js.text("Its reason.")),
    "look_again": js.flag("Whether records have come since the ruling that change the verdict."),
    "decision": js.text("The decision in one sentence."),
    "basis": js.text("Whether it is computed or ruled, in one sentence."),
    "appeal": js.text("How to appeal, in one sentence."),
    "reasons": js.texts("Why, a sentence each."),
    "clauses": js.texts("The clause behind each reason."),
    "documents": js.texts("The documents that are missing."),
    "forms": js.texts("What each of them must show."),
    "document_clauses": js.texts("The clause that asks for each of them."),
    "documents_due_on": js.or_null(js.day("The last day for them.")),
    "questions": js.texts("What is asked of each disputed fact, with both values on file."),
    "questions_due_on": js.or_null(js.day("The last day to answer, of a letter to be sent.")),
    "reminded_on": js.or_null(js.day("The day of the request that this repeats.")),
}
_ENDS = {
    "money_notes": js.texts("Why a line pays less than was claimed."),
    "cautions": js.texts("Cautions on work with steam, gas, pressure, electricity and acids."),
}


def letter() -> js.Schema:
    """The values of one letter, and the letter itself."""
    money = {
        f"{line}_{kind}": js.amount(f"{line.capitalize()} {words}.")
        for kind, words in (("claimed", "claimed"), ("standing", "to be paid as it stands"))
        for line in ("parts", "labor", "travel", "total")
    }
    made = {
        "subject": js.text("The subject, one line."),
        "format": js.word("The form of the letter.", FORMATS),
        "file": js.or_null(js.text("Where it was written; null where nowhere.")),
        "letter": js.text("The letter."),
    }
    return js.record(_PARTS | money | _ENDS | made)


def _entry() -> dict[str, js.Schema]:
    """A row of the register, as commands and the desk tell it."""
    out = js.flag("Whether its mail was handed over, and nobody knows whether it went out.")
    return js.properties_of(Letters) | {"may_have_gone_out": out}


def letters() -> js.Schema:
    """The entries of the register, and the folder into which they were written."""
    file = js.or_null(js.text("Its file in the folder; null where it has no text of ours."))
    return js.record(
        {
            "folder": js.text("The folder."),
            "letters": js.listing(
                "The entries, in their order.", js.record(_entry() | {"file": file})
            ),
        }
    )


def marked() -> js.Schema:
    """The entry as it is now, and the number of the event."""
    return js.record(
        {
            "event": js.integer("The number of the event."),
            "entry": js.integer("The letter."),
            "letters": js.listing("The letter as it is now.", js.record(_entry())),
        }
    )


def sent() -> js.Schema:
    """What came of sending."""
    entries = js.integer("A letter.")
    return js.record(
        {
            "event": js.integer("The number of the first event."),
            "letters": js.listing("The letters as they are now.", js.record(_entry())),
            "sent": js.listing("Those that the server took.", entries),
            "refused": js.listing("Those that are still to be sent.", entries),
            "answers": js.texts("What the server said of the mails that it did not take."),
        }
    )
